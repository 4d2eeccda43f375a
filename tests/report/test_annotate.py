"""The annotated copy: our columns on the right rows, and not another byte of the client's workbook different."""

from __future__ import annotations

import io
import itertools
import re
import shutil
import struct
import subprocess
import zipfile
import zlib
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
import xlsxwriter
from made_content import made_lines
from typer.testing import CliRunner

from bomaudit.cli import app
from bomaudit.findings import Severity
from bomaudit.frames import conform
from bomaudit.glossary import BOM
from bomaudit.glossary import LINES as LINES_OUT
from bomaudit.report import annotate, files
from bomaudit.report.annotate import annotated, columns_for
from bomaudit.report.sheet_patch import patched, scan_sheet
from bomaudit.report.sheet_styles import HEAD, TEXT, with_looks
from bomaudit.tables import read_table, xml_parts

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
COLUMNS = columns_for("EUR", "en")
LINES = 9
FIRST_LINE = 7  # spreadsheet row; title, notes and two rows of heads stand above


def picture() -> io.BytesIO:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 2, 2, 8, 2, 0, 0, 0)
    pixels = zlib.compress(b"\x00" + bytes(6) + b"\x00" + bytes(6))
    return io.BytesIO(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b""))


def clients_book(path: Path) -> bytes:
    """A workbook with everything that a model of it could lose."""
    book = xlsxwriter.Workbook(str(path))
    sheet, other = book.add_worksheet("BOM"), book.add_worksheet("Notes")
    money, soft = book.add_format({"num_format": "#,##0.00 €"}), book.add_format({"bg_color": "#ffee99"})
    sheet.merge_range("A1:E1", "Bill of materials", book.add_format({"bold": True}))
    sheet.write_row(4, 0, ["", "", "Cost", "", ""])
    sheet.write_row(5, 0, ["Part", "Qty", "Unit cost", "Extended", "Note"])
    for k in range(LINES):
        row = FIRST_LINE - 1 + k
        sheet.write(row, 0, f"P-{k}")
        sheet.write(row, 1, k + 1)
        sheet.write(row, 2, 2.5 * (k + 1), money)
        sheet.write_formula(row, 3, f"=B{row + 1}*C{row + 1}", money, 2.5 * (k + 1) ** 2)
        sheet.write_blank(row, 7, None, soft)
    last = FIRST_LINE + LINES - 1
    sheet.write_formula(last + 1, 3, f"=SUM(D{FIRST_LINE}:D{last})")
    sheet.autofilter(5, 0, last - 1, 4)
    sheet.conditional_format(5, 2, last, 2, {"type": "data_bar"})
    sheet.data_validation(5, 1, last, 1, {"validate": "integer", "criteria": ">", "value": 0})
    sheet.write_comment("C7", "asked by phone")
    sheet.set_row(8, None, None, {"hidden": True})
    sheet.set_column(1, 1, 14)
    sheet.set_column(5, 16_383, None, None, {"hidden": True})
    sheet.insert_image("A30", "logo.png", {"image_data": picture()})
    chart = book.add_chart({"type": "column"})
    chart.add_series({"values": f"=BOM!$D${FIRST_LINE}:$D${last}"})
    sheet.insert_chart("A34", chart)
    book.define_name("total_cost", f"=BOM!$D${last + 2}")
    other.add_table(0, 0, 2, 1, {"data": [["a", 1], ["b", 2]]})
    other.write_rich_string(5, 0, "rich ", book.add_format({"bold": True}), "text")
    book.close()
    return path.read_bytes()


def lines_of(sheet: str = "BOM", file: str = "bom.xlsx") -> pd.DataFrame:
    lines = made_lines(LINES).assign(source_file=file, source_sheet=sheet)
    return lines.assign(source_row=[FIRST_LINE + float(k) for k in range(LINES)])


def rows_of(*headers: int, sheet: str = "BOM", file: str = "bom.xlsx") -> pd.DataFrame:
    return pd.DataFrame({"file": file, "sheet": sheet, "row": list(headers), "kind": "header", "text": ""})


def parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {n: archive.read(n) for n in archive.namelist()}


