"""A file → a tidy table: what :func:`read_table` and :func:`read_audit` do, step by step."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import BadInput, Finding, note, warning
from bomaudit.glossary import TABLES_IN, Table
from bomaudit.progress import told
from bomaudit.settings import ReadSection, Settings
from bomaudit.tables import rollups
from bomaudit.tables.account import account
from bomaudit.tables.breaks_across import break_columns, unfolded, unread_prices
from bomaudit.tables.choose import Chosen, choose, left_out
from bomaudit.tables.convert import Place, convert
from bomaudit.tables.dates import period_ends
from bomaudit.tables.dress import Dress, dress_of
from bomaudit.tables.files import Book, open_book
from bomaudit.tables.frames import empty_frame, same_text, typed_frame
from bomaudit.tables.layout import title_of
from bomaudit.tables.line_money import price_breaks, table_money
from bomaudit.tables.lines import Lines, bom_lines
from bomaudit.tables.locate import Block
from bomaudit.tables.places import input_label, locate_input
from bomaudit.tables.sheets import letter
from bomaudit.tables.structure import in_one_unit, repeats, resolve
from bomaudit.tables.worn import held_down

MAPPING_COLUMNS = ("table", "file", "sheet", "canonical", "header", "column", "confidence", "how")
ROWS_COLUMNS = ("file", "sheet", "row", "kind", "text")


@dataclass(frozen=True)
class TableRead:
    """A table as read, what was guessed, what became of every row, the file's hash, price breaks, headers not used."""

    table: str
    frame: pd.DataFrame
    findings: tuple[Finding, ...]
    mapping: pd.DataFrame
    rows: pd.DataFrame
    sha256: str
    breaks: pd.DataFrame = field(default_factory=lambda: empty_frame(TABLES_IN["quotes"]))
    unused: tuple[str, ...] = ()


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
        The file cannot be opened (T001-T007) or holds no such table (T020-T023, T028).
    """
    read = read or ReadSection()
    with _no_collection():
        return _read_table(path, table, sheet, columns or {}, read)


@contextmanager
def _no_collection() -> Iterator[None]:
    """Pause the garbage collector: a sheet is a million cells that live until it is read."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _unused(block: Block) -> list[str]:
    """Headers of the columns that were taken for none of ours."""
    taken = {m.column for m in block.mapped.values()}
    return [" ".join(h.text.split()) for c, h in enumerate(block.headers) if h.text.strip() and c not in taken]


def _read_table(path: Path, table: Table, sheet: str, columns: Mapping[str, str], read: ReadSection) -> TableRead:
    book = open_book(path)
    chosen = choose(book, table, sheet=sheet, stated=columns)
    one = _bom_block if table.name == "bom" else _plain_block
    parts = [one(b, table, read, book, variant=i in chosen.variants) for i, b in enumerate(chosen.blocks)]
    blocks, parts, above, made = _rolled_up(chosen, parts, lambda b: one(b, table, read, book, variant=False))
    findings = [*book.findings, *chosen.findings, *(f for p in parts for f in p.findings), *made]
    frame = pd.concat([p.frame for p in parts], ignore_index=True) if len(parts) > 1 else parts[0].frame
    rows = account(book.sheets, [(b, p.kind, p.text) for b, p in zip(blocks, parts, strict=True)])
    mapping = pd.concat([_mapping(b, table) for b in blocks], ignore_index=True)
    unused = tuple(dict.fromkeys(h for b in blocks for h in _unused(b)))
    if table.name != "bom":
        return TableRead(table.name, frame, tuple(dict.fromkeys(findings)), mapping, rows, book.sha256, unused=unused)
    frame, made = resolve(frame, above)
    quotes = [price_breaks(b, p.frame) for b, p in zip(blocks, parts, strict=True)]
    frame, moved = in_one_unit(frame)
    findings += [*made, *moved, *repeats(frame), *(f for _, said in quotes for f in said)]
    found = [q for q, _ in quotes if len(q)]
    breaks = pd.concat(found, ignore_index=True) if found else empty_frame(TABLES_IN["quotes"])
    rows = _assemblies_in(rows, frame)
    return TableRead(
        table.name,
        frame,
        tuple(dict.fromkeys(findings)),
        mapping,
        rows,
        book.sha256,
        breaks,
        () if len(breaks) else unused,
    )


