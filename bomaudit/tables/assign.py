"""Which column is what: header words, content, and the figures of the sheet weighed together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bomaudit.glossary import Table
from bomaudit.tables.evidence import Evidence, breaks, identity
from bomaudit.tables.headers import Header
from bomaudit.tables.profile import Profile

LEAST = 0.35
"""Below this confidence a column is not taken for a name."""
_OPTIONS = 6
"""Columns tried for each of quantity, unit cost and extended cost."""
MONEY_NAMES = ("qty", "unit_cost", "extended_cost")


@dataclass(frozen=True)
class Mapped:
    """A column taken for a canonical name."""

    name: str
    column: int
    header: str
    confidence: float
    how: str


def assign(
    table: Table, headers: Sequence[Header], profiles: Sequence[Profile], evidence: Evidence, *, stated: Mapping[str, int]
) -> dict[str, Mapped]:
    """Choose the column of each canonical name.

    Parameters
    ----------
    table : Table
    headers, profiles : sequences, one a column
    evidence : Evidence
        Totals of the sheet.
    stated : mapping name → column
        Fixed by the user; taken as they are.
    """
    chosen = {n: Mapped(n, c, headers[c].text, 1.0, "stated") for n, c in stated.items()}
    if table.name == "bom":
        _money_columns(headers, profiles, evidence, chosen)
        _word_columns(headers, profiles, chosen)
        _level_by_content(headers, profiles, chosen)
    else:
        _stand_ins(table, headers, chosen)
    _by_header(table, headers, profiles, chosen)
    return chosen


# ---------------------------------------------------------------- quantity, price, extended

_PRIORS: dict[str, tuple[tuple[str, float], ...]] = {
    "qty": (("qty", 1.0), ("~qty_order", 0.9), ("~qty_other", 0.3)),
    "unit_cost": (("unit_cost", 1.0), ("~price_gross", 0.95), ("~price_net", 0.9), ("~cost", 0.8), ("~pack_price", 0.6),
                  ("~price_break", 0.6)),
    "extended_cost": (("extended_cost", 1.0), ("~cost", 0.8), ("unit_cost", 0.45), ("~price_gross", 0.4), ("~price_net", 0.4)),
    "price_per": (("price_per", 1.0), ("~pack_size", 1.0), ("qty", 0.4)),
}  # fmt: skip
"""How far a header that means the second name speaks for the first."""
_WEIGHTS = {"qty": 1.0, "unit_cost": 1.1, "extended_cost": 1.0, "price_per": 0.3}
_UNKNOWN = 0.12
"""Prior of a column of numbers whose header says nothing: the arithmetic may still choose it."""


def prior(role: str, header: Header, profile: Profile) -> float:
    """How far header and content speak for a role; 0 where the column cannot play it."""
    if not profile.filled or profile.links > 0.3 or profile.dates > 0.7 or profile.counting:  # noqa: PLR2004
        return 0.0
    best = max(header.score(name) * worth for name, worth in _PRIORS[role])
    if profile.numeric > 0.5:  # noqa: PLR2004
        best = max(best, _UNKNOWN if header.words else _unheaded(role, profile))
    elif profile.numeric < 0.15:  # noqa: PLR2004
        best *= 0.5 if role != "unit_cost" or profile.filled > 3 else 0.9  # noqa: PLR2004
    if profile.money > 0.3:  # noqa: PLR2004
        best = best * 0.3 if role in ("qty", "price_per") else max(best, 0.35)
    return best


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
        pairs = [("qty", self.qty), ("unit_cost", self.unit_cost), ("extended_cost", self.extended_cost), ("price_per", self.price_per)]
        return [(role, c) for role, c in pairs if c is not None]


def _money_columns(
    headers: Sequence[Header], profiles: Sequence[Profile], evidence: Evidence, chosen: dict[str, Mapped]
) -> None:
    """Settle quantity, unit cost, extended cost and pack size together."""
    priors = {r: [prior(r, h, p) for h, p in zip(headers, profiles, strict=True)] for r in _PRIORS}
    fixed = {r: chosen[r].column for r in _PRIORS if r in chosen}
    summed = [p.numeric > 0 and evidence.is_summed(p.read.value) for p in profiles]
    best = max(
        _choices(priors, fixed), default=_Choice(None, None, None, None),
        key=lambda c: _score(c, priors, headers, profiles, evidence, summed),
    )  # fmt: skip
    best = _without_breaks(best, headers, profiles, fixed)
    proof = _proof(best, profiles)
    for role, column in best.items():
        if role in chosen:
            continue
        meaning = headers[column].meanings.get(role)
        how = meaning.how if meaning is not None else "content"
        chosen[role] = Mapped(role, column, headers[column].text, round(min(max(priors[role][column], proof), 1.0), 2), how)


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


def _score(
    c: _Choice, priors: Mapping[str, Sequence[float]], headers: Sequence[Header], profiles: Sequence[Profile],
    evidence: Evidence, summed: Sequence[bool],
) -> float:  # fmt: skip
    score = sum(_WEIGHTS[role] * (priors[role][column] - LEAST) for role, column in c.items())
    qty, unit, extended, per = (None if i is None else profiles[i].read.value for i in (c.qty, c.unit_cost, c.extended_cost, c.price_per))
    if qty is not None and unit is not None and extended is not None:
        score += identity(qty, unit, extended, per)
    if c.extended_cost is not None and summed[c.extended_cost]:
        score += 0.5 * min(1.0, priors["extended_cost"][c.extended_cost] / LEAST)
    if _is_pack_price(c, headers):
        score += 0.35 if per is not None else -0.1
    elif per is not None and headers[c.price_per or 0].score("price_per") == 0:
        score -= 0.05  # a piece price that fits as well is the plainer reading
    if per is not None and headers[c.price_per or 0].score("price_per") == 0 and extended is None and not _is_pack_price(c, headers):
        score -= 0.6  # a pack size beside a piece price says nothing about the price
    if extended is None and unit is not None and qty is not None and c.unit_cost is not None and per is None:
        score += 0.4 * evidence.is_summed(qty * unit, unit)
    return score


def _is_pack_price(c: _Choice, headers: Sequence[Header]) -> bool:
    return c.unit_cost is not None and headers[c.unit_cost].score("~pack_price") > 0


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


# ---------------------------------------------------------------- part number and description

_FULL = 0.9
"""A column filled on this share of the rows counts as full: titles and notes fill the rest."""
_AFTER_THE_PRICE = 0.8
"""Texts to the right of the prices are remarks more often than names."""
_MISNAMED = 0.97
"""A column headed as designators that holds names all the same comes after a column of names, before descriptions."""
_NUMBER_NAMES = (("part_no", 1.0), ("~mpn", 0.9), ("~supplier_no", 0.88))
_WORD_NAMES = (("~name", 1.0), ("description", 0.95), ("~value", 0.7), ("~designator", 0.5))


def _word_columns(headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    rows = max((p.filled for p in profiles), default=0)
    for role, score in (("description", _description_score), ("part_no", _number_score)):
        if role in chosen:
            continue
        taken = {m.column for m in chosen.values()}
        priced = [m.column for n, m in chosen.items() if n in ("unit_cost", "extended_cost")]
        scored = [
            (score(h, p, min(1.0, p.filled / max(_FULL * rows, 1))) * (_AFTER_THE_PRICE if priced and c > max(priced) else 1.0), -c)
            for c, (h, p) in enumerate(zip(headers, profiles, strict=True)) if c not in taken
        ]  # fmt: skip
        if scored and max(scored)[0] >= LEAST:
            confidence, column = max(scored)[0], -max(scored)[1]
            chosen[role] = _named(role, column, headers[column], confidence)
    _one_for_both(headers, profiles, chosen)


def _named(role: str, column: int, header: Header, confidence: float) -> Mapped:
    meaning = header.meanings.get(role)
    how = meaning.how if meaning is not None else ("synonym" if header.meanings and header.words else "content")
    return Mapped(role, column, header.text, round(min(confidence, 1.0), 2), how)


def _description_score(header: Header, p: Profile, fill: float) -> float:
    known = max(header.score(n) * w for n, w in _WORD_NAMES)
    if not p.filled or p.counting:
        return 0.0
    if not header.words and p.words > 0.5 and fill > 0.5 and p.distinct > 0.4:  # noqa: PLR2004
        known = 0.6
    if header.score("~designator") and p.designators < 0.1 and p.words > 0.8 and p.distinct > 0.7:  # noqa: PLR2004
        known = max(known, _MISNAMED * header.score("~designator"))
    score = known * (0.4 + 0.6 * fill)
    score -= 0.6 * (p.links > 0.5) + 0.5 * (p.words < 0.3) + 0.6 * (p.designators > 0.6)  # noqa: PLR2004
    return score - 0.25 * p.codes * (p.words > 0.3)  # noqa: PLR2004


def _number_score(header: Header, p: Profile, fill: float) -> float:
    known = max(header.score(n) * w for n, w in _NUMBER_NAMES)
    if not p.filled or p.counting:
        return 0.0
    if not header.words and p.filled > 3 and p.codes + p.long_numbers > 0.6 and p.distinct > 0.6 and p.dotted < 0.3:  # noqa: PLR2004
        return 0.4
    sentences = p.length > 25 and p.codes < 0.2  # noqa: PLR2004
    return known * (0.4 + 0.6 * fill) - 0.6 * (p.links > 0.5) - 0.7 * (p.designators > 0.5) - 0.2 * sentences  # noqa: PLR2004


def _one_for_both(headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    """Where only part numbers were found and they are words, they describe the part too; where nothing was found, words do."""
    if "description" in chosen:
        return
    if "part_no" in chosen:
        p, mapped = profiles[chosen["part_no"].column], chosen["part_no"]
        if p.words > 0.3:  # noqa: PLR2004
            chosen["description"] = Mapped("description", mapped.column, mapped.header, 0.8, "content")
        return
    taken = {m.column for m in chosen.values()}
    rows = max((p.filled for p in profiles), default=0)
    fit = [(p.distinct * p.filled / max(rows, 1), -c) for c, p in enumerate(profiles)
           if c not in taken and p.words > 0.6 and p.links < 0.2 and p.designators < 0.5 and p.filled > 0.5 * rows]  # noqa: PLR2004  # fmt: skip
    if fit and chosen:
        column = -max(fit)[1]
        chosen["description"] = Mapped("description", column, headers[column].text, 0.4, "content")


def _level_by_content(headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    """Find a column of dotted numbers (1, 1.1, 1.1.1): the structure of the bill, whatever its header."""
    if "level" in chosen:
        return
    rows = max((p.filled for p in profiles), default=0)
    taken = {m.column for m in chosen.values()}
    for c, (header, p) in enumerate(zip(headers, profiles, strict=True)):
        plain = not header.words or header.score("level") or header.score("~index")
        if c not in taken and plain and p.dotted > 0.5 and p.filled > 0.8 * rows:  # noqa: PLR2004
            chosen["level"] = Mapped("level", c, header.text, 0.8, "content")
            return


# ---------------------------------------------------------------- everything else

def _by_header(table: Table, headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    """Give each remaining name its best header, each column its best name."""
    taken = {m.column for m in chosen.values()}
    settled = {*MONEY_NAMES, "part_no", "description"} if table.name == "bom" else set()
    pairs = []
    for c, header in enumerate(headers):
        if c in taken:
            continue
        strongest = max((m.confidence for m in header.meanings.values()), default=0.0)
        for order, column in enumerate(table.columns):
            score = header.score(column.name)
            known = column.name in chosen or column.name in settled or score < LEAST or score < 0.9 * strongest
            if not known and _fits(column.kind, column.name, profiles[c], blank=table.name != "bom"):
                pairs.append((-score, order, c, column.name))
    if table.name == "bom":
        pairs += _shops_under_links(headers, profiles, taken)
    for score, _, c, name in sorted(pairs):
        if name not in chosen and c not in taken:
            how = headers[c].meanings[name].how if name in headers[c].meanings else "content"
            chosen[name] = Mapped(name, c, headers[c].text, round(-score, 2), how)
            taken.add(c)


def _shops_under_links(headers: Sequence[Header], profiles: Sequence[Profile], taken: set[int]) -> list[tuple[float, int, int, str]]:
    """A column headed as links that holds a few names over and over holds the shops."""
    return [(-0.4, 99, c, "supplier") for c, (h, p) in enumerate(zip(headers, profiles, strict=True))
            if c not in taken and h.score("~link") and p.links < 0.3 and p.words > 0.6 and p.distinct < 0.5 and p.filled > 3]  # noqa: PLR2004  # fmt: skip


def _stand_ins(table: Table, headers: Sequence[Header], chosen: dict[str, Mapped]) -> None:
    """Outside a BOM "article" or a maker's number may be what a row is about."""
    if "part_no" not in table.names or "part_no" in chosen or any(h.score("part_no") >= LEAST for h in headers):
        return
    taken = {m.column for m in chosen.values()}
    fit = [(max(h.score("~supplier_no"), h.score("~mpn"), 0.8 * h.score("~name")), -c) for c, h in enumerate(headers) if c not in taken]
    if fit and max(fit)[0] >= LEAST:
        column = -max(fit)[1]
        chosen["part_no"] = Mapped("part_no", column, headers[column].text, round(0.8 * max(fit)[0], 2), "synonym")


def _fits(kind: str, name: str, profile: Profile, *, blank: bool) -> bool:
    """Whether what the column holds can be of that kind at all; ``blank`` is the answer for an empty column."""
    if not profile.filled:
        return blank
    if name == "level":
        return profile.numeric > 0.5 or profile.dotted > 0.5  # noqa: PLR2004
    if kind in ("money", "number", "share"):
        return profile.numeric > 0.3  # noqa: PLR2004
    if name == "supplier":
        return profile.words > 0.3 or profile.links > 0.3  # noqa: PLR2004
    return True


def telling_columns(mapped: Mapping[str, Mapped]) -> np.ndarray:
    """Columns of the names that make a bill of materials, in order of the sheet."""
    return np.array(sorted({m.column for n, m in mapped.items() if n in (*MONEY_NAMES, "part_no", "description")}), dtype=int)
