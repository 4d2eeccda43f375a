"""Small csv files that people edit and hand back: read them however their spreadsheet saved them."""

from __future__ import annotations

from dataclasses import dataclass

from bomaudit.safe_text import unguard
from bomaudit.tables.text_files import find_delimiter, split_records


@dataclass(frozen=True)
class EditedRows:
    """Rows of an edited file.

    Attributes
    ----------
    header : tuple of str
        Column names, in lower case.
    rows : tuple of (int, dict)
        1-based row of the file and its cells by column name; blank rows are left out.
    decimal_comma : bool
        Amounts may have a decimal comma: the fields are not separated by commas.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    decimal_comma: bool


def read_edited(data: bytes) -> EditedRows:
    """Split a file that the program wrote and a spreadsheet may have saved again.

    Parameters
    ----------
    data : bytes
        UTF-8, or else Windows-1252, which spreadsheets of Western Europe save as "csv"; separated by comma, semicolon
        or tab. Apostrophes that keep a spreadsheet from taking a cell for a formula are dropped.

    Returns
    -------
    EditedRows
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    delimiter = find_delimiter(text)
    records = [[cell.strip() for cell in record] for record in split_records(text, delimiter)]
    filled = [(number, record) for number, record in enumerate(records, start=1) if any(record)]
    if not filled:
        return EditedRows((), (), delimiter != ",")
    header = tuple(name.lower() for name in filled[0][1])
    rows = tuple(
        (number, {name: unguard(cell) for name, cell in zip(header, record, strict=False)})
        for number, record in filled[1:]
    )
    return EditedRows(header, rows, delimiter != ",")
