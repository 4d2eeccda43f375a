"""Read published bills of materials and hold the result against their answer key: one row a file.

Run: ``python tests/benchmarks/real_boms.py [FOLDER]``; the folder holds MANIFEST.csv, TABLES.csv, LINES.csv and files/
and defaults to ``../shared/real_boms`` beside the checkout. The files are not part of the project: licences differ.

Columns: header row found · columns as in the key · lines as in the key · sum as in the key · warnings shown. An error
is silent when a wrong count, column or sum comes without a warning. Lines count as the key counts them: alternatives
and assemblies without a price are lines there.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.findings import BadInput, Severity
from bomaudit.glossary import BOM
from bomaudit.tables import read_table

DEFAULT = Path(__file__).resolve().parents[2].parent / "shared" / "real_boms"
KEY_COLUMNS = {"part_no": "part_no", "description": "description", "qty": "qty", "unit_price": "unit_cost",
               "extended": "extended_cost", "supplier": "supplier", "level": "level"}  # fmt: skip
MUST_NOT_ADD = ("qty", "unit_price", "extended")
CENT = 0.006


@dataclass(frozen=True)
class Outcome:
    """How one file was read against its key."""

    file: str
    refused: bool
    header: bool
    columns: bool
    lines: bool
    total: bool
    warnings: int
    seconds: float
    remark: str

    @property
    def right(self) -> bool:
        """All four as in the key."""
        return self.header and self.columns and self.lines and self.total


def measure(folder: Path, key: pd.Series, table: pd.Series | None, lines: pd.DataFrame) -> Outcome:
    """Read one file and compare."""
    start = time.perf_counter()
    try:
        got = read_table(folder / "files" / key["file"], BOM)
    except BadInput as problem:
        refused = key["is_bom"] != "yes"
        return Outcome(
            key["file"], True, refused, refused, refused, refused, 1, time.perf_counter() - start, str(problem)[:110]
        )
    seconds = time.perf_counter() - start
    warnings = sum(f.severity is not Severity.NOTE for f in got.findings)
    if key["is_bom"] != "yes" or table is None:
        return Outcome(key["file"], False, False, False, False, False, warnings, seconds, "read, but it is no BOM")
    header_ok, remark_header = _header(got, key)
    columns_ok, remark_columns = _columns(got, table, key["sheet"])
    lines_ok, remark_lines = _lines(got, table)
    total_ok, remark_total = _total(got, table, lines)
    remark = "; ".join(r for r in (remark_header, remark_columns, remark_lines, remark_total) if r)
    return Outcome(key["file"], False, header_ok, columns_ok, lines_ok, total_ok, warnings, seconds, remark)


def _header(got, key):
    rows = got.rows
    if key["sheet"] not in ("", "(csv)") and key["sheet"] not in set(got.mapping["sheet"]):
        return False, f"sheet {sorted(set(got.mapping['sheet']))} for {key['sheet']}"
    sheet = "" if key["sheet"] == "(csv)" else key["sheet"]
    headers = rows.loc[(rows["kind"] == "header") & (rows["sheet"] == sheet), "row"].tolist()
    wanted = int(key["header_row"] or 0)
    ok = (wanted in headers) if wanted else not headers
    return ok, "" if ok else f"header {headers[:3]} for {wanted}"


def _columns(got, table, sheet):
    mapping = got.mapping[got.mapping["sheet"] == ("" if sheet == "(csv)" else sheet)].drop_duplicates("canonical")
    mine = dict(zip(mapping["canonical"], mapping["column"], strict=True))
    wrong = []
    for name, canonical in KEY_COLUMNS.items():
        want, have = table[name], mine.get(canonical, "")
        if want and have == want:
            continue
        if name == "unit_price" and not want and not table["qty"] and have == table["extended"]:
            continue  # without a quantity, unit and extended cost are the same figure
        if not want and (name not in MUST_NOT_ADD or not have):
            continue
        if (
            name in ("unit_price", "extended")
            and not table["qty"]
            and want
            and {mine.get("unit_cost"), mine.get("extended_cost")} >= {want}
        ):
            continue  # without a quantity, unit and extended cost are the same figure
        if name == "unit_price" and not want and _derived(got):
            continue  # a pack price brought to one piece
        if name == "level" and mine.get("parent_no") == want:
            continue  # the key calls a parent column the level
        if name == "part_no" and want == table["description"] == mine.get("description"):
            continue
        wrong.append(f"{name} {have or '-'} for {want or '-'}")
    return not wrong, ", ".join(wrong)


def _derived(got):
    return bool((got.frame["price_per"] > 1).any())


def _lines(got, table):
    kinds = got.frame["row_kind"].value_counts()
    wanted = int(table["n_part_lines"]) + len(_span(table["assembly_rows"]))
    with_all = int(kinds.get("part", 0) + kinds.get("alternative", 0) + kinds.get("assembly", 0))
    without = int(kinds.get("part", 0) + kinds.get("assembly", 0))
    ok = wanted in (with_all, without)
    return ok, "" if ok else f"lines {without}+{kinds.get('alternative', 0)} for {wanted}"


def _span(text):
    rows = []
    for piece in str(text).split(","):
        if piece:
            a, _, b = piece.partition("-")
            rows += range(int(a), int(b or a) + 1)
    return rows


def _total(got, table, lines):
    wanted = [float(table[c]) for c in ("sum_extended", "sum_qty_x_unit") if table[c]]
    frame = got.frame
    booked = frame["unit_cost"] * frame["qty"]
    sums = []
    for kinds in (("part",), ("part", "alternative"), ("part", "assembly"), ("part", "alternative", "assembly")):
        chosen = frame["row_kind"].isin(kinds)
        sums += [booked[chosen].sum(), frame.loc[chosen, "extended_cost"].sum()]
        sums.append(booked[chosen & frame["unit_cost_low"].isna()].sum())  # the key leaves ranges out of its sums
    if not wanted:
        ok = bool(frame["unit_cost"].isna().all())
        return ok, "" if ok else "prices where the key has none"
    plain = lines[pd.to_numeric(lines["unit_price"], errors="coerce").notna()]
    if len(plain) and not table["extended"]:  # the key sums only cells that are plain numbers
        rows = set(
            plain.loc[pd.to_numeric(plain["qty"], errors="coerce").notna() | (plain["qty"] == ""), "row"].astype(int)
        )
        sums.append(booked[frame["source_row"].isin(rows)].sum())
    ok = any(np.isclose(s, w, rtol=1e-4, atol=CENT) for s in sums for w in wanted)
    return ok, "" if ok else f"sum {sums[0]:.2f}/{sums[1]:.2f} for {'/'.join(map(str, wanted))}"


def run(folder: Path) -> list[Outcome]:
    """Measure every file of the folder."""
    manifest = pd.read_csv(folder / "MANIFEST.csv", dtype=str, keep_default_na=False)
    tables = pd.read_csv(folder / "TABLES.csv", dtype=str, keep_default_na=False)
    lines = pd.read_csv(folder / "LINES.csv", dtype=str, keep_default_na=False)
    main = tables[tables["role"] == "main"].drop_duplicates("nn").set_index("nn")
    outcomes = []
    for _, row in manifest.iterrows():
        own = main.loc[row["nn"]] if row["nn"] in main.index else None
        of_sheet = lines[(lines["nn"] == row["nn"]) & (lines["sheet"] == ("" if own is None else own["sheet"]))]
        outcomes.append(measure(folder, row, own, of_sheet))
    return outcomes


def main() -> None:
    """Print the table."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else DEFAULT
    outcomes = run(folder)
    print(f"{'file':34} header columns lines sum warnings  s    remark")
    for o in outcomes:
        marks = "      ".join("y" if v else "-" for v in (o.header, o.columns, o.lines, o.total))
        print(f"{o.file:34} {marks} {o.warnings:8} {o.seconds:5.2f}  {o.remark}")
    boms = [o for o in outcomes if "-NEG" not in o.file]
    right = sum(o.right for o in boms)
    silent = sum(not o.right and not o.refused and not o.warnings for o in outcomes)
    others = [o for o in outcomes if "-NEG" in o.file]
    print(f"all four right: {right} of {len(boms)} bills of materials ({right / max(len(boms), 1):.0%})")
    print(f"silent errors: {silent}; others refused: {sum(o.refused for o in others)} of {len(others)}")


if __name__ == "__main__":
    main()
