"""Where the table is on a sheet: header row and its tiers, the columns it covers, a table without a header."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.glossary import Table
from bomaudit.tables.assign import assign
from bomaudit.tables.cells import amounts
from bomaudit.tables.columns import Columns, Mapped
from bomaudit.tables.evidence import Evidence
from bomaudit.tables.headers import SYNONYM, Header, fold, known_names, understand
from bomaudit.tables.money_columns import other_prices
from bomaudit.tables.profile import SAMPLE_OF_LONG, SAMPLE_ROWS, Profile, profile
from bomaudit.tables.sheets import Sheet
from bomaudit.tables.words import label_kind, may_be_label

SEARCH_ROWS = 300
"""Rows from the top in which the first header is looked for."""
_CANDIDATES = 5
_LONGEST_MISSPELT = 25
_LONGEST_HEADER = 80
"""A longer text is a sentence [letters]."""
MOST_COLUMNS = 250
"""Columns that are looked at; a table of parts has some dozens."""
NOTHING = understand("")
_YEAR = re.compile(r"(?:19|20)\d\d")


@dataclass(frozen=True)
class Block:
    """A table found on a sheet.

    Attributes
    ----------
    sheet : Sheet
    header_rows : tuple of int
        0-based rows of the header, more than one where it has tiers; empty where the table has none.
    first, last : int
        0-based first row below the header, and the row after the last.
    left, right : int
        First column and the one after the last.
    headers : tuple of Header
        One a column of the sheet up to ``right``.
    mapped : dict name → Mapped
    quality : float
        How much like the wanted table it is; comparable between blocks.
    rival : int
        0-based row of another header that fits as well; -1 where there is none.
    others : tuple of str
        Headers of further columns that may be the unit cost.
    staggered : str
        Columns whose lines are one column's, the level told by which it stands in; "" where there are none.
    """

    sheet: Sheet
    header_rows: tuple[int, ...]
    first: int
    last: int
    left: int
    right: int
    headers: tuple[Header, ...]
    mapped: dict[str, Mapped]
    quality: float
    rival: int = -1
    others: tuple[str, ...] = ()
    staggered: str = ""


def find_block(sheet: Sheet, table: Table, *, stated: Mapping[str, str], start: int = 0) -> Block | None:
    """Find the best table on a sheet from row ``start`` on, or None.

    Parameters
    ----------
    stated : mapping canonical name → header text or column letter
        From audit.toml.
    """
    right = min(len(sheet.columns), MOST_COLUMNS)
    plain = table.name != "bom" and _is_plain_header(sheet, table, start, right)
    candidates = [(start,)] if plain else _candidate_headers(sheet, table, start, right)
    blocks = [
        b
        for rows in candidates
        for b in [block_below(sheet, table, rows, stated=stated, span=(0, right))]
        if b is not None
    ]
    best = max(blocks, key=lambda b: (b.quality, -len(b.header_rows)), default=None)
    if table.name == "bom" and (best is None or not is_bom(best)):
        best = _without_header(sheet, table, start, right, stated) or best
    if best is None:
        return None
    rivals = [b for b in blocks if not set(b.header_rows) & set(best.header_rows) and b.quality > 0.97 * best.quality
              and _words_of(b) != _words_of(best)]  # fmt: skip
    return replace(best, rival=rivals[0].header_rows[-1]) if rivals and best.header_rows else best


def _words_of(block: Block) -> list[str]:
    return [h.words for h in block.headers]


def is_bom(block: Block) -> bool:
    """Whether a block can be a bill of materials: something names the part, and a quantity or a price goes with it."""
    names = {"part_no", "description"} & set(block.mapped)
    figures = {"qty", "unit_cost", "extended_cost"} & set(block.mapped)
    places = sum(h.score("~coordinate") > 0.8 for h in block.headers)  # noqa: PLR2004
    return bool(names and figures) and places < 2  # noqa: PLR2004


def header_score(sheet: Sheet, table: Table, row: int, left: int, right: int) -> float:
    """How much a row looks like a header: distinct known names, less for numbers and sentences."""
    names: dict[str, float] = {}
    against = 0.0
    wanted = set(table.names)
    cells = [c[row] for c in sheet.columns[left:right]]
    against += 0.25 * sum(isinstance(c, (int, float)) and not isinstance(c, bool) for c in cells)
    texts = [c.strip() for c in cells if isinstance(c, str) and c.strip()]
    for text in texts:
        if len(text) > _LONGEST_HEADER:
            against += 0.5
            continue
        best, worth = _best_name(known_names(text), wanted)
        if not best and len(texts) > 1 and len(text) <= _LONGEST_MISSPELT:
            best, worth = _best_name({m.name: m.confidence for m in understand(text).meanings.values()}, wanted)
        if best:
            names[best] = max(names.get(best, 0.0), worth)
        else:
            against += 0.1
    return sum(names.values()) - against


def _is_plain_header(sheet: Sheet, table: Table, row: int, right: int) -> bool:
    """Whether every cell of a row is a name of the glossary: nothing below can be a better header."""
    if row >= sheet.n_rows:
        return False
    names = [str(c[row]).strip().lower() for c in sheet.columns[:right] if c[row] not in ("", None)]
    return {c.name for c in table.columns if c.required} <= set(names) <= set(table.names)


def _best_name(meanings: Mapping[str, float], wanted: set[str]) -> tuple[str, float]:
    worth = {n: c if n in wanted else 0.7 * c for n, c in meanings.items() if n in wanted or n[0] == "~"}
    best = max(worth, key=lambda n: worth[n], default="")
    return best, worth.get(best, 0.0)


def _candidate_headers(sheet: Sheet, table: Table, start: int, right: int) -> list[tuple[int, ...]]:
    stop = min(sheet.n_rows, start + SEARCH_ROWS)
    scores = {
        row: header_score(sheet, table, row, 0, right) for row in range(start, stop) if _mostly_text(sheet, row, right)
    }
    top = max(scores.values(), default=0.0)
    likely = [r for r, s in scores.items() if s >= max(0.8, 0.45 * top)]
    ranked = sorted(likely, key=lambda r: (-scores[r], r))[:_CANDIDATES]
    found: list[tuple[int, ...]] = []
    for row in ranked:
        found.append((row, row + 1) if _has_lower_tier(sheet, row, right) else (row,))
        tiers = [row]
        while tiers[0] - 1 >= start and len(tiers) < 3 and _is_tier(sheet, tiers[0] - 1, right):  # noqa: PLR2004
            tiers.insert(0, tiers[0] - 1)
            found.append(tuple(tiers))
    return found


def _mostly_text(sheet: Sheet, row: int, right: int) -> bool:
    """Whether a row holds more texts than numbers and dates."""
    cells = [c[row] for c in sheet.columns[:right]]
    texts = sum(isinstance(c, str) and c != "" for c in cells)
    return texts > 0 and 2 * texts >= sum(c is not None and c != "" for c in cells)


def _is_tier(sheet: Sheet, row: int, right: int) -> bool:
    """Whether a row can be an upper tier of a header: two short texts or more, or one merged over columns."""
    texts = [c[row] for c in sheet.columns[:right] if c[row] not in ("", None)]
    if not all(isinstance(t, str) and len(t) <= _LONGEST_HEADER for t in texts):
        return False
    over = any(r1 <= row <= r2 and 0 < c2 - c1 < right - 2 for r1, c1, r2, c2 in sheet.merged)
    return len(texts) >= 2 or (len(texts) == 1 and over)  # noqa: PLR2004


def _has_lower_tier(sheet: Sheet, row: int, right: int) -> bool:
    """Whether the row below a header divides its columns: words under a title that stands over several, or years."""
    if row + 1 >= sheet.n_rows:
        return False
    upper, lower = ([_header_text(c[r]) for c in sheet.columns[:right]] for r in (row, row + 1))
    under = [i for i, text in enumerate(lower) if text]
    divided = [i for i in under if i and not upper[i] and lower[i - 1] and _tier_text(sheet, row, i, upper=True)]
    words = all(len(lower[i]) <= _LONGEST_HEADER and not any(map(str.isdigit, lower[i])) for i in under)
    return bool(divided) and (words or all(_YEAR.fullmatch(lower[i]) for i in under))


def _has_group_title(sheet: Sheet, row: int) -> bool:
    return any(r1 <= row <= r2 and c2 > c1 for r1, c1, r2, c2 in sheet.merged)


def joined_headers(sheet: Sheet, rows: Sequence[int], left: int, right: int) -> tuple[Header, ...]:
    """Headers of the columns up to ``right``; tiers are joined, a merged title counts for each column under it."""
    headers = [NOTHING] * left
    for index in range(left, right):
        tiers = [_tier_text(sheet, row, index, upper=row != rows[-1]) for row in rows]
        headers.append(_best_of_tiers([t for t in tiers if t]))
    return tuple(headers)


def _tier_text(sheet: Sheet, row: int, column: int, *, upper: bool) -> str:
    text = _header_text(sheet.columns[column][row])
    if text or not upper:
        return text
    for r1, c1, r2, c2 in sheet.merged:
        if r1 <= row <= r2 and c1 <= column <= c2:
            return _header_text(sheet.columns[c1][r1])
    return _group_title(sheet, row, column)


def _group_title(sheet: Sheet, row: int, column: int) -> str:
    """Title to the left that a column without one stands under, both with a header of their own below: Qty over two.

    Notes
    -----
    Cells merged over columns are lost in text files. A title that is none of a column, as that of the sheet, has none.
    """
    if row + 1 >= sheet.n_rows or not _header_text(sheet.columns[column][row + 1]):
        return ""
    for c in range(column - 1, -1, -1):
        if not _header_text(sheet.columns[c][row + 1]):
            return ""
        title = _header_text(sheet.columns[c][row])
        if title:
            return title if max(known_names(title).values(), default=0.0) >= SYNONYM else ""
    return ""


def _best_of_tiers(tiers: list[str]) -> Header:
    if not tiers:
        return NOTHING
    last, joined = understand(tiers[-1]), understand(" ".join(dict.fromkeys(tiers)))
    if not last.meanings:
        return joined if joined.meanings else last
    strongest = max(m.confidence for m in joined.meanings.values()) if joined.meanings else 0.0
    if strongest > max(m.confidence for m in last.meanings.values()) - 0.05:
        return joined
    return replace(last, currency=joined.currency, currency_mark=joined.currency_mark, scale=joined.scale)


def _header_text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell)


def block_below(
    sheet: Sheet,
    table: Table,
    rows: tuple[int, ...],
    *,
    stated: Mapping[str, str],
    span: tuple[int, int],
    last: int = -1,
) -> Block | None:
    """Read the columns below a header.

    Parameters
    ----------
    rows : tuple of int
        0-based rows of the header, from the top.
    span : (int, int)
        First column and the one after the last.
    last : int
        Row after the block's last; -1 for the end of the sheet.
    """
    end = sheet.n_rows if last < 0 else last
    if rows[-1] >= end:
        return None
    headers = joined_headers(sheet, rows, *span)
    return _with_columns(sheet, table, rows, span=(rows[-1] + 1, end), left=span[0], headers=headers, stated=stated)


def _with_columns(
    sheet: Sheet, table: Table, rows: tuple[int, ...], *, span: tuple[int, int], left: int, headers: tuple[Header, ...],
    stated: Mapping[str, str],
) -> Block | None:  # fmt: skip
    (first, last), right = span, len(headers)
    sample = slice(first, last if last - first <= SAMPLE_ROWS else first + SAMPLE_OF_LONG)
    empty = profile(np.empty(0, dtype=object))
    profiles = [empty if c < left else profile(sheet.columns[c][sample]) for c in range(right)]
    evidence = evidence_of(sheet, sample, left, right, first)
    columns = Columns(headers, profiles, evidence)
    mapped = assign(table, columns, stated=stated_columns(stated, headers))
    if not mapped:
        return None
    worth = quality(table, mapped, [p.filled for p in profiles])
    worth += 0.1 * (len(rows) > 1 and _has_group_title(sheet, rows[0]))
    right = _edge(headers, profiles, mapped) if rows else right
    headers = headers[:right]
    others = tuple(other_prices(columns, mapped)) if table.name == "bom" else ()
    return Block(sheet, rows, first, last, left, right, headers, mapped, worth, others=others)


def _edge(headers: Sequence[Header], profiles: Sequence[Profile], mapped: Mapping[str, Mapped]) -> int:
    """Column after the table's last: two columns without a header, or one that is empty, part what stands beside it."""
    last = max(m.column for m in mapped.values())
    for c in range(last + 1, len(headers)):
        if not headers[c].text and (not profiles[c].filled or c + 1 == len(headers) or not headers[c + 1].text):
            return c
    return len(headers)