def without_results(data: bytes, path: Path) -> None:
    """Write a workbook whose formulas have no stored results, so that they must be computed."""
    with zipfile.ZipFile(path, "w") as archive:
        for name, body in parts(data).items():
            archive.writestr(name, re.sub(rb"(</f>)<v>[^<]*</v>", rb"\1", body))


@pytest.fixture(scope="module")
def before(tmp_path_factory) -> bytes:
    return clients_book(tmp_path_factory.mktemp("theirs") / "bom.xlsx")


@pytest.fixture(scope="module")
def copy(before):
    return annotated("bom.xlsx", before, lines_of(), rows_of(5, 6), columns=COLUMNS, turned=set())


def test_every_other_part_of_the_package_is_the_same_to_the_byte(before, copy):
    old, new = parts(before), parts(copy.data)
    assert list(old) == list(new)
    assert {n for n in old if old[n] != new[n]} == {"xl/worksheets/sheet1.xml", "xl/styles.xml"}


def test_what_stood_in_the_sheet_stands_there_still(before, copy):
    """The client's cells and everything around them, byte for byte."""
    old, new = (parts(d)["xl/worksheets/sheet1.xml"] for d in (before, copy.data))
    for name in (b"mergeCells", b"conditionalFormatting", b"dataValidations", b"autoFilter", b"drawing", b"sheetViews"):
        found = re.findall(rb"<%s\b.*?(?:</%s>|/>)" % (name, name), old, flags=re.DOTALL)
        assert found == re.findall(rb"<%s\b.*?(?:</%s>|/>)" % (name, name), new, flags=re.DOTALL)
        assert found, name
    cells = re.findall(rb'<c r="[A-E]\d+".*?(?:</c>|/>)', old)
    assert cells == re.findall(rb'<c r="[A-E]\d+".*?(?:</c>|/>)', new)
    assert len(cells) > 4 * LINES
    assert list(xml_parts.elements(new))


def test_styles_only_grow_at_their_ends(before, copy):
    old, new = (parts(d)["xl/styles.xml"] for d in (before, copy.data))
    for name in (b"fonts", b"fills", b"cellXfs", b"numFmts"):
        inside = re.compile(rb"<%s[^>]*>(.*?)</%s>" % (name, name), re.DOTALL)
        was, now = (inside.search(x).group(1) for x in (old, new))
        assert now.startswith(was)
        counted = int(re.search(rb"<%s[^>]*count=\"(\d+)\"" % name, new).group(1))
        entry = {b"fonts": b"<font>", b"fills": b"<fill>", b"cellXfs": b"<xf ", b"numFmts": b"<numFmt "}[name]
        assert counted == now.count(entry)


def test_figures_stand_on_the_rows_of_their_lines(copy):
    sheet, lines = openpyxl.load_workbook(io.BytesIO(copy.data))["BOM"], lines_of()
    heads = [c.value for c in sheet[6]]
    first = heads.index("line of the audit")
    assert heads[first:] == [c.head for c in COLUMNS]
    assert all(c.value is None for c in sheet[5][first:])
    for _, line in lines.iterrows():
        cells = sheet[int(line["source_row"])]
        for i, column in enumerate(COLUMNS):
            shown, wanted = cells[first + i].value, line[column.name]
            if isinstance(wanted, pd.Timestamp):
                assert shown == wanted.to_pydatetime()
            else:
                assert shown == (None if wanted == "" or pd.isna(wanted) else wanted), column.name
        assert cells[0].value == f"P-{int(line['source_row']) - FIRST_LINE}"


def test_a_credit_keeps_its_sign_in_every_spreadsheet():
    """Of a format with a part for all else, some of them show -5.25 as 5.25."""
    prices = [c.look.code for c in COLUMNS if c.name in ("booked_cost", "estimate", "estimate_low", "estimate_high")]
    assert prices == ["#,##0.00##;-#,##0.00##;0.00"] * 4


def test_no_date_is_made_up_for_a_line_that_has_none(before):
    lines = lines_of().assign(basis_date=pd.Timestamp(2020, 12, 29), basis="undated")
    lines.loc[1, "basis"] = "cost_date"
    made = annotated("bom.xlsx", before, lines, rows_of(6), columns=COLUMNS, turned=set())
    sheet = openpyxl.load_workbook(io.BytesIO(made.data))["BOM"]
    place = [c.value for c in sheet[6]].index("booked cost is of")
    shown = [sheet[int(row)][place].value for row in lines["source_row"]]
    assert shown == [None, pd.Timestamp(2020, 12, 29).to_pydatetime(), *[None] * (LINES - 2)]


