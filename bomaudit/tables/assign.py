"""Which column is what: header words, content, and the figures of the sheet weighed together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bomaudit.glossary import Table
from bomaudit.tables.columns import LEAST, Columns, Mapped
from bomaudit.tables.headers import EXACT, Header
from bomaudit.tables.money_columns import money_columns
from bomaudit.tables.profile import LONG_NUMBER, Profile

MONEY_NAMES = ("qty", "unit_cost", "extended_cost")


def assign(table: Table, columns: Columns, *, stated: Mapping[str, int]) -> dict[str, Mapped]:
    """Choose the column of each canonical name.

    Parameters
    ----------
    table : Table
    columns : Columns
    stated : mapping name → column
        Fixed by the user; taken as they are.
    """
    chosen = {n: Mapped(n, c, columns.headers[c].text, 1.0, "stated") for n, c in stated.items()}
    if table.name == "bom":
        money_columns(columns, chosen)
        _word_columns(columns, chosen)
        _level_by_content(columns, chosen)
    else:
        _stand_ins(table, columns.headers, chosen)
    _by_header(table, columns, chosen)
    if table.name == "quotes" and "unit_price" not in chosen:
        _first_break(columns, chosen)
    return chosen


# ---------------------------------------------------------------- part number and description

_FULL = 0.9
"""A column filled on this share of the rows counts as full: titles and notes fill the rest."""
_AFTER_THE_PRICE = 0.8
"""Texts to the right of the prices are remarks more often than names."""
_MISNAMED = 0.97
"""A column headed as designators that holds names all the same comes after a column of names, before descriptions."""
_SAID = 0.9
"""A header that says "part number" outright is believed whatever the numbers look like."""
_NUMBERED_THINGS = 0.8
"""A column headed "part" or "item" that holds numbers numbers the parts, unless another says so."""
_NUMBER_NAMES = (("part_no", 1.0), ("~mpn", 0.9), ("~supplier_no", 0.88))
_WORD_NAMES = (("~name", 1.0), ("description", 0.95), ("~value", 0.7), ("~designator", 0.5))


def _word_columns(columns: Columns, chosen: dict[str, Mapped]) -> None:
    for role, score in (("description", _description_score), ("part_no", _number_score)):
        if role in chosen:
            continue
        taken = {m.column for m in chosen.values()}
        priced = [m.column for n, m in chosen.items() if n in ("unit_cost", "extended_cost")]
        after = max(priced, default=len(columns.headers))
        full = max(_FULL * columns.rows, 1)
        scored = [(score(h, p, min(1.0, p.filled / full)) * (_AFTER_THE_PRICE if c > after else 1.0), -c)
                  for c, h, p in columns.pairs() if c not in taken]  # fmt: skip
        if scored and max(scored)[0] >= LEAST:
            confidence, column = max(scored)[0], -max(scored)[1]
            chosen[role] = _named(role, column, columns.headers[column], confidence)
    _one_for_both(columns, chosen)


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
    if _holds_codes(p) and not _are_positions(p):
        known = max(known, _NUMBERED_THINGS * header.score("~name"))
    said = header.score("part_no") > _SAID and not header.score("~designator") and not header.score("~index")
    if not p.filled or (p.counting and not said):
        return 0.0
    if not header.words and _numbers_things(p):
        return 0.4
    score = known * (0.4 + 0.6 * fill) - 0.6 * (p.links > 0.5)  # noqa: PLR2004
    if said:
        return score
    sentences = p.length > 25 and p.codes < 0.2  # noqa: PLR2004
    return score - 0.7 * (p.designators > 0.5) - 0.2 * sentences  # noqa: PLR2004


def _holds_codes(p: Profile) -> bool:
    return p.codes + p.long_numbers > 0.6 and p.dotted < 0.3  # noqa: PLR2004


def _are_positions(p: Profile) -> bool:
    """Small numbers in even steps: 0010, 0020, 0030."""
    values = p.read.value[np.isfinite(p.read.value)]
    return len(values) == p.filled and values.max() < LONG_NUMBER and len(np.unique(np.diff(values))) == 1


def _numbers_things(p: Profile) -> bool:
    return p.filled > 3 and p.distinct > 0.6 and _holds_codes(p)  # noqa: PLR2004


def _one_for_both(columns: Columns, chosen: dict[str, Mapped]) -> None:
    """Part numbers that are words describe the part too; where neither was found, a column of words does."""
    if "description" in chosen:
        return
    if "part_no" in chosen:
        p, mapped = columns.profiles[chosen["part_no"].column], chosen["part_no"]
        if p.words > 0.3:  # noqa: PLR2004
            chosen["description"] = Mapped("description", mapped.column, mapped.header, 0.8, "content")
        return
    taken = {m.column for m in chosen.values()}
    rows = columns.rows
    fit = [
        (p.distinct * p.filled / max(rows, 1), -c)
        for c, _, p in columns.pairs()
        if c not in taken and _tells_apart(p) and p.filled > 0.5 * rows
    ]
    if fit and chosen:
        column = -max(fit)[1]
        chosen["description"] = Mapped("description", column, columns.headers[column].text, 0.4, "content")


def _tells_apart(p: Profile) -> bool:
    return p.words > 0.6 and p.links < 0.2 and p.designators < 0.5  # noqa: PLR2004


def _level_by_content(columns: Columns, chosen: dict[str, Mapped]) -> None:
    """Find a column of dotted numbers (1, 1.1, 1.1.1): the structure of the bill, whatever its header."""
    if "level" in chosen:
        return
    rows = columns.rows
    taken = {m.column for m in chosen.values()}
    for c, header, p in columns.pairs():
        plain = not header.words or header.score("level") or header.score("~index")
        dotted = p.dotted > 0.5 or (p.numbered and header.words)  # noqa: PLR2004  (of a nameless column, perhaps prices)
        if c not in taken and plain and dotted and p.filled > 0.8 * rows:
            chosen["level"] = Mapped("level", c, header.text, 0.8, "content")
            return


# ---------------------------------------------------------------- everything else


def _by_header(table: Table, columns: Columns, chosen: dict[str, Mapped]) -> None:
    """Give each remaining name its best header, each column its best name."""
    taken = {m.column for m in chosen.values()}
    settled = {*MONEY_NAMES, "part_no", "description"} if table.name == "bom" else set()
    pairs = []
    for c, header, profile in columns.pairs():
        if c in taken:
            continue
        strongest = max((m.confidence for m in header.meanings.values()), default=0.0)
        for order, column in enumerate(table.columns):
            score = header.score(column.name)
            known = column.name in chosen or column.name in settled or score < LEAST or score < 0.9 * strongest
            if not known and _fits(column.kind, column.name, profile, blank=table.name != "bom"):
                pairs.append((-score, order, c, column.name))
    if table.name == "bom":
        pairs += _shops_under_links(columns, taken)
    for score, _, c, name in sorted(pairs):
        if name not in chosen and c not in taken:
            how = columns.headers[c].meanings[name].how if name in columns.headers[c].meanings else "content"
            chosen[name] = Mapped(name, c, columns.headers[c].text, round(-score, 2), how)
            taken.add(c)


def _shops_under_links(columns: Columns, taken: set[int]) -> list[tuple[float, int, int, str]]:
    """A column headed as links that holds a few names over and over holds the shops."""
    return [(-0.4, 99, c, "supplier") for c, h, p in columns.pairs()
            if c not in taken and h.score("~link") and _holds_names(p)]  # fmt: skip


def _holds_names(p: Profile) -> bool:
    return p.links < 0.3 and p.words > 0.6 and p.distinct < 0.5 and p.filled > 3  # noqa: PLR2004


def _stand_ins(table: Table, headers: Sequence[Header], chosen: dict[str, Mapped]) -> None:
    """Outside a BOM "article" or a maker's number may be what a row is about; not what bears another column's name."""
    if "part_no" not in table.names or "part_no" in chosen or any(h.score("part_no") >= LEAST for h in headers):
        return
    taken = {m.column for m in chosen.values()}
    fit = [
        (max(h.score("~supplier_no"), h.score("~mpn"), 0.8 * h.score("~name")), -c)
        for c, h in enumerate(headers)
        if c not in taken and max(h.score(name) for name in table.names) < EXACT
    ]
    if fit and max(fit)[0] >= LEAST:
        column = -max(fit)[1]
        chosen["part_no"] = Mapped("part_no", column, headers[column].text, round(0.8 * max(fit)[0], 2), "synonym")


def _first_break(columns: Columns, chosen: dict[str, Mapped]) -> None:
    """Quotes may state no price but those of price breaks."""
    for c, header, profile in columns.pairs():
        if header.score("~price_break") > LEAST and profile.numeric > 0.3:  # noqa: PLR2004
            chosen["unit_price"] = Mapped(
                "unit_price", c, header.text, round(header.score("~price_break"), 2), "synonym"
            )
            return


def _fits(kind: str, name: str, profile: Profile, *, blank: bool) -> bool:
    """Whether what the column holds can be of that kind at all; ``blank`` is the answer for an empty column."""
    if not profile.filled:
        return blank
    if name == "level":
        return max(profile.numeric, profile.dotted) > 0.5 or profile.numeric + profile.leading > 0.9  # noqa: PLR2004
    if kind in ("money", "number", "share"):
        return profile.numeric > 0.3 or (blank and name == "price_per")  # noqa: PLR2004
    if name == "supplier":
        return profile.words > 0.3 or profile.links > 0.3  # noqa: PLR2004
    return True


def telling_columns(mapped: Mapping[str, Mapped]) -> np.ndarray:
    """Columns of the names that make a bill of materials, in order of the sheet."""
    return np.array(
        sorted({m.column for n, m in mapped.items() if n in (*MONEY_NAMES, "part_no", "description")}), dtype=int
    )
