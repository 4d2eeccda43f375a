"""Where the table is on a sheet: the header row, its tiers, the columns it covers, blocks that follow further down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from bomaudit.glossary import Table
from bomaudit.tables.assign import Mapped, assign
from bomaudit.tables.files import Sheet
from bomaudit.tables.headers import Header, fold, understand
from bomaudit.tables.profile import SAMPLE_ROWS, profile

SEARCH_ROWS = 300
"""Rows from the top in which the header is looked for."""
_CANDIDATES = 6
_LONGEST_HEADER = 80
"""A longer text is a sentence [letters]; title texts and notes are passed over so."""
MOST_COLUMNS = 400
"""Columns that are looked at; a table of parts has some dozens."""
NOTHING = understand("")


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
        One a column of the sheet.
    mapped : dict name → Mapped
    quality : float
        How much like the wanted table it is; comparable between blocks.
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


def find_block(
    sheet: Sheet, table: Table, *, stated: Mapping[str, str], start: int = 0, left: int = 0, right: int | None = None
) -> Block | None:
    """Find the best table on a sheet from row ``start`` on, or None.

    Parameters
    ----------
    stated : mapping canonical name → header text or column letter
        From audit.toml.
    """
    right = min(len(sheet.columns), MOST_COLUMNS) if right is None else right
    blocks = []
    for rows in _candidate_headers(sheet, table, start, left, right):
        block = _block_below(sheet, table, rows, left, right, stated)
        if block is not None:
            blocks.append(block)
    return max(blocks, key=lambda b: b.quality, default=None)


def header_score(sheet: Sheet, table: Table, row: int, left: int, right: int) -> float:
    """How much a row looks like a header: distinct known names, less for numbers and sentences."""
    names: dict[str, float] = {}
    against = 0.0
    wanted = set(table.names)
    for column in sheet.columns[left:right]:
        cell = column[row]
        if isinstance(cell, str):
            text = cell.strip()
            if not text:
                continue
            if len(text) > _LONGEST_HEADER:
                against += 0.5
                continue
            meanings = [m for m in understand(text).meanings.values() if m.name in wanted or m.name[0] == "~"]
            if meanings:
                best = max(meanings, key=lambda m: m.confidence)
                worth = best.confidence if best.name in wanted else 0.7 * best.confidence
                names[best.name] = max(names.get(best.name, 0.0), worth)
            else:
                against += 0.1
        elif cell is not None and not isinstance(cell, bool):
            against += 0.4
    return sum(names.values()) - against


def _candidate_headers(sheet: Sheet, table: Table, start: int, left: int, right: int) -> list[tuple[int, ...]]:
    stop = min(sheet.n_rows, start + SEARCH_ROWS)
    scores = {row: header_score(sheet, table, row, left, right) for row in range(start, stop)}
    ranked = sorted((r for r, s in scores.items() if s >= 0.9), key=lambda r: (-scores[r], r))[:_CANDIDATES]  # noqa: PLR2004
    found: list[tuple[int, ...]] = []
    for row in ranked:
        found.append((row,))
        above = row - 1
        if above >= start and _tier_above(sheet, above, left, right):
            found.append((above, row))
    return found


def _tier_above(sheet: Sheet, row: int, left: int, right: int) -> bool:
    texts = [c[row] for c in sheet.columns[left:right] if c[row] not in ("", None)]
    return 2 <= len(texts) and all(isinstance(t, str) and len(t) <= _LONGEST_HEADER for t in texts)  # noqa: PLR2004


def joined_headers(sheet: Sheet, rows: tuple[int, ...], left: int, right: int) -> tuple[Header, ...]:
    """Headers of the columns; tiers are joined, outside the covered columns they are empty."""
    headers = []
    for index, column in enumerate(sheet.columns):
        if not left <= index < right:
            headers.append(NOTHING)
            continue
        tiers = [_header_text(column[row]) for row in rows]
        headers.append(_best_of_tiers([t for t in tiers if t]))
    return tuple(headers)


def _best_of_tiers(tiers: list[str]) -> Header:
    if not tiers:
        return NOTHING
    last = understand(tiers[-1])
    if len(tiers) == 1 or last.meanings:
        return last
    joined = understand(" ".join(tiers))
    return joined if joined.meanings else last


def _header_text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell.strip()
    return "" if cell is None else str(cell)


def _block_below(
    sheet: Sheet, table: Table, rows: tuple[int, ...], left: int, right: int, stated: Mapping[str, str]
) -> Block | None:
    first = rows[-1] + 1
    if first >= sheet.n_rows:
        return None
    headers = joined_headers(sheet, rows, left, right)
    sample = slice(first, min(sheet.n_rows, first + SAMPLE_ROWS))
    profiles = [profile(c[sample]) for c in sheet.columns[:right]]
    headers = headers[:right]
    fixed = stated_columns(stated, headers)
    mapped = assign(table, headers, profiles, stated=fixed)
    if not mapped:
        return None
    return Block(
        sheet, rows, first, sheet.n_rows, left, right, headers, mapped, quality(table, mapped, sheet.n_rows - first)
    )


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


_WORTH = {"part_no": 1.0, "description": 1.0, "qty": 1.0, "unit_cost": 1.2, "extended_cost": 0.8}


def quality(table: Table, mapped: Mapping[str, Mapped], lines: int) -> float:
    """Weigh the names found: those the job needs most count most, and a longer table counts a little more."""
    required = {c.name for c in table.columns if c.required}
    worth = _WORTH if table.name == "bom" else dict.fromkeys(required, 1.0)
    found = sum(worth.get(n, 0.2) * m.confidence for n, m in mapped.items())
    return found + 0.1 * float(np.log10(max(lines, 1)))