def test_our_columns_show_where_the_client_hid_all_columns_to_the_right(copy):
    xml = parts(copy.data)["xl/worksheets/sheet1.xml"].decode()
    groups = [dict(re.findall(r'(\w+)="([^"]*)"', t)) for t in re.findall(r"<col [^>]*>", xml)]
    spans = [(int(g["min"]), int(g["max"])) for g in groups]
    assert all(a[1] < b[0] for a, b in itertools.pairwise(spans))
    hidden = {s for g, s in zip(groups, spans, strict=True) if g.get("hidden") == "1"}
    assert hidden == {(6 + len(COLUMNS), 16_384)}


def test_cells_of_a_row_run_from_left_to_right(copy):
    xml = parts(copy.data)["xl/worksheets/sheet1.xml"].decode()
    for row in re.findall(r"<row .*?</row>", xml, flags=re.DOTALL):
        places = [openpyxl.utils.column_index_from_string(c) for c in re.findall(r'<c r="([A-Z]+)', row)]
        assert places == sorted(set(places))


def test_a_filter_is_said_to_leave_our_columns_out(copy):
    assert [f.code for f in copy.findings] == ["W005"]


def test_the_same_copy_twice(before, copy):
    again = annotated("bom.xlsx", before, lines_of(), rows_of(5, 6), columns=COLUMNS, turned=set())
    assert again.data == copy.data


@pytest.mark.parametrize("text", ["=1+1", "+49 30", "-5", "@SUM(1)", "a & b < c", "_x0041_", "line\x0bbreak"])
def test_text_is_never_a_live_formula(before, text):
    lines = lines_of()
    lines.loc[0, "reason"] = text
    made = annotated("bom.xlsx", before, lines, rows_of(6), columns=COLUMNS, turned=set())
    sheet = openpyxl.load_workbook(io.BytesIO(made.data))["BOM"]
    cell = sheet.cell(FIRST_LINE, 5 + len(COLUMNS))
    assert cell.data_type == "s"
    assert cell.quotePrefix
    assert cell.value.replace("_x005F_", "_") == text.replace("\x0b", "")


def test_tables_and_pictures_beside_the_lines_are_not_covered(tmp_path):
    path = tmp_path / "bom.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("BOM")
    sheet.add_table(5, 0, FIRST_LINE + LINES - 2, 3, {"data": [[f"P-{k}", 1, 2, 3] for k in range(LINES)]})
    sheet.insert_image("F7", "logo.png", {"image_data": picture()})
    sheet.merge_range("H3:L3", "far from the lines")
    book.close()
    data = path.read_bytes()
    made = annotated("bom.xlsx", data, lines_of(), rows_of(6), columns=COLUMNS, turned=set())
    old, new = parts(data), parts(made.data)
    assert {n for n in old if old[n] != new[n]} == {"xl/worksheets/sheet1.xml", "xl/styles.xml"}
    sheet = openpyxl.load_workbook(io.BytesIO(made.data))["BOM"]
    assert [c.value for c in sheet[6]].index("line of the audit") == 6  # the picture lies on column F
    assert sheet.tables["Table1"].ref == "A6:D15"
    assert "W005" in {f.code for f in made.findings}


def test_several_sheets_and_no_heads_at_all(tmp_path):
    book = openpyxl.Workbook()
    one, two = book.active, book.create_sheet("Second")
    one.title = "BOM"
    for k in range(LINES):
        one.cell(FIRST_LINE + k, 1, f"P-{k}")
        two.cell(k + 1, 1, f"Q-{k}")
    book.save(tmp_path / "bom.xlsx")
    second = lines_of("Second").assign(source_row=[k + 1.0 for k in range(LINES)])
    data = (tmp_path / "bom.xlsx").read_bytes()
    both = pd.concat([lines_of(), second], ignore_index=True)
    made = annotated("bom.xlsx", data, both, rows_of(), columns=COLUMNS, turned=set())
    book = openpyxl.load_workbook(io.BytesIO(made.data))
    assert book["BOM"]["B6"].value == "line of the audit"
    assert [book["BOM"].cell(FIRST_LINE + k, 2).value for k in range(LINES)] == lines_of()["line_id"].tolist()
    assert book["Second"]["B1"].value == "L0001"
    assert [f.code for f in made.findings] == ["W004"]


