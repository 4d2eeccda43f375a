"""Which columns are quantity, unit cost, extended cost and pack size: settled together, by words and by arithmetic."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bomaudit.tables.columns import LEAST, Columns, Mapped
from bomaudit.tables.evidence import Floats, breaks, identity
from bomaudit.tables.headers import SYNONYM, Header
from bomaudit.tables.profile import Profile

_OPTIONS = 6
"""Columns tried for each of quantity, unit cost and extended cost."""
_PRIORS: dict[str, tuple[tuple[str, float], ...]] = {
    "qty": (("qty", 1.0), ("~qty_order", 0.9), ("~qty_other", 0.3)),
    "unit_cost": (("unit_cost", 1.0), ("~price_gross", 0.95), ("~price_net", 0.9), ("~cost", 0.8), ("~pack_price", 0.6),
                  ("~price_break", 0.6), ("~price_other", 0.5)),
    "extended_cost": (("extended_cost", 1.0), ("~cost", 0.8), ("unit_cost", 0.45), ("~price_gross", 0.4),
                      ("~price_net", 0.4)),
    "price_per": (("price_per", 1.0), ("~pack_size", 1.0), ("qty", 0.4)),
}  # fmt: skip
"""How far a header that means the second name speaks for the first."""
_WEIGHTS = {"qty": 1.0, "unit_cost": 1.1, "extended_cost": 1.0, "price_per": 0.3}
_A_YEAR = ("annual_qty", "annual_volume")
"""Names of figures a year: no quantity in a product, though beside a price they make the spend."""
_UNKNOWN = 0.12
"""Prior of a column of numbers whose header says nothing: the arithmetic may still choose it."""


def prior(role: str, header: Header, profile: Profile) -> float:
    """How far header and content speak for a role; 0 where the column cannot play it."""
    if not profile.filled or profile.links > 0.3 or profile.dates > 0.7:  # noqa: PLR2004
        return 0.0
    if profile.counting and not (profile.filled <= _FEW and header.score(role) >= SYNONYM and not _numbers(header)):
        return 0.0
    if role == "qty" and _is_a_year(header):
        return 0.0
    best = max(header.score(name) * worth for name, worth in _PRIORS[role])
    if profile.numeric > 0.5:  # noqa: PLR2004
        best = max(best, _UNKNOWN if header.words else _unheaded(role, profile))
    elif profile.numeric < 0.15:  # noqa: PLR2004
        best *= 0.5 if role != "unit_cost" or profile.filled > 3 else 0.9  # noqa: PLR2004
    if profile.money > 0.3:  # noqa: PLR2004
        best = best * 0.3 if role in ("qty", "price_per") else max(best, 0.35)
    return best


def _is_a_year(header: Header) -> bool:
    """Whether a header says a figure a year rather than a quantity."""
    return max(map(header.score, _A_YEAR)) > max(LEAST, header.score("qty"))


_FEW = 5
"""Rows on which quantities or prices may count up by one too: 1, 2, 3."""


def _numbers(header: Header) -> bool:
    """Whether a header may number the lines as well as count pieces."""
    return header.score("~index") > 0 or header.words in ("number", "num", "numero")


def _unheaded(role: str, profile: Profile) -> float:
    """Prior of a column of numbers without a header: small whole numbers count, others price."""
    values = profile.read.value[np.isfinite(profile.read.value)]
    counts = bool(len(values)) and bool(np.all(values == np.round(values)) and values.max() < 10_000)  # noqa: PLR2004  (no quantity of a line)
    return 0.2 if counts == (role in ("qty", "price_per")) else 0.17


@dataclass(frozen=True)
class _Choice:
    qty: int | None
    unit_cost: int | None
    extended_cost: int | None
    price_per: int | None

    def items(self) -> list[tuple[str, int]]:
        pairs = [
            ("qty", self.qty),
            ("unit_cost", self.unit_cost),
            ("extended_cost", self.extended_cost),
            ("price_per", self.price_per),
        ]
        return [(role, c) for role, c in pairs if c is not None]


def money_columns(columns: Columns, chosen: dict[str, Mapped]) -> None:
    """Settle quantity, unit cost, extended cost and pack size together."""
    headers, profiles = columns.headers, columns.profiles
    priors = {r: [prior(r, h, p) for _, h, p in columns.pairs()] for r in _PRIORS}
    fixed = {r: chosen[r].column for r in _PRIORS if r in chosen}
    summed = [p.numeric > 0 and columns.evidence.is_summed(p.read.value) for p in profiles]
    best = max(
        _choices(priors, fixed), default=_Choice(None, None, None, None),
        key=lambda c: _score(c, columns, priors, summed),
    )  # fmt: skip
    best = _without_spend(_without_breaks(best, headers, profiles, fixed), headers, profiles, fixed)
    best = _net(_newest(best, columns, fixed), headers, profiles, fixed)
    proof = _proof(best, profiles)
    for role, column in best.items():
        if role in chosen:
            continue
        meaning = headers[column].meanings.get(role)
        how = meaning.how if meaning is not None else "content"
        chosen[role] = Mapped(
            role, column, headers[column].text, round(min(max(priors[role][column], proof), 1.0), 2), how
        )


def _proof(c: _Choice, profiles: Sequence[Profile]) -> float:
    """Confidence that the arithmetic alone gives to the columns it holds for."""
    if c.qty is None or c.unit_cost is None or c.extended_cost is None:
        return 0.0
    per = None if c.price_per is None else profiles[c.price_per].read.value
    qty, unit, extended = (profiles[i].read.value for i in (c.qty, c.unit_cost, c.extended_cost))
    return 0.9 * max(identity(qty, unit, extended, per), 0.0)


def _choices(priors: Mapping[str, Sequence[float]], fixed: Mapping[str, int]) -> Iterator[_Choice]:
    def options(role: str, least: float) -> list[int | None]:
        if role in fixed:
            return [fixed[role]]
        ranked = sorted((c for c, p in enumerate(priors[role]) if p >= least), key=lambda c: (-priors[role][c], c))
        return [None, *ranked[:_OPTIONS]]

    packs = options("price_per", LEAST)[:4]
    for e in options("extended_cost", 0.1):
        for u in options("unit_cost", 0.1):
            for q in options("qty", 0.1):
                for p in packs if u is not None and q is not None else packs[:1]:
                    taken = [c for c in (q, u, e, p) if c is not None]
                    if len(set(taken)) == len(taken):
                        yield _Choice(q, u, e, p)


def _score(c: _Choice, columns: Columns, priors: Mapping[str, Sequence[float]], summed: Sequence[bool]) -> float:
    headers, profiles = columns.headers, columns.profiles
    score = sum(_WEIGHTS[role] * (priors[role][column] - LEAST) for role, column in c.items())
    qty, unit, extended, per = (
        None if i is None else profiles[i].read.value for i in (c.qty, c.unit_cost, c.extended_cost, c.price_per)
    )
    if qty is not None and unit is not None and extended is not None:
        score += identity(qty, unit, extended, per)
        less = [identity(qty, u, extended, per) for u in _discounted(unit, headers, profiles)]
        score += max([0.0, *(fit - 0.05 - identity(qty, unit, extended, per) for fit in less)])
    if c.extended_cost is not None and summed[c.extended_cost]:
        score += 0.5 * min(1.0, priors["extended_cost"][c.extended_cost] / LEAST)
    if _is_pack_price(c, headers):
        score += 0.35 if per is not None else -0.1
    elif per is not None and headers[c.price_per or 0].score("price_per") == 0:
        score -= 0.05  # a piece price that fits as well is the plainer reading
    if (
        per is not None
        and headers[c.price_per or 0].score("price_per") == 0
        and extended is None
        and not _is_pack_price(c, headers)
    ):
        score -= 0.6  # a pack size beside a piece price says nothing about the price
    if extended is None and unit is not None and qty is not None and c.unit_cost is not None and per is None:
        score += 0.4 * columns.evidence.is_summed(qty * unit, unit)
    return score


def _discounted(unit: Floats, headers: Sequence[Header], profiles: Sequence[Profile]) -> list[Floats]:
    """Unit costs less the discount of a column that is headed so."""
    found = []
    for header, p in zip(headers, profiles, strict=True):
        if header.score("~discount") > LEAST and not header.currency and p.numeric > 0:
            off = np.abs(np.nan_to_num(p.read.value))
            found.append(unit * (1 - (off / 100 if off.max() > 1 else off)))
    return found


def _is_pack_price(c: _Choice, headers: Sequence[Header]) -> bool:
    return c.unit_cost is not None and headers[c.unit_cost].score("~pack_price") > 0


_YEAR = re.compile(r"\b(?:19|20)\d\d\b")


def _newest(c: _Choice, columns: Columns, fixed: Mapping[str, int]) -> _Choice:
    """Take the last of several unit costs that are headed alike but for the year, where no extended cost tells."""
    if c.unit_cost is None or c.extended_cost is not None or "unit_cost" in fixed:
        return c
    alike = _YEAR.sub("", columns.headers[c.unit_cost].words)
    years = {
        year[0]: i
        for i, h, p in columns.pairs()
        if (year := _YEAR.search(h.words)) and _YEAR.sub("", h.words) == alike and p.numeric > 0.5  # noqa: PLR2004
    }
    return replace(c, unit_cost=years[max(years)]) if years else c


_LIST = re.compile(r"\b(?:list|listen\w*|catalog(?:ue)?|katalog\w*|catalogo|rrp|msrp|tarif)\b")

_NET = re.compile(r"\b(?:net|nett|netto|discounted) (?:unit )?(?:price|cost|preis)\b|\b(?:netto|net)(?:preis)?$")


def _net(c: _Choice, headers: Sequence[Header], profiles: Sequence[Profile], fixed: Mapping[str, int]) -> _Choice:
    """Take the net price beside a list price: a list price is what nobody pays."""
    if c.unit_cost is None or c.extended_cost is not None or "unit_cost" in fixed:
        return c
    if not _LIST.search(headers[c.unit_cost].words):
        return c
    net = [i for i, (h, p) in enumerate(zip(headers, profiles, strict=True))
           if i != c.unit_cost and p.numeric > 0.5  # noqa: PLR2004
           and (h.score("~price_net") > LEAST or _NET.search(h.words))]  # fmt: skip
    return replace(c, unit_cost=net[0]) if net else c


def other_prices(columns: Columns, mapped: Mapping[str, Mapped]) -> list[str]:
    """Headers of further columns that may be the unit cost, where no extended cost tells which is."""
    if "unit_cost" not in mapped or mapped["unit_cost"].how == "stated":
        return []
    taken = {m.column for m in mapped.values()}
    chosen = _Choice(**{role: mapped[role].column if role in mapped else None for role in _PRIORS})
    if _proof(chosen, columns.profiles) > LEAST:
        return []
    return [h.text for i, h, p in columns.pairs() if i not in taken and p.numeric > 0.5 and _is_price(h)]  # noqa: PLR2004


def _is_price(header: Header) -> bool:
    """Whether a header says unit cost; net beside gross is the same price, a break is one for another quantity."""
    other = max(header.score(n) for n in ("~price_net", "~price_gross", "~price_break", "~pack_price", "~shipping"))
    price = max(header.score(n) for n in ("unit_cost", "~price_other", "~cost"))
    return price >= LEAST and price >= other and not np.isfinite(header.at_quantity)


def _without_spend(
    c: _Choice, headers: Sequence[Header], profiles: Sequence[Profile], fixed: Mapping[str, int]
) -> _Choice:
    """Drop an extended cost that is the demand of a year × unit cost."""
    if c.unit_cost is None or c.extended_cost is None or "extended_cost" in fixed:
        return c
    unit, extended = profiles[c.unit_cost].read.value, profiles[c.extended_cost].read.value
    a_year = [p for h, p in zip(headers, profiles, strict=True) if _is_a_year(h)]
    spent = any(identity(p.read.value, unit, extended) > 0.5 for p in a_year)  # noqa: PLR2004  (it holds on most)
    return replace(c, extended_cost=None) if spent else c


def _without_breaks(
    c: _Choice, headers: Sequence[Header], profiles: Sequence[Profile], fixed: Mapping[str, int]
) -> _Choice:
    """Drop a unit cost column that is only one of several price breaks from which each line takes its own."""
    if c.qty is None or c.extended_cost is None or c.unit_cost is None or "unit_cost" in fixed:
        return c
    prices = [i for i, h in enumerate(headers) if i != c.extended_cost and profiles[i].numeric > 0.5  # noqa: PLR2004
              and max(h.score("~price_break"), h.score("unit_cost")) > LEAST]  # fmt: skip
    qty, extended = profiles[c.qty].read.value, profiles[c.extended_cost].read.value
    if len(prices) > 1 and breaks(qty, [profiles[i] for i in prices], extended):
        return _Choice(c.qty, None, c.extended_cost, None)
    return c
