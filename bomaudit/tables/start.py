"""Start an audit folder from a spreadsheet: what to write, and what is missing, in order of what it would improve."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from bomaudit.findings import BadInput, Finding, error, note, warning
from bomaudit.glossary import TABLES_IN, Table
from bomaudit.settings import LAYOUT
from bomaudit.tables.reading import TableRead, read_table

_TEMPLATES = ("quotes", "volumes", "input_prices", "decisions", "standards")
"""Tables a folder gets a template for where it has none; the others only replace what the settings or these say."""


@dataclass(frozen=True)
class Proposal:
    """What an audit folder would hold; nothing is written here.

    Attributes
    ----------
    files : dict file name → text
        ``audit.toml`` first, then a template for each missing table.
    findings : tuple of Finding
        Of reading the tables, then what is missing (codes I001-I009), the most useful first.
    read : dict table → TableRead
    missing : DataFrame
        what, why, where: one row a missing thing, the most useful first.
    """

    files: dict[str, str]
    findings: tuple[Finding, ...]
    read: dict[str, TableRead]
    missing: pd.DataFrame


def propose_audit(bom: Path, others: Mapping[str, Path] | None = None, *, folder: Path | None = None) -> Proposal:
    """Propose an audit folder for a bill of materials and what else there is.

    Parameters
    ----------
    bom : Path
        The spreadsheet; it is referred to, not copied.
    others : mapping table → Path
        Further tables, by their names in the glossary ("quotes", "volumes", …).
    folder : Path or None
        Where ``audit.toml`` will stand: paths are written relative to it. None: beside the spreadsheet.

    Returns
    -------
    Proposal

    Raises
    ------
    BadInput
        A table cannot be read, or ``others`` names none (S005); all findings together.
    """
    paths = {"bom": bom, **(others or {})}
    unknown = [name for name in paths if name not in TABLES_IN]
    if unknown:
        advice = f"one of {', '.join(TABLES_IN)}"
        raise BadInput(*(error("S005", f"{n} names no table", advice=advice) for n in unknown))
    read: dict[str, TableRead] = {}
    failed: list[Finding] = []
    for name, path in paths.items():
        try:
            read[name] = read_table(path, TABLES_IN[name])
        except BadInput as problem:
            failed += problem.findings
    if failed:
        raise BadInput(*failed)
    gaps = _gaps(read)
    templates = {f"{n}_template.csv": ",".join(TABLES_IN[n].names) + "\n" for n in _TEMPLATES if n not in read}
    files = {"audit.toml": _toml(read, paths, folder if folder is not None else bom.parent), **templates}
    findings = [f for got in read.values() for f in got.findings] + [f for f, _ in gaps]
    missing = pd.DataFrame(
        [(f.message, f.assumed, f.advice) for f, _ in gaps], columns=["what", "why", "where"], dtype="str"
    )
    return Proposal(files, tuple(findings), read, missing)


# ---------------------------------------------------------------- what is missing


def _gaps(read: Mapping[str, TableRead]) -> list[tuple[Finding, float]]:
    """Missing things and how much each would improve, the most useful first.

    Notes
    -----
    Ordered by what a line needs to be audited at all (price, currency), then by what narrows it most: the date
    of the price, quotes, its market, volumes, then what turns drift into money and decisions. A gap that concerns few
    lines counts for less. The order is engineering judgement, no published source.
    """
    frame = read["bom"].frame
    lines = frame[frame["row_kind"].isin(("part", "alternative"))]
    file = str(frame["source_file"].iloc[0]) if len(frame) else ""
    priced = lines["unit_cost"].notna()
    found: list[tuple[Finding, float]] = []

    def of_lines(code: str, without: pd.Series, weight: float, *, what: str, why: str, advice: str) -> None:
        share = float(without.mean()) if len(without) else 0.0
        if share > 0:
            say = warning if share > 0.5 else note  # noqa: PLR2004  (of most lines)
            count = f"{int(without.sum())} of {len(without)} lines"
            finding = say(code, f"{what} is missing", file=file, found=count, assumed=why, advice=advice)
            found.append((finding, weight * share))

    def of_table(code: str, name: str, weight: float, why: str) -> None:
        if name not in read:
            advice = f"fill in {name}_template.csv and name it in [files] of audit.toml"
            found.append((note(code, f"{name} would help", assumed=why, advice=advice), weight))

    money = lines[priced]
    of_lines("I001", ~priced, 1.0, what="unit_cost", why="such lines are not audited", advice="add the booked cost")
    of_lines("I002", money["currency"] == "", 0.95, what="currency", why="its price cannot be compared",
             advice="set currency in [read] of audit.toml")  # fmt: skip
    of_lines("I003", money["cost_date"].isna(), 0.9, what="cost_date", why="an undated price has a wide interval",
             advice="add the date of each price, or set programme_date in [audit]")  # fmt: skip
    of_table("I004", "quotes", 0.8, "own quotes date the booked cost, narrow the estimate and calibrate the curves")
    of_lines("I005", lines["commodity"] == "", 0.7, what="commodity", why="it is guessed from the description",
             advice="add the market each part is bought from")  # fmt: skip
    of_table("I006", "volumes", 0.6, "knowing today's cumulative volume halves the error of an old price")
    if frame[["annual_volume", "annual_qty"]].isna().all(axis=None):
        finding = note("I007", "annual_volume is missing", file=file, assumed="drift cannot become money a year",
                       advice="set annual_volume in [audit] of audit.toml")  # fmt: skip
        found.append((finding, 0.5))
    of_table("I008", "decisions", 0.45, "without decisions the audit shows drift, not which choices it flips")
    of_table("I009", "input_prices", 0.4, "own metal and labour indices beat the bundled general inflation")
    return sorted(found, key=lambda gap: (-gap[1], gap[0].code))


# ---------------------------------------------------------------- audit.toml


def _toml(read: Mapping[str, TableRead], paths: Mapping[str, Path], folder: Path) -> str:
    lines = [
        "# Audit settings. Lines that begin with # say what was found or may be set; remove the # to change.",
        f"layout = {LAYOUT}",
        "",
        "[audit]",
        "# as_of = 2026-06-30            # day the prices are estimated for; default: today",
        f"# currency = {_quoted(_main_currency(read['bom'].frame))}            # default: the bill's main currency",
        "# annual_volume = 1000          # finished products a year",
        "# programme_date = 2019-01-01   # date of the prices that state none",
        "",
        "[files]",
    ]
    lines += [f"{name} = {_quoted(_relative(path, folder))}" for name, path in paths.items()]
    lines += [f'# {n} = "{n}_template.csv"' for n in _TEMPLATES if n not in paths]
    for name, got in read.items():
        lines += ["", *_columns(TABLES_IN[name], got)]
    return "\n".join(lines) + "\n"


def _columns(table: Table, got: TableRead) -> list[str]:
    """The mapping that was detected, as comments, and the names that have no column."""
    sheet = got.mapping["sheet"].iloc[0] if len(got.mapping) else ""
    lines = [f"[columns.{table.name}]" + (f"   # read from sheet {_quoted(sheet)}" if sheet else "")]
    first = got.mapping.drop_duplicates("canonical")
    for row in first.itertuples(index=False):
        wanted = row.header if str(row.header).strip() else row.column
        told = f"column {row.column}, {row.how}, confidence {row.confidence:.2f}"
        lines.append(f"# {row.canonical} = {_quoted(str(wanted))}   # {told}")
    absent = [n for n in table.names if n not in set(first["canonical"])]
    others = ", ".join(_quoted(header) for header in got.unused)
    return [
        *lines,
        *([f"# not found: {', '.join(absent)}"] if absent else []),
        *([f"# not used: {others}"] if others else []),
    ]


def _main_currency(frame: pd.DataFrame) -> str:
    stated = frame.loc[frame["currency"] != "", "currency"]
    counts = stated.value_counts()
    return min(counts.index, key=lambda c: (-counts[c], c)) if len(counts) else "EUR"


def _relative(path: Path, folder: Path) -> str:
    """Path from the folder to a file within it, else the whole path; with forward slashes on every system."""
    path, folder = path.resolve(), folder.resolve()
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix()


def _quoted(text: str) -> str:
    """A TOML basic string: quotes, backslashes and control characters escaped."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'