def evidence_of(sheet: Sheet, sample: slice, left: int, right: int, first: int) -> Evidence:
    """Rows that are no lines by their look, and numbers above the header."""
    columns = sheet.columns[left:right]
    n = max(sample.stop - sample.start, 0)
    filled = np.zeros(n, dtype=int)
    labelled = np.zeros(n, dtype=bool)
    for column in columns:
        cells = column[sample]
        filled += np.fromiter((c is not None and c != "" for c in cells), bool, n)
        labelled |= np.fromiter(
            (isinstance(c, str) and may_be_label(c) and bool(label_kind(c.strip())) for c in cells), bool, n
        )
    usual = float(np.median(filled[filled > 0])) if (filled > 0).any() else 0.0
    return Evidence(labelled | (filled <= 0.5 * usual), _numbers_above(sheet, first))


def _numbers_above(sheet: Sheet, first: int) -> NDArray[np.float64]:
    rows = range(max(0, first - 12), first)
    numbers = [
        float(c[r])
        for r in rows
        for c in sheet.columns[:MOST_COLUMNS]
        if isinstance(c[r], (int, float)) and not isinstance(c[r], bool)
    ]
    texts = [
        c[r]
        for r in rows
        for c in sheet.columns[:MOST_COLUMNS]
        if isinstance(c[r], str) and any(ch.isdigit() for ch in c[r])
    ]
    if texts:
        cells = np.empty(len(texts), dtype=object)
        cells[:] = texts
        numbers += [float(v) for v in amounts(cells).value if np.isfinite(v)]
    return np.array([x for x in numbers if x > 1], dtype=float)


