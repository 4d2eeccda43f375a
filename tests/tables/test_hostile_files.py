"""Files that are broken, hostile or absurdly large: a clear error or finding, in little time and memory."""

import io
import re
import struct
import zipfile
import zlib

import numpy as np
import openpyxl
import pytest

from bomaudit.findings import BadInput
from bomaudit.glossary import BOM
from bomaudit.tables import files, read_table, xml_parts

ROWS = [["Item", "Qty", "Unit price"], ["Plate", 2, 3.5], ["Motor", 1, 41.0], ["Nut", 8, 0.25]]


def packed(rows=ROWS):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def changed(data, change):
    """The workbook with its parts passed through ``change(name, content)``."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
    return out.getvalue()


def code_of(tmp_path, content, name="bom.xlsx"):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(BadInput) as refused:
        read_table(tmp_path / name, BOM)
    (finding,) = refused.value.findings
    assert finding.file == name
    return finding.code


@pytest.mark.parametrize("content", [b"", b"   \n\n", b"\x00\x00\x00"])
def test_empty_file(tmp_path, content):
    assert code_of(tmp_path, content, "bom.csv") == "T002"


def test_encrypted_workbook(tmp_path):
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600 + "EncryptedPackage".encode("utf-16-le")
    assert code_of(tmp_path, head + b"\x00" * 400) == "T003"


def test_truncated_zip(tmp_path):
    data = packed()
    assert code_of(tmp_path, data[: len(data) // 2]) == "T004"


def test_damaged_old_workbook(tmp_path):
    assert code_of(tmp_path, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x07" * 2000, "bom.xls") == "T004"


@pytest.mark.parametrize("content", [b"%PDF-1.7 ...", b"<html><table><tr><td>Qty</td></tr></table></html>"])
def test_other_documents(tmp_path, content):
    assert code_of(tmp_path, content) == "T007"


def test_zip_without_a_workbook(tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "hello")
    assert code_of(tmp_path, out.getvalue()) == "T007"


def test_zip_bomb_is_refused_by_what_it_declares(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "MAX_UNPACKED", 4 << 20)
    bomb = changed(packed(), lambda n, c: c + b" " * (6 << 20) if n.endswith("sheet1.xml") else c)
    assert code_of(tmp_path, bomb) == "T005"


def test_zip_bomb_that_declares_little_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "MAX_UNPACKED", 1 << 20)
    data = bytearray(changed(packed(), lambda n, c: c + b" " * (6 << 20) if n.endswith("sheet1.xml") else c))
    for match in re.finditer(b"PK\x01\x02", bytes(data)):  # the central directory's size of each large part
        at = match.start() + 24
        if struct.unpack_from("<I", data, at)[0] > 1 << 20:
            struct.pack_into("<I", data, at, 1000)
    assert code_of(tmp_path, bytes(data)) == "T005"


def test_one_stray_cell_at_the_far_corner(tmp_path):
    def stray(name, content):
        cell = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
        return content.replace(b"</sheetData>", cell) if name.endswith("sheet1.xml") else content

    assert code_of(tmp_path, changed(packed(), stray)) == "T006"


def test_a_million_rows_that_are_only_formatted_are_no_trouble(tmp_path):
    def formatted(name, content):
        rows = b"".join(b'<row r="%d"><c r="A%d" s="0"/></row>' % (r, r) for r in range(5, 1_048_577, 8))
        return content.replace(b"</sheetData>", rows + b"</sheetData>") if name.endswith("sheet1.xml") else content

    (tmp_path / "bom.xlsx").write_bytes(changed(packed(), formatted))
    assert len(read_table(tmp_path / "bom.xlsx", BOM).frame) == 3


def test_sixteen_thousand_columns(tmp_path):
    wide = [r + [""] * 16_380 + ["x"] for r in ROWS]
    (tmp_path / "bom.csv").write_text("\n".join(",".join(map(str, r)) for r in wide))
    assert len(read_table(tmp_path / "bom.csv", BOM).frame) == 3


def test_entity_expansion_is_not_expanded(tmp_path):
    bomb = b'<!DOCTYPE x [<!ENTITY a "' + b"a" * 1000 + b'"><!ENTITY b "' + b"&a;" * 1000 + b'">]>'

    def expand(name, content):
        if not name.endswith("styles.xml"):
            return content
        return re.sub(rb"^(<\?xml[^>]*\?>)?", lambda m: m.group(0) + bomb, content, count=1)

    (tmp_path / "bom.xlsx").write_bytes(changed(packed(), expand))
    try:
        got = read_table(tmp_path / "bom.xlsx", BOM)
    except BadInput as refused:
        assert refused.findings[0].code == "T004"  # noqa: PT017
    else:
        assert len(got.frame) == 3


@pytest.mark.parametrize("declared", [b"<!DOCTYPE x>", b'<!DOCTYPE x [<!ENTITY a "aaaa">]>'])
def test_xml_that_declares_a_document_type_is_not_parsed(declared):
    with pytest.raises(xml_parts.ForbiddenXmlError):
        list(xml_parts.elements(declared + b"<x/>"))


def test_macros_are_not_run_and_links_not_followed(tmp_path):
    out = io.BytesIO(packed())
    with zipfile.ZipFile(out, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\x00" * 64)
        archive.writestr("xl/externalLinks/externalLink1.xml", b"<externalLink/>")
    (tmp_path / "bom.xlsm").write_bytes(out.getvalue())
    got = read_table(tmp_path / "bom.xlsm", BOM)
    assert {"T009", "T010"} <= {f.code for f in got.findings}


def test_repeated_cells_of_an_ods_file(tmp_path):
    content = (
        b'<office:document-content xmlns:office="o" xmlns:table="t" xmlns:text="x"><office:body><office:spreadsheet>'
        b'<table:table table:name="S"><table:table-row table:number-rows-repeated="1048576"><table:table-cell '
        b'table:number-columns-repeated="16384" office:value-type="float" office:value="1"><text:p>1</text:p>'
        b"</table:table-cell></table:table-row></table:table></office:spreadsheet></office:body>"
        b"</office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
    assert code_of(tmp_path, out.getvalue(), "bom.ods") == "T006"


def test_two_equally_good_headers_are_said(tmp_path):
    rows = ["Item,Qty,Price", "Part,Amount,Unit cost", "Plate,2,3.5", "Motor,1,41.0", "Nut,8,0.25"]
    (tmp_path / "bom.csv").write_text("\n".join(rows))
    assert "T065" in {f.code for f in read_table(tmp_path / "bom.csv", BOM).findings}


def test_all_prices_missing(tmp_path):
    (tmp_path / "bom.csv").write_text("Item,Qty,Price\nPlate,2,\nMotor,1,\n")
    got = read_table(tmp_path / "bom.csv", BOM)
    assert np.isnan(got.frame["unit_cost"]).all()
    assert "T047" in {f.code for f in got.findings}


@pytest.mark.parametrize("seed", range(12))
def test_random_bytes_never_end_in_a_traceback(tmp_path, seed):
    noise = np.random.default_rng(seed).bytes(3000)
    for name, content in (("a.csv", noise), ("a.xlsx", b"PK\x03\x04" + noise), ("a.txt", zlib.compress(noise))):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(BadInput):
            read_table(tmp_path / name, BOM)