def _rolled_up(
    chosen: Chosen, parts: list[Lines], read_one: Callable[[Block], Lines]
) -> tuple[list[Block], list[Lines], NDArray[np.intp] | None, list[Finding]]:
    """Add tables that a line rolls up; returns all blocks and lines, the line above each (-1: none), findings."""
    blocks = [*chosen.blocks, *chosen.possible]
    if len(blocks) < 2:  # noqa: PLR2004
        return blocks, parts, None, []
    everything = [*parts, *(read_one(b) for b in chosen.possible)]
    titles = [title_of(b) for b in blocks]
    found = [] if chosen.variants else rollups.links([p.frame for p in everything], titles)
    linked = {link.lower for link in found} | {link.upper for link in found}
    sure = range(len(parts))
    keep = [i for i in range(len(blocks)) if i in sure or i in linked]
    findings = [left_out(blocks[i], blocks[0]) for i in range(len(blocks)) if i not in keep]
    starts = np.cumsum([0, *(len(everything[i].frame) for i in keep)])
    above = np.full(int(starts[-1]), -1, dtype=np.intp)
    for link in found:
        lower, upper = keep.index(link.lower), keep.index(link.upper)
        above[starts[lower] : starts[lower + 1]] = starts[upper] + link.row
        row = everything[link.upper].frame.iloc[link.row]
        findings.append(
            warning(
                "T075",
                "a table that a line takes up again counts once",
                file=row["source_file"],
                sheet=row["source_sheet"],
                row=int(row["source_row"]),
                found=f"the total of {blocks[link.lower].sheet.name or 'the table below'}",
                assumed="the line is the assembly, its parts are counted",
            )
        )
    return [blocks[i] for i in keep], [everything[i] for i in keep], above, findings


def _bom_block(block: Block, table: Table, read: ReadSection, book: Book, *, variant: bool) -> Lines:
    block, merged = held_down(block, table)
    got = bom_lines(block, read, partial(_dress, book))
    got = replace(got, findings=(*merged, *got.findings))
    if variant:
        got.frame.loc[got.frame["row_kind"] == "part", "row_kind"] = "alternative"
        got.kind[got.kind == "part"] = "alternative"
    return got


def _dress(book: Book, of: Block, columns: tuple[int, ...]) -> Dress:
    return Dress() if of.sheet.turned else dress_of(book, of.sheet.name, columns)


def _plain_block(block: Block, table: Table, read: ReadSection, book: Book, *, variant: bool) -> Lines:  # noqa: ARG001  (same form as _bom_block)
    block, merged = held_down(block, table)
    one = partial(_plain_rows, table=table, read=read, book=book)
    levels = break_columns(block) if table.name == "quotes" else {}
    got = unfolded(block, levels, one) if levels else one(block)
    unread = unread_prices(block) if table.name == "quotes" and not levels else []
    return replace(got, findings=(*merged, *unread, *got.findings))


def _plain_rows(block: Block, table: Table, read: ReadSection, book: Book) -> Lines:
    findings: list[Finding] = []
    sheet, span = block.sheet, slice(block.first, block.last)
    rows = np.arange(block.first, block.last) + 1
    filled = np.zeros(len(rows), dtype=bool)
    for mapped in block.mapped.values():
        cells = sheet.columns[mapped.column][span]
        filled |= np.fromiter((c is not None and str(c).strip() != "" for c in cells), bool, len(rows))
    keep = np.flatnonzero(filled)
    data: dict[str, Any] = {}
    money = {c.name for c in table.columns if c.kind == "money"}
    for name, mapped in block.mapped.items():
        if name == "price_per" or name in money:
            continue
        place = Place(sheet, mapped.column, name, rows[keep])
        data[name], made = convert(
            table.column(name), sheet.columns[mapped.column][span][keep], place, read, table=table.name
        )
        findings += made
    findings += _by_first_days(table, block, data)
    findings += table_money(table, block, rows[keep] - 1, data, read=read, dress_of=partial(_dress, book))
    data["source_file"] = same_text(sheet.file, len(keep))
    data["source_sheet"] = same_text(sheet.name, len(keep))
    data["source_row"] = rows[keep]
    kinds = np.where(filled, "line", "blank").astype(object)
    return Lines(typed_frame(table, data, len(keep)), kinds, np.full(len(rows), "", dtype=object), tuple(findings))


