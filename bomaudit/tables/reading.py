"""A file → a tidy table: what :func:`read_table` and :func:`read_audit` do, step by step."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.findings import BadInput, Finding, error
from bomaudit.glossary import PLACE_COLUMNS, TABLES_IN, Column, Table
from bomaudit.settings import ReadSection, Settings
from bomaudit.tables.convert import Place, convert
from bomaudit.tables.files import Book, letter, open_book
from bomaudit.tables.lines import bom_lines
from bomaudit.tables.locate import Block, find_block
from bomaudit.tables.structure import resolve

MAPPING_COLUMNS = ("table", "file", "sheet", "canonical", "header", "column", "confidence", "how")
ROWS_COLUMNS = ("file", "sheet", "row", "kind", "text")


@dataclass(frozen=True)
class TableRead:
    """A table as read, with what was guessed and what became of every row."""

    table: str
    frame: pd.DataFrame
    findings: tuple[Finding, ...]
    mapping: pd.DataFrame
    rows: pd.DataFrame


@dataclass(frozen=True)
class Inputs:
    """All tables of an audit folder."""

    folder: Path
    settings: Settings
    tables: dict[str, pd.DataFrame]
    present: dict[str, tuple[str, ...]]
    findings: tuple[Finding, ...]
    mapping: pd.DataFrame
    rows: pd.DataFrame
    hashes: dict[str, str]


def empty_frame(table: Table) -> pd.DataFrame:
    """Frame of a table without rows, every column present and typed."""
    return _typed(table, {}, 0)


_DTYPES = {"text": object, "code": object, "money": float, "number": float, "share": float, "date": "datetime64[us]",
           "period": "datetime64[us]", "flag": "boolean"}  # fmt: skip


def _typed(table: Table, data: Mapping[str, object], n: int) -> pd.DataFrame:
    columns: dict[str, object] = {}
    for column in table.columns:
        columns[column.name] = data.get(column.name, _missing(column, n))
    for name in PLACE_COLUMNS:
        columns[name] = data.get(
            name, np.full(n, 0 if name == "source_row" else "", dtype=int if name == "source_row" else object)
        )
    return pd.DataFrame(columns, index=pd.RangeIndex(n))


def _missing(column: Column, n: int) -> object:
    if column.kind in ("text", "code"):
        return np.full(n, "", dtype=object)
    if column.kind in ("money", "number", "share"):
        return np.full(n, np.nan)
    if column.kind in ("date", "period"):
        return np.full(n, np.datetime64("NaT"), dtype="datetime64[us]")
    return pd.array([None] * n, dtype="boolean")


def read_table(
    path: Path,
    table: Table,
    *,
    sheet: str = "",
    columns: Mapping[str, str] | None = None,
    read: ReadSection | None = None,
) -> TableRead:
    """Read one table of an audit from a spreadsheet, text table or parquet file.

    Parameters
    ----------
    path : Path
    table : glossary.Table
        What is looked for.
    sheet : str
        Sheet to read; "" chooses.
    columns : mapping canonical name → header text or column letter
        Fixed by the user.
    read : settings.ReadSection
        How cells are read where the file leaves it open.

    Returns
    -------
    TableRead
        ``frame`` with every canonical column (missing ones filled with missing values) and the place of each row.

    Raises
    ------
    BadInput
        The file cannot be opened (T001-T007) or holds no such table (T020-T022).
    """
    columns, read = columns or {}, read or ReadSection()
    book = open_book(path)
    blocks, findings = _choose(book, table, sheet, columns)
    findings = [*book.findings, *findings]
    parts, accounts, maps = [], [], []
    for block in blocks:
        frame, account, made = (_bom_block if table.name == "bom" else _plain_block)(block, table, read)
        parts.append(frame)
        accounts.append(account)
        maps.append(_mapping(block, table))
        findings += made
    frame = _joined(table, parts)
    if table.name == "bom":
        frame, made = resolve(frame)
        findings += made
    return TableRead(
        table.name, frame, tuple(findings), pd.concat(maps, ignore_index=True), pd.concat(accounts, ignore_index=True)
    )


def _choose(book: Book, table: Table, sheet: str, columns: Mapping[str, str]) -> tuple[list[Block], list[Finding]]:
    file = book.path.name
    sheets = [s for s in book.sheets if not sheet or s.name == sheet]
    if not sheets:
        names = ", ".join(s.name for s in book.sheets)
        raise BadInput(error("T020", "the sheet named in audit.toml must exist", file=file, found=names))
    found = [b for s in sheets if s.n_rows for b in [find_block(s, table, stated=columns)] if b is not None]
    if not found:
        raise BadInput(error("T021", f"the file must hold a {table.name} table", file=file, found="no header that names its columns",
                             advice=f"name the columns in [columns.{table.name}] of audit.toml"))  # fmt: skip
    best = max(found, key=lambda b: b.quality)
    missing = [c.name for c in table.columns if c.required and c.name not in best.mapped]
    if table.name != "bom" and missing:
        raise BadInput(error("T022", f"a {table.name} table must have the column {missing[0]}", file=file, sheet=best.sheet.name,
                             found="columns " + ", ".join(h.text for h in best.headers if h.text),
                             advice=f"name it in [columns.{table.name}] of audit.toml"))  # fmt: skip
    return [best], []


def _bom_block(block: Block, table: Table, read: ReadSection) -> tuple[pd.DataFrame, pd.DataFrame, list[Finding]]:
    got = bom_lines(block, read)
    account = _account(block, got.kinds.kind, got.texts)
    extra = {k: got.frame[k] for k in ("row_kind", "unit_cost_low", "unit_cost_high")}
    frame = _typed(
        table, {c: got.frame[c].to_numpy() if c in got.frame else None for c in got.frame.columns}, len(got.frame)
    )
    for name, values in extra.items():
        frame[name] = values.to_numpy()
    return frame, account, list(got.findings)


def _plain_block(block: Block, table: Table, read: ReadSection) -> tuple[pd.DataFrame, pd.DataFrame, list[Finding]]:
    sheet, span = block.sheet, slice(block.first, block.last)
    rows = np.arange(block.first, block.last) + 1
    filled = np.zeros(len(rows), dtype=bool)
    for mapped in block.mapped.values():
        cells = sheet.columns[mapped.column][span]
        filled |= np.fromiter((c is not None and str(c).strip() != "" for c in cells), bool, len(rows))
    keep = np.flatnonzero(filled)
    data: dict[str, object] = {}
    findings: list[Finding] = []
    for name, mapped in block.mapped.items():
        place = Place(sheet, mapped.column, name, rows[keep])
        data[name], made = convert(table.column(name), sheet.columns[mapped.column][span][keep], place, read)
        findings += made
    data["source_file"] = np.full(len(keep), sheet.file, dtype=object)
    data["source_sheet"] = np.full(len(keep), sheet.name, dtype=object)
    data["source_row"] = rows[keep]
    kinds = np.where(filled, "part", "blank").astype(object)
    return _typed(table, data, len(keep)), _account(block, kinds, np.full(len(rows), "", dtype=object)), findings


def _account(block: Block, kinds: object, texts_: object) -> pd.DataFrame:
    rows = np.arange(block.first, block.last) + 1
    below = pd.DataFrame(
        {"file": block.sheet.file, "sheet": block.sheet.name, "row": rows, "kind": kinds, "text": texts_}
    )
    above = []
    for r in range(block.first):
        text = " | ".join(str(c).strip() for c in block.sheet.row(r) if c not in ("", None))[:200]
        kind = "header" if r in block.header_rows else ("note" if text else "blank")
        above.append((block.sheet.file, block.sheet.name, r + 1, kind, text))
    return pd.concat([pd.DataFrame(above, columns=list(ROWS_COLUMNS)), below], ignore_index=True) if above else below


def _mapping(block: Block, table: Table) -> pd.DataFrame:
    rows = [(table.name, block.sheet.file, block.sheet.name, m.name, m.header, letter(m.column), m.confidence, m.how)
            for m in sorted(block.mapped.values(), key=lambda m: (m.column, m.name))]  # fmt: skip
    return pd.DataFrame(rows, columns=list(MAPPING_COLUMNS))


def _joined(table: Table, parts: list[pd.DataFrame]) -> pd.DataFrame:
    return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)


def read_audit(folder: Path, settings: Settings) -> Inputs:
    """Read every table that ``audit.toml`` names; absent tables are empty and typed.

    Raises
    ------
    BadInput
        All findings of every table that cannot be used, together.
    """
    tables, present, hashes = {}, {}, {}
    findings: list[Finding] = []
    failed: list[Finding] = []
    maps, accounts = [], []
    for name, table in TABLES_IN.items():
        file = getattr(settings.files, name)
        if file is None:
            tables[name] = empty_frame(table)
            continue
        path = folder / file
        try:
            got = read_table(
                path,
                table,
                sheet=settings.sheets.get(name, ""),
                columns=settings.columns.get(name, {}),
                read=settings.read,
            )
        except BadInput as problem:
            failed += problem.findings
            continue
        tables[name] = got.frame
        present[name] = tuple(c for c in table.names if c in set(got.mapping["canonical"]))
        hashes[path.name] = file_hash(path)
        findings += got.findings
        maps.append(got.mapping)
        accounts.append(got.rows)
    if failed:
        raise BadInput(*failed, *findings)
    return Inputs(
        folder,
        settings,
        tables,
        present,
        tuple(findings),
        pd.concat(maps, ignore_index=True),
        pd.concat(accounts, ignore_index=True),
        hashes,
    )


def file_hash(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
