"""One sheet of the workbook from a frame: typed cells, live formulas with their results, formats, print set-up."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, Literal

import pandas as pd
from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from bomaudit.report import look
from bomaudit.report.look import Tone

Role = Literal["entered", "given", "worked_out"]
"""entered: change it freely, formulas follow · given: from the audit, does not follow · worked_out: a formula."""

Address = Callable[[str], str]
"""Name of a column → its cell in the same row."""

HEAD_ROW = 3
"""0-based row of the heads; title, explanation and a blank row stand above."""
LONGEST = 32_000
"""Characters of a cell; a spreadsheet holds 32,767."""
_ENTERED_GROUND = "#fdf6d8"
_PLACES = {"price": "#,##0.00##", "money": "#,##0", "number": "#,##0.##", "share": "0.0%", "year": "0.0",
           "count": "#,##0", "text": "@", "signed": "+#,##0;-#,##0;0", "signed_price": "+#,##0.00##;-#,##0.00##;0.00",
           "signed_share": "+0.0%;-0.0%;0.0%", "log": "0.0000", "weight": "0.0000####",
           "chance": '[<0.01]"<1%";[>0.99]">99%";0.0%'}  # fmt: skip
_SMALL = "AND({0}<>0,ABS({0})<0.001)"
_ELSEWISE = {"number": ("{0}=INT({0})", "#,##0"), "price": (_SMALL, "0.00######"),
             "signed_price": (_SMALL, "+0.00######;-0.00######")}  # fmt: skip
"""Values that a column's number format would not show as what they are: a 4 as "4.", a price of 0.000012 as 0.00."""
_ROW = "\0"
"""Stands for the number of the row in a formula, until it is written there."""
DAYS = {"en": "yyyy-mm-dd", "de": "dd.mm.yyyy", "fr": "dd/mm/yyyy"}


@dataclass(frozen=True)
class Col:
    """A column of a sheet.

    Attributes
    ----------
    name : str
        Column of the frame, and head of the sheet.
    style : str
        Number format: price, money, number, share, year, count, text, day, signed, signed_price, signed_share, log,
        weight, chance (never as certain or impossible).
    role : Role
    note : str
        Explains the column; shown as the comment of its head.
    width : int
        In characters.
    formula : callable, optional
        From a function that gives the address of another column in the same row to the formula.
    live : str
        Column of the frame that says for each row whether the formula gives the audit's figure; "" where it always
        does. Elsewhere the figure stands as a value.
    """

    name: str
    style: str = "text"
    role: Role = "given"
    note: str = ""
    width: int = 12
    formula: Callable[[Address], str] | None = None
    live: str = ""


class Styles:
    """Formats of a workbook, each made once."""

    def __init__(self, book: Workbook, day: str) -> None:
        self._book, self._day = book, day
        self.get = cache(self._get)
        self.state = cache(self._state)
        self.ink = cache(lambda tone: book.add_format({"font_color": tone.light}))
        self.title = book.add_format({"bold": True, "font_size": 15, "font_color": look.INK})
        self.quiet = book.add_format({"font_color": "#555c66", "text_wrap": True, "valign": "top"})
        self.head = book.add_format(
            {
                "bold": True,
                "text_wrap": True,
                "valign": "bottom",
                "bottom": 1,
                "bg_color": "#f2f0ea",
                "font_color": look.INK,
            }
        )
        self.strong = book.add_format({"bold": True, "font_color": look.INK})
        self.wrap = book.add_format({"text_wrap": True, "valign": "top"})
        self.places = cache(lambda places: book.add_format({"num_format": places}))

    def _get(self, style: str, role: Role) -> Format:
        shape: dict[str, Any] = {"num_format": self._day if style == "day" else _PLACES[style], "valign": "top"}
        if role == "entered":
            shape |= {"bg_color": _ENTERED_GROUND, "font_color": "#24508f"}
        return self._book.add_format(shape)

    def _state(self, tone: Tone) -> Format:
        return self._book.add_format({"bg_color": tone.soft, "font_color": tone.light, "bold": True})


def number_or_blank(sheet: Worksheet, row: int, col: int, value: Any, style: Format) -> None:
    """Write a cell by the type of its value; text is never taken for a formula or a link, missing stays empty."""
    if isinstance(value, float) and math.isfinite(value):
        sheet.write_number(row, col, value, style)
    elif value is None or value is pd.NA or value is pd.NaT or value == "" or isinstance(value, float):
        sheet.write_blank(row, col, None, style)
    elif isinstance(value, bool):
        sheet.write_string(row, col, "yes" if value else "no", style)
    elif isinstance(value, int):
        sheet.write_number(row, col, value, style)
    elif isinstance(value, pd.Timestamp | date):
        sheet.write_datetime(row, col, value, style)
    else:
        sheet.write_string(row, col, fit(str(value)), style)


