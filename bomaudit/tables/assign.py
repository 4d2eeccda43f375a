"""Which column is what: header words, content, and the arithmetic quantity × price = extended weighed together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from bomaudit.glossary import Table
from bomaudit.tables.headers import Header
from bomaudit.tables.profile import Profile

Floats = NDArray[np.float64]

IDENTITY_TOLERANCE = 0.006
"""quantity × price and extended agree within this share, or within half a cent: people round to cents."""
_LEAST = 0.35
"""Below this confidence a column is not taken for a name."""


@dataclass(frozen=True)
class Mapped:
    """A column taken for a canonical name."""

    name: str
    column: int
    header: str
    confidence: float
    how: str


def assign(
    table: Table, headers: Sequence[Header], profiles: Sequence[Profile], *, stated: Mapping[str, int]
) -> dict[str, Mapped]:
    """Choose the column of each canonical name.

    Parameters
    ----------
    table : Table
    headers, profiles : sequences, one a column
    stated : mapping name → column
        Fixed by the user; taken as they are.

    Returns
    -------
    dict name → Mapped
    """
    chosen = {n: Mapped(n, c, headers[c].text, 1.0, "stated") for n, c in stated.items()}
    if table.name == "bom":
        _money_columns(headers, profiles, chosen)
        _word_columns(headers, profiles, chosen)
    _by_header(table, headers, profiles, chosen)
    return chosen


# ---------------------------------------------------------------- quantity, price, extended

_PRIORS: dict[str, tuple[tuple[str, float], ...]] = {
    "qty": (("qty", 1.0), ("~qty_order", 0.9), ("~qty_other", 0.3)),
    "unit_cost": (("unit_cost", 1.0), ("~price_gross", 0.95), ("~price_net", 0.9), ("~cost", 0.8)),
    "extended_cost": (("extended_cost", 1.0), ("~cost", 0.8), ("unit_cost", 0.45), ("~price_gross", 0.4), ("~price_net", 0.4)),
}  # fmt: skip
"""How far a header that means the second name speaks for the first."""


def _prior(role: str, header: Header, profile: Profile) -> float:
    best = max(header.score(name) * worth for name, worth in _PRIORS[role])
    if not header.words and profile.numeric > 0.5:  # noqa: PLR2004
        best = 0.2
    if role == "qty" and profile.money > 0.3:  # noqa: PLR2004
        best *= 0.3
    if role != "qty" and profile.money > 0.3:  # noqa: PLR2004
        best = max(best, 0.3)
    if profile.links > 0.3 or profile.dates > 0.7:  # noqa: PLR2004
        best *= 0.1
    if profile.filled and profile.numeric < 0.15:  # noqa: PLR2004
        best *= 0.5
    return best


def _money_columns(headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    """Settle quantity, unit cost and extended cost together."""
    roles = ("qty", "unit_cost", "extended_cost")
    priors = {r: [_prior(r, h, p) for h, p in zip(headers, profiles, strict=True)] for r in roles}
    options: dict[str, list[int | None]] = {}
    for role in roles:
        if role in chosen:
            options[role] = [chosen[role].column]
            continue
        ranked = sorted((c for c in range(len(headers)) if priors[role][c] >= 0.15), key=lambda c: -priors[role][c])  # noqa: PLR2004
        options[role] = [None, *ranked[:8]]
    best, best_score = (None, None, None), -np.inf
    for q, u, e in product(*(options[r] for r in roles)):
        taken = [c for c in (q, u, e) if c is not None]
        if len(set(taken)) < len(taken):
            continue
        score = sum(
            w * (priors[r][c] - _LEAST)
            for r, c, w in zip(roles, (q, u, e), (1.0, 1.1, 1.0), strict=True) if c is not None
        )  # fmt: skip
        score += _identity(q, u, e, profiles)
        if score > best_score + 1e-9:
            best, best_score = (q, u, e), score
    for role, column in zip(roles, best, strict=True):
        if column is not None and role not in chosen:
            meaning = headers[column].meanings.get(role)
            how = meaning.how if meaning is not None else "content"
            chosen[role] = Mapped(role, column, headers[column].text, round(min(priors[role][column], 1.0), 2), how)


def _identity(q: int | None, u: int | None, e: int | None, profiles: Sequence[Profile]) -> float:
    """What the arithmetic says for a choice: positive where q × u = e holds on lines where it could fail."""
    if q is None or u is None or e is None:
        return 0.0
    qty, unit, extended = (profiles[c].read.value for c in (q, u, e))
    usable = (qty > 0) & (unit > 0) & (extended > 0)
    if not usable.any():
        return 0.0
    fits = agrees(qty[usable] * unit[usable], extended[usable])
    telling = qty[usable] != 1
    share = float(fits.mean())
    if share < 0.5:  # noqa: PLR2004
        return -0.8
    return 0.9 * share if telling.sum() >= 2 and fits[telling].mean() > 0.5 else 0.2 * share  # noqa: PLR2004


def agrees(product_: Floats, extended: Floats) -> NDArray[np.bool_]:
    """Whether quantity × price and extended agree as far as people round."""
    return np.asarray(np.abs(product_ - extended) <= np.maximum(0.0051, IDENTITY_TOLERANCE * np.abs(extended)))


# ---------------------------------------------------------------- part number and description

_NUMBER_NAMES = (("part_no", 1.0), ("~supplier_no", 0.9), ("~mpn", 0.88))
_WORD_NAMES = (("description", 0.95), ("~name", 1.0), ("~value", 0.7), ("~designator", 0.5))


def _word_columns(headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    rows = max((p.filled for p in profiles), default=0)
    taken = {m.column for m in chosen.values()}
    for role, names in (("part_no", _NUMBER_NAMES), ("description", _WORD_NAMES)):
        if role in chosen:
            continue
        scored = []
        for c, (header, p) in enumerate(zip(headers, profiles, strict=True)):
            if c in taken:
                continue
            prior = max(header.score(n) * w for n, w in names)
            fill = p.filled / max(rows, 1)
            score = prior * (0.4 + 0.6 * fill) - (0.6 if p.links > 0.5 else 0)  # noqa: PLR2004
            if role == "description":
                score -= 0.5 * (p.words < 0.3) + 0.6 * (p.designators > 0.6)  # noqa: PLR2004
                if not header.words and p.words > 0.5 and fill > 0.5:  # noqa: PLR2004
                    score = 0.5
            if p.counting or not p.filled:
                score -= 0.5
            scored.append((score, -c))
        if scored and max(scored)[0] >= _LEAST:
            score, c = max(scored)[0], -max(scored)[1]
            meaning = headers[c].meanings.get(role)
            how = meaning.how if meaning is not None else ("synonym" if headers[c].words else "content")
            chosen[role] = Mapped(role, c, headers[c].text, round(min(score, 1.0), 2), how)
            taken.add(c)


# ---------------------------------------------------------------- everything else


def _by_header(table: Table, headers: Sequence[Header], profiles: Sequence[Profile], chosen: dict[str, Mapped]) -> None:
    """Give each remaining name its best header, each column its best name."""
    taken = {m.column for m in chosen.values()}
    pairs = []
    for c, header in enumerate(headers):
        if c in taken:
            continue
        strongest = max((m.confidence for m in header.meanings.values()), default=0.0)
        for order, column in enumerate(table.columns):
            score = header.score(column.name)
            if column.name in chosen or score < _LEAST or score < 0.9 * strongest:
                continue
            if table.name == "bom" and column.name in ("qty", "unit_cost", "extended_cost", "part_no", "description"):
                continue
            if not _fits(column.kind, column.name, profiles[c]):
                continue
            pairs.append((-score, order, c, column.name))
    for score, _, c, name in sorted(pairs):
        if name in chosen or c in taken:
            continue
        chosen[name] = Mapped(name, c, headers[c].text, round(-score, 2), headers[c].meanings[name].how)
        taken.add(c)


def _fits(kind: str, name: str, profile: Profile) -> bool:
    """Whether what the column holds can be of that kind at all; an empty column can be anything."""
    if not profile.filled:
        return True
    if name == "level":
        return profile.numeric > 0.5 or profile.dotted > 0.5  # noqa: PLR2004
    if kind in ("money", "number", "share"):
        return profile.numeric > 0.3  # noqa: PLR2004
    if name == "supplier":
        return profile.links < 0.5 and profile.words > 0.3  # noqa: PLR2004
    return True
