"""Spreadsheets written for a test: rows in, a file out, read back as a bill of materials."""

from collections.abc import Callable

import openpyxl
import pytest

from bomaudit.glossary import BOM
from bomaudit.tables import read_table


@pytest.fixture
def workbook(tmp_path) -> Callable:
    """Write sheets given as rows; ``dress`` may change the openpyxl workbook before it is saved."""

    def write(sheets, *, dress=None, name="bom.xlsx"):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for title, rows in sheets.items():
            page = book.create_sheet(title)
            for r, row in enumerate(rows, 1):
                for c, value in enumerate(row, 1):
                    if value not in (None, ""):
                        page.cell(r, c, value)
        if dress is not None:
            dress(book)
        book.save(tmp_path / name)
        return tmp_path / name

    return write


@pytest.fixture
def read_rows(workbook) -> Callable:
    """Write rows as a sheet and read them as a bill of materials."""

    def read(rows, *, dress=None, **how):
        sheets = rows if isinstance(rows, dict) else {"BOM": rows}
        return read_table(workbook(sheets, dress=dress), BOM, **how)

    return read


@pytest.fixture
def read_text(tmp_path) -> Callable:
    """Write bytes or text as a file and read it as a bill of materials."""

    def read(content, name="bom.csv", **how):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_table(path, BOM, **how)

    return read


def codes(got) -> set[str]:
    """Codes of all findings of a reading."""
    return {f.code for f in got.findings}


def columns(got) -> dict[str, str]:
    """Canonical name → column letter."""
    return dict(zip(got.mapping["canonical"], got.mapping["column"], strict=True))


def kinds(got) -> dict[int, str]:
    """Row → kind, blank rows left out."""
    rows = got.rows[got.rows["kind"] != "blank"]
    return dict(zip(rows["row"], rows["kind"], strict=True))