def fit(text: str) -> str:
    """Cut a text that no cell can hold, and say so in it."""
    return text if len(text) <= LONGEST else text[:LONGEST] + f" [cut here: {len(text)} characters]"


def write_sheet(
    book: Workbook, styles: Styles, name: str, frame: pd.DataFrame, columns: Sequence[Col], *, title: str, says: str,
    printed_to: str = "",
) -> Worksheet:  # fmt: skip
    """Write a frame as a sheet.

    Parameters
    ----------
    book : Workbook
    styles : Styles
    name : str
        Of the sheet.
    frame : DataFrame
        Rows in order; a formula column holds the results that are shown until the book is recalculated.
    columns : sequence of Col
    title, says : str
        Title and one sentence above the heads.
    printed_to : str
        Last column of the print area; the columns after it form a group that folds away. Default: all are printed.

    Returns
    -------
    Worksheet
    """
    sheet = book.add_worksheet(name)
    sheet.write_string(0, 0, title, styles.title)
    sheet.write_string(1, 0, says)
    sheet.set_row(HEAD_ROW, 30)
    place = {c.name: i for i, c in enumerate(columns)}
    for i, column in enumerate(columns):
        folds = {"level": 1} if printed_to and i > place[printed_to] else {}
        sheet.set_column(i, i, column.width, None, folds)
        sheet.write_string(HEAD_ROW, i, column.name.replace("_", " "), styles.head)
        if column.note:
            sheet.write_comment(HEAD_ROW, i, column.note, {"x_scale": 1.6, "author": "bomaudit"})
        _write_column(sheet, styles, frame, column, place=place)
    last = HEAD_ROW + max(len(frame), 1)
    for i in (i for i, column in enumerate(columns) if column.style in _ELSEWISE):
        which, places = _ELSEWISE[columns[i].style]
        criteria = "=" + which.format(f"{xl_col_to_name(i)}{HEAD_ROW + 2}")
        rule = {"type": "formula", "criteria": criteria, "format": styles.places(places)}
        sheet.conditional_format(HEAD_ROW + 1, i, last, i, rule)
    sheet.freeze_panes(HEAD_ROW + 1, 2)
    sheet.autofilter(HEAD_ROW, 0, last, len(columns) - 1)
    printed(sheet, title, last, place.get(printed_to, len(columns) - 1))
    sheet.repeat_rows(HEAD_ROW)
    return sheet


def _write_column(sheet: Worksheet, styles: Styles, frame: pd.DataFrame, column: Col, *, place: dict[str, int]) -> None:
    i = place[column.name]
    live = frame[column.live].tolist() if column.live else [column.formula is not None] * len(frame)
    worked_out, plain = styles.get(column.style, "worked_out"), styles.get(column.style, column.role)
    formula = column.formula and column.formula(lambda name: f"${xl_col_to_name(place[name])}{_ROW}")
    for row, (value, lives) in enumerate(zip(frame[column.name].tolist(), live, strict=True), HEAD_ROW + 1):
        style = worked_out if lives else plain
        if formula is None or not lives or _missing(value):
            number_or_blank(sheet, row, i, value, style)
        else:
            sheet.write_formula(row, i, formula.replace(_ROW, str(row + 1)), style, value)


def _missing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and not math.isfinite(value))


def printed(sheet: Worksheet, title: str, last_row: int, last_col: int) -> None:
    """Set a sheet up for printing: landscape, as wide as the page, heads and page numbers."""
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.print_area(0, 0, last_row, last_col)
    sheet.set_footer(f"&L{title.replace('&', '&&')}&CAn estimate is not a quote&R&P / &N")
    sheet.set_margins(0.4, 0.4, 0.5, 0.6)


def mark_states(
    sheet: Worksheet, styles: Styles, columns: Sequence[Col], name: str, *, rows: int, tones: dict[str, Tone]
) -> None:
    """Colour the cells of a column by the word in them."""
    i = next(k for k, c in enumerate(columns) if c.name == name)
    for state, tone in tones.items():
        rule = {"type": "cell", "criteria": "==", "value": f'"{state}"', "format": styles.state(tone)}
        sheet.conditional_format(HEAD_ROW + 1, i, HEAD_ROW + max(rows, 1), i, rule)


def column_range(sheet: str, columns: Sequence[Col], name: str, rows: int) -> str:
    """Absolute address of a column's cells, for names and formulas."""
    letter = xl_col_to_name(next(k for k, c in enumerate(columns) if c.name == name))
    return f"'{sheet}'!${letter}${HEAD_ROW + 2}:${letter}${HEAD_ROW + 1 + max(rows, 1)}"