def test_tables_beside_each_other_get_a_block_of_columns_each(before):
    lines = lines_of()
    both = pd.concat([lines, lines.assign(line_id=lines["line_id"] + "b")], ignore_index=True)
    made = annotated("bom.xlsx", before, both, rows_of(6), columns=COLUMNS, turned=set())
    sheet = openpyxl.load_workbook(io.BytesIO(made.data))["BOM"]
    assert sheet.cell(FIRST_LINE, 6).value == "L0001"
    assert sheet.cell(FIRST_LINE, 6 + len(COLUMNS)).value == "L0001b"


@pytest.mark.parametrize("kind", ["text", "ods"])
def test_a_bom_that_is_no_xlsx_gets_one_clear_finding(kind):
    data = b"part,cost\na,1\n"
    if kind == "ods":
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("content.xml", "<x/>")
        data = out.getvalue()
    made = annotated("bom.csv", data, lines_of(file="bom.csv"), rows_of(), columns=COLUMNS, turned=set())
    assert not made.data
    (told,) = made.findings
    assert (told.code, told.severity) == ("W001", Severity.WARNING)
    assert kind in told.found


def test_lines_that_run_across_are_left_alone(before):
    made = annotated("bom.xlsx", before, lines_of(), rows_of(6), columns=COLUMNS, turned={"BOM"})
    assert not made.data
    assert [f.code for f in made.findings] == ["W002"]


def test_a_document_type_is_refused_and_said(before):
    bad = io.BytesIO()
    with zipfile.ZipFile(bad, "w") as archive:
        for name, body in parts(before).items():
            entity = b'<!DOCTYPE worksheet [<!ENTITY a "b">]><worksheet'
            archive.writestr(name, body.replace(b"<worksheet", entity, 1) if name.endswith("sheet1.xml") else body)
    made = annotated("bom.xlsx", bad.getvalue(), lines_of(), rows_of(6), columns=COLUMNS, turned=set())
    assert [f.code for f in made.findings] == ["W002"]


def test_rows_and_cells_without_references_and_names_with_prefixes():
    xml = (
        b'<?xml version="1.0" encoding="UTF-8"?><x:worksheet xmlns:x="n"><x:dimension ref="A1:B2"/><x:sheetData>'
        b'<x:row><x:c><x:v>1</x:v></x:c><x:c s="3"/></x:row><x:row spans="1:2" s="1"/></x:sheetData></x:worksheet>'
    )
    scan = scan_sheet(xml)
    assert {n: r.used for n, r in scan.rows.items()} == {1: 0, 2: -1}
    new = patched(xml, scan, {1: {1: b"[B1]", 2: b"[C1]"}, 2: {1: b"[B2]"}, 4: {1: b"[B4]"}}, {1: 9, 2: 9})
    assert b'<x:row><x:c><x:v>1</x:v></x:c>[B1][C1]</x:row><x:row spans="1:2" s="1">[B2]</x:row>' in new
    assert b'<x:row r="4">[B4]</x:row></x:sheetData>' in new
    assert b'<x:cols><x:col min="2" max="2" width="9" customWidth="1"/>' in new
    assert b'ref="A1:C2"' in new


def test_a_style_sheet_without_its_lists_is_left_alone():
    xml = b'<styleSheet xmlns="n"><fonts count="1"><font/></fonts></styleSheet>'
    assert with_looks(xml, [HEAD, TEXT]) == (xml, {})