def _by_first_days(table: Table, block: Block, data: dict[str, Any]) -> list[Finding]:
    """Bring periods to their ends where all are stated by their first days; a year alone is its last day already."""
    day = data["period"].astype("datetime64[D]") if "period" in data else np.empty(0, dtype="datetime64[D]")
    known = np.unique(day[~np.isnat(day)])
    if len(known) < 2 or (known != known.astype("datetime64[M]")).any():  # noqa: PLR2004  (one day proves nothing)
        return []
    names = data.get(table.columns[0].name) if table.columns[0].name != "period" else None
    data["period"] = period_ends(data["period"], np.zeros(len(day)) if names is None else np.asarray(names))
    return [
        note("T095", "period is stated by its first day", file=block.sheet.file, sheet=block.sheet.name,
             column=letter(block.mapped["period"].column), found=f"{known[0]} to {known[-1]}",
             assumed="the year, quarter or month that begins then, as long as the steps of its series")
    ]  # fmt: skip


def _assemblies_in(rows: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Carry the kinds that structure settled back into the account of rows."""
    is_assembly = frame["row_kind"] == "assembly"
    places = set(zip(frame.loc[is_assembly, "source_sheet"], frame.loc[is_assembly, "source_row"], strict=True))
    if places:
        hit = [(s, r) in places for s, r in zip(rows["sheet"], rows["row"], strict=True)]
        rows.loc[hit, "kind"] = "assembly"
    return rows


def _mapping(block: Block, table: Table) -> pd.DataFrame:
    rows = [(table.name, block.sheet.file, block.sheet.name, m.name, m.header, letter(m.column), m.confidence, m.how)
            for m in sorted(block.mapped.values(), key=lambda m: (m.column, m.name))]  # fmt: skip
    return pd.DataFrame(rows, columns=list(MAPPING_COLUMNS))


def read_audit(folder: Path, settings: Settings) -> Inputs:
    """Read every table that ``audit.toml`` names; absent tables are empty and typed.

    Raises
    ------
    BadInput
        All findings of every table that cannot be used, together.
    """
    present, hashes = {}, {}
    findings: list[Finding] = []
    failed: list[Finding] = []
    maps, accounts, breaks = [], [], empty_frame(TABLES_IN["quotes"])
    files = {name: file for name in TABLES_IN if (file := getattr(settings.files, name)) is not None}
    tables = {name: empty_frame(table) for name, table in TABLES_IN.items() if name not in files}
    for name, file in told("reading files", files.items(), len(files)):
        table = TABLES_IN[name]
        try:
            path, outside = locate_input(folder, file)
            sheet, columns = settings.sheets.get(name, ""), settings.columns.get(name, {})
            got = read_table(path, table, sheet=sheet, columns=columns, read=settings.read)
        except BadInput as problem:
            failed += problem.findings
            continue
        tables[name] = got.frame
        breaks = got.breaks if name == "bom" else breaks
        stated = set(got.mapping["canonical"]) | ({"min_qty"} if any(f.code == "T109" for f in got.findings) else set())
        present[name] = tuple(c for c in table.names if c in stated)
        hashes[input_label(file)] = got.sha256
        findings += [*outside, *got.findings]
        maps.append(got.mapping)
        accounts.append(got.rows)
    if failed:
        raise BadInput(*failed, *findings)
    _add_breaks(breaks, tables, present)
    mapping, rows = (pd.concat(frames, ignore_index=True) for frames in (maps, accounts))
    return Inputs(folder, settings, tables, present, tuple(findings), mapping, rows, hashes)


def _add_breaks(breaks: pd.DataFrame, tables: dict[str, pd.DataFrame], present: dict[str, tuple[str, ...]]) -> None:
    """Join price breaks of the bill to the quotes."""
    if len(breaks):
        tables["quotes"] = pd.concat([q for q in (tables["quotes"], breaks) if len(q)], ignore_index=True)
        used = {"part_no", "quote_date", "unit_price", "currency", "min_qty", "kind", *present.get("quotes", ())}
        present["quotes"] = tuple(n for n in TABLES_IN["quotes"].names if n in used)
