"""Which tables of a file are read: the best sheet, others of its make, variants; older copies are named, not added."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bomaudit.findings import BadInput, Finding, error, note, warning
from bomaudit.glossary import TABLES_IN, Table
from bomaudit.tables.assign import telling_columns
from bomaudit.tables.files import Book
from bomaudit.tables.headers import fold
from bomaudit.tables.layout import find_blocks
from bomaudit.tables.locate import Block, is_bom
from bomaudit.tables.sheets import Sheet, letter

_REPEATS = 0.5
"""A sheet repeats another if this share of its lines is there under the same name."""
_VARIANT = 0.4
"""A table beside another is a variant of it, not more of it, if this share of its lines is there too."""
_WORTH_A_WORD = 0.6
"""Other sheets are mentioned if they look at least this much like the wanted table."""


@dataclass(frozen=True)
class Chosen:
    """Blocks to read and what is to say about the choice.

    Attributes
    ----------
    blocks : tuple of Block
    variants : frozenset of int
        Which of the blocks are variants, whose lines are alternatives.
    possible : tuple of Block
        Tables of other sheets that are read only if a line of a block rolls them up.
    findings : tuple of Finding
    """

    blocks: tuple[Block, ...]
    variants: frozenset[int]
    possible: tuple[Block, ...]
    findings: tuple[Finding, ...]


def choose(book: Book, table: Table, *, sheet: str, stated: Mapping[str, str]) -> Chosen:
    """Choose the blocks to read.

    Raises
    ------
    BadInput
        T020 the sheet does not exist, T021 no such table, T022 a required column is missing, T023 no bill of materials.
    """
    file = book.path.name
    sheets = [s for s in book.sheets if not sheet or s.name == sheet]
    if not sheets:
        raise BadInput(
            error(
                "T020",
                "the sheet named in audit.toml must exist",
                file=file,
                found=", ".join(s.name for s in book.sheets),
            )
        )
    by_sheet = [(s, find_blocks(s, table, stated=stated)) for s in sheets]
    found = [(s, b) for s, b in by_sheet if b]
    if not found:
        raise BadInput(_no_table(file, table))
    best_sheet, best = max(found, key=lambda sb: max(b.quality for b in sb[1]))
    if table.name == "bom":
        best_sheet, best = _newest_revision(found, best_sheet, best)
    _check_columns(file, table, best[0], stated)
    findings = _mapping_findings(best[0], stated)
    if table.name != "bom":
        return Chosen(tuple(best[:1]), frozenset(), (), tuple(findings))
    blocks, variants, made = _with_variants(best)
    possible: list[Block] = []
    for other, parts in found:
        if other is not best_sheet:
            bills = [p for p in parts if is_bom(p)]
            added, said = _other_sheet(blocks, other, bills, best[0])
            blocks += added
            made += said
            possible += bills if not said else []
    return Chosen(tuple(blocks), variants, tuple(possible), tuple(findings + made))


_REVISION = re.compile(
    r"(?:\b|_)(?:(?:rev(?:ision)?|version|ver|issue|index|stand)[ ._-]*(?:(?P<letter>[a-z])|(?P<n>\d{1,4}))"
    r"|v[ ._-]?(?P<v>\d{1,3})|(?P<date>(?:19|20)\d\d(?:-\d\d){0,2}))(?=$|[\W_])",
    re.IGNORECASE,
)
"""What tells revisions of a sheet apart by their names: "BOM rev B", "BOM_v3", "BOM 2024-06"."""


def _revision(name: str) -> tuple[str, str, str]:
    """Name of a sheet without its revision, the kind of it, and the revision in order; three times "" without one."""
    match = _REVISION.search(name)
    if match is None:
        return "", "", ""
    number = match["n"] or match["v"] or ""
    kind = "date" if match["date"] else "number" if number else "letter"
    order = match["date"] or number.zfill(4 if number else 0) or match["letter"].upper()
    return fold(name[: match.start()] + " " + name[match.end() :]), kind, order


def _newest_revision(
    found: Sequence[tuple[Sheet, list[Block]]], best_sheet: Sheet, best: list[Block]
) -> tuple[Sheet, list[Block]]:
    """Take the newest of several sheets that repeat each other and are named alike but for the revision."""
    stem, kind, newest = _revision(best_sheet.name)
    for sheet, blocks in found:
        of, sort, order = _revision(sheet.name)
        if kind and (of, sort) == (stem, kind) and order > newest and sheet.visible and is_bom(blocks[0]):
            alike = _same_make(blocks[0], best[0]) and _overlap(blocks[0], best) >= _REPEATS
            best_sheet, best, newest = (sheet, blocks, order) if alike else (best_sheet, best, newest)
    return best_sheet, best


def _place(table: Table) -> str:
    """Where the columns of a table are named: in audit.toml, or with the command that reads a table of its own."""
    return f"in [columns.{table.name}] of audit.toml" if table.name in TABLES_IN else "with --column NAME=HEADER"


def _no_table(file: str, table: Table) -> Finding:
    return error(
        "T021",
        f"the file must hold a {table.name} table",
        file=file,
        found="no header that names its columns",
        advice=f"give it a row of headers such as {', '.join(table.names[:4])}, or name those it has {_place(table)}",
    )


def _check_columns(file: str, table: Table, block: Block, stated: Mapping[str, str]) -> None:
    headers = ", ".join(h.text for h in block.headers if h.text)[:300]
    absent = [f"{n} = {w!r}" for n, w in stated.items() if n not in block.mapped or block.mapped[n].how != "stated"]
    if absent:
        raise BadInput(
            error(
                "T028",
                f"a column named {_place(table)} must be in the table",
                file=file,
                sheet=block.sheet.name,
                found=f"{absent[0]} where the headers are {headers}",
                advice="write the header as it is in the file",
            )
        )
    missing = [c.name for c in table.columns if c.required and c.name not in block.mapped]
    if table.name != "bom" and missing:
        raise BadInput(
            error(
                "T022",
                f"a {table.name} table must have the column {missing[0]}",
                file=file,
                sheet=block.sheet.name,
                found=f"columns {headers}",
                advice=f"name it {_place(table)}",
            )
        )
    if table.name == "bom" and not is_bom(block):
        raise BadInput(
            error(
                "T023",
                "a bill of materials must name parts and state a quantity or a price",
                file=file,
                sheet=block.sheet.name,
                found=f"columns {headers}" if headers else "no header",
                advice="name the columns in [columns.bom] of audit.toml if it is one",
            )
        )


def _mapping_findings(block: Block, stated: Mapping[str, str]) -> list[Finding]:
    where = {"file": block.sheet.file, "sheet": block.sheet.name}
    findings = []
    if not block.header_rows:
        findings.append(warning("T029", "the table has no header; its columns are told by what they hold", **where,
                                assumed=", ".join(f"{m.name} in {letter(m.column)}" for m in block.mapped.values()),
                                advice="name the columns in [columns.bom] of audit.toml"))  # fmt: skip
    if block.rival >= 0:
        findings.append(
            warning(
                "T065",
                "one header should name the columns",
                **where,
                row=block.rival + 1,
                found="another row that fits as well",
                assumed=f"row {block.header_rows[-1] + 1} is the header",
            )
        )
    findings += _told_columns(block, where)
    if block.sheet.turned:
        findings.append(warning("T066", "the table runs across the sheet, lines in columns", **where,
                                assumed="rows and columns exchanged; row numbers count columns"))  # fmt: skip
    unsure = [m for m in block.mapped.values() if m.confidence < 0.6 and m.name not in stated and block.header_rows]  # noqa: PLR2004
    findings += [
        note(
            "T067",
            f"{m.name} is taken from a column by weak signs",
            **where,
            column=letter(m.column),
            found=repr(m.header[:40]),
            assumed=f"confidence {m.confidence:.2f}",
            advice="name the column in audit.toml if this is wrong",
        )
        for m in unsure
    ]
    return findings


def _told_columns(block: Block, where: dict[str, str]) -> list[Finding]:
    """Columns that were told by more than their header: of a structure, and which of several prices."""
    findings = []
    if block.staggered:
        findings.append(note("T064", "the structure is taken from the columns that lines stand in", **where,
                             column=block.staggered))  # fmt: skip
    if block.others:
        findings.append(warning("T096", "one column must state the unit cost", **where,
                                column=letter(block.mapped["unit_cost"].column),
                                found=", ".join(repr(h[:40]) for h in block.others) + " beside it",
                                assumed=f"{block.mapped['unit_cost'].header[:40]!r} is the unit cost",
                                advice="name the column in [columns.bom] of audit.toml if this is wrong"))  # fmt: skip
    return findings


def _with_variants(blocks: Sequence[Block]) -> tuple[list[Block], frozenset[int], list[Finding]]:
    """Tables beside the first: variants of it, or more lines."""
    kept, findings, variants = list(blocks), [], set()
    for i, block in enumerate(kept[1:], start=1):
        if block.left == kept[0].left:
            findings.append(
                note(
                    "T068",
                    "further tables below the first are read too",
                    file=block.sheet.file,
                    sheet=block.sheet.name,
                    row=block.header_rows[-1] + 1,
                )
            )
            continue
        is_variant = _overlap(block, [kept[0]]) >= _VARIANT
        if is_variant:
            variants.add(i)
        findings.append(
            warning(
                "T069",
                "tables beside each other are variants or parts of one bill",
                file=block.sheet.file,
                sheet=block.sheet.name,
                column=letter(block.left),
                found="most of the second's lines are in the first" if is_variant else "different lines",
                assumed="the second is a variant, its lines are not added" if is_variant else "both are added",
            )
        )
    return kept, frozenset(variants), findings


def _other_sheet(
    blocks: Sequence[Block], other: Sheet, parts: list[Block], best: Block
) -> tuple[list[Block], list[Finding]]:
    """Add another sheet's table if it is of the same make and says something new."""
    parts = [p for p in parts if p.quality >= _WORTH_A_WORD * best.quality]
    if not parts:
        return [], []
    where = {"file": other.file, "sheet": other.name}
    if _overlap(parts[0], blocks) >= _REPEATS:
        return [], [
            warning(
                "T024",
                "a sheet that repeats lines is not added",
                **where,
                found=f"most of its lines are in {best.sheet.name}",
                advice="name the sheet to read in [sheets] of audit.toml",
            )
        ]
    if _same_make(parts[0], best) and other.visible:
        return parts, [
            warning(
                "T025",
                "several sheets hold a bill of materials",
                **where,
                assumed="its lines are added",
                advice="name the one sheet to read in [sheets] of audit.toml if they are versions",
            )
        ]
    return [], []


def left_out(block: Block, best: Block) -> Finding:
    """T026: a sheet that was looked at and not read."""
    return warning(
        "T026",
        "another sheet looks like a bill of materials of another make",
        file=block.sheet.file,
        sheet=block.sheet.name,
        assumed=f"only {best.sheet.name} is read",
        advice="name the sheet to read in [sheets] of audit.toml",
    )


def _names(block: Block) -> list[str]:
    column = block.mapped.get("description") or block.mapped["part_no"]
    cells = block.sheet.columns[column.column][block.first : block.last]
    return [" ".join(str(c).split()).casefold() for c in cells if c not in ("", None)]


def _overlap(block: Block, others: Sequence[Block]) -> float:
    names = _names(block)
    known = {n for o in others for n in _names(o)}
    return sum(n in known for n in names) / len(names) if names else 0.0


def _same_make(a: Block, b: Block) -> bool:
    def words(block: Block) -> list[str]:
        return [block.headers[c].words for c in telling_columns(block.mapped)]

    wa, wb = words(a), words(b)
    return bool(wa) and sum(w in wb for w in wa) >= 0.7 * max(len(wa), len(wb))