@pytest.mark.skipif(OFFICE is None, reason="needs LibreOffice to compute the sheet again")
@pytest.mark.filterwarnings(
    "ignore:.*extension is not supported"
)  # of the office suite's own file, which openpyxl then drops
def test_their_formulas_compute_to_the_same_in_the_copy(before, copy, tmp_path):
    found = []
    for name, data in (("before", before), ("after", copy.data)):
        without_results(data, tmp_path / f"{name}.xlsx")
        run = [OFFICE, f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to",
               "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path / "out"),
               str(tmp_path / f"{name}.xlsx")]  # fmt: skip
        subprocess.run(run, check=True, capture_output=True, timeout=120)
        computed = io.BytesIO((tmp_path / "out" / f"{name}.xlsx").read_bytes())
        sheet = openpyxl.load_workbook(computed, data_only=True)["BOM"]
        found.append([[sheet.cell(r, c).value for c in range(1, 6)] for r in range(1, FIRST_LINE + LINES + 2)])
        estimate = sheet.cell(FIRST_LINE, 9).value
    assert found[0] == found[1]
    assert found[0][FIRST_LINE + LINES][3] == pytest.approx(2.5 * sum(k * k for k in range(1, LINES + 1)))
    assert estimate == pytest.approx(lines_of()["estimate"].iloc[0])


def test_the_sample_is_annotated_line_by_line(audit):
    made = annotate.copy_of(audit)
    assert made.name == "annotated_bom.xlsx"
    sheet = openpyxl.load_workbook(io.BytesIO(made.data))["BOM"]
    heads = [c.value for c in sheet[5]]
    named = ("Part no.", "line of the audit", "today, EUR each", "market")
    part, line, estimate, market = (heads.index(h) for h in named)
    for r in audit.lines.to_dict("records"):
        cells = sheet[int(r["source_row"])]
        assert (str(cells[part].value), cells[line].value) == (r["part_no"], r["line_id"])
        assert cells[estimate].value == (None if pd.isna(r["estimate"]) else r["estimate"])
        assert (cells[market].value or "") == r["commodity"].replace("_", " "), "a market is named in words"


def test_all_or_nothing_with_the_other_files(audit, tmp_path, monkeypatch):
    made = annotate.copy_of(audit)
    written = files.write(audit, tmp_path / "out", copy=made)
    assert [p.name for p in written] == [*files.NAMES, made.name]
    assert (tmp_path / "out" / made.name).read_bytes() == made.data

    def fails(*_args: object) -> None:
        raise OSError("full")

    monkeypatch.setattr(Path, "write_bytes", fails)
    with pytest.raises(OSError, match="full"):
        files.write(audit, tmp_path / "none", copy=made)
    assert not (tmp_path / "none").exists()


def test_a_redacted_copy_of_their_own_file_is_refused(tmp_path):
    run = CliRunner().invoke(app, ["audit", str(tmp_path), "--out", str(tmp_path / "o"), "--annotate", "--redact"])
    assert run.exit_code == 2
    assert "--redact" in run.output


SHARED = Path(__file__).parents[3] / "shared" / "real_boms" / "files"
PUBLISHED = sorted(SHARED.glob("*.xlsx"))


@pytest.mark.skipif(not PUBLISHED, reason="no published workbooks beside the repository")
@pytest.mark.filterwarnings("ignore::UserWarning")  # of openpyxl, about what it does not know in these files
@pytest.mark.parametrize("path", PUBLISHED, ids=lambda p: p.stem)
def test_workbooks_that_people_published_take_our_columns(path):
    read = read_table(path, BOM)
    places = read.frame[["source_file", "source_sheet", "source_row"]].reset_index(drop=True)
    places["source_row"] = places["source_row"].astype(float)
    ids = [f"L{k:04d}" for k in range(len(places))]
    made_up = {"line_id": ids, "status": "stale", "reason": "=1", "estimate": np.arange(len(ids)) + 0.5}
    lines = conform(places.assign(**made_up), LINES_OUT)
    data = path.read_bytes()
    made = annotated(path.name, data, lines, read.rows, columns=COLUMNS, turned=set())
    old, new = parts(data), parts(made.data)
    changed = {n for n in old if old[n] != new[n]}
    assert all(n == "xl/styles.xml" or n.startswith("xl/worksheets/") for n in changed)
    book = openpyxl.load_workbook(io.BytesIO(made.data))
    for line in lines.to_dict("records"):
        values = [c.value for c in book[line["source_sheet"]][int(line["source_row"])]]
        assert {line["line_id"], line["estimate"], "=1"} <= set(values)