def _without_header(sheet: Sheet, table: Table, start: int, right: int, stated: Mapping[str, str]) -> Block | None:
    """Take the table as one without a header: columns told by what they hold alone."""
    first = next((r for r in range(start, min(sheet.n_rows, start + SEARCH_ROWS)) if _is_data(sheet, r, right)), None)
    if first is None:
        return None
    headers = (NOTHING,) * right
    block = _with_columns(sheet, table, (), span=(first, sheet.n_rows), left=0, headers=headers, stated=stated)
    return block if block is not None and is_bom(block) and {"unit_cost", "extended_cost"} & set(block.mapped) else None


def _is_data(sheet: Sheet, row: int, right: int) -> bool:
    cells = [c[row] for c in sheet.columns[:right]]
    words = any(isinstance(c, str) and any(ch.isalpha() for ch in c) for c in cells)
    return words and any(isinstance(c, (int, float)) or (isinstance(c, str) and c.strip()[:1].isdigit()) for c in cells)


def stated_columns(stated: Mapping[str, str], headers: tuple[Header, ...]) -> dict[str, int]:
    """Columns the user fixed: by header text (spelling folded), or by letter where no header is that text."""
    by_text: dict[str, int] = {}
    for c, header in enumerate(headers):
        by_text.setdefault(fold(header.text), c)
    found = {}
    for name, wanted in stated.items():
        column = by_text.get(fold(wanted)) if wanted.strip() else None
        if column is None and wanted.isalpha() and wanted.isupper() and len(wanted) <= 3:  # noqa: PLR2004
            column = _letter_index(wanted)
        if column is not None and column < len(headers):
            found[name] = column
    return found


def _letter_index(letters: str) -> int:
    value = 0
    for char in letters:
        value = value * 26 + ord(char) - 64
    return value - 1


_WORTH = {"part_no": 0.5, "description": 1.0, "qty": 1.0, "unit_cost": 1.2, "extended_cost": 0.8, "level": 0.3}


def quality(table: Table, mapped: Mapping[str, Mapped], filled: Sequence[int]) -> float:
    """Weigh the names found: those the job needs most count most, and a longer table counts more."""
    required = {c.name for c in table.columns if c.required}
    worth = _WORTH if table.name == "bom" else dict.fromkeys(required, 1.0)
    found = sum(worth.get(n, 0.1) * m.confidence for n, m in mapped.items() if n != "price_per")
    named = [filled[m.column] for n, m in mapped.items() if n in worth]
    lines = float(np.median(named)) if named else 0.0
    return found + 0.5 * float(np.log10(1 + lines))
