"""Requests for quote: a sheet for each supplier, whose answers are read back as the table of quotes."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bomaudit.decide import quantities_in_decisions, quote_requests
from bomaudit.glossary import QUOTE_KINDS
from bomaudit.report.files import write_all, write_csv

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

    from bomaudit.audit import Audit

_BREAKS = ("break_1", "break_2", "break_3")
_ASKED = ("part_no", "description", "uom", "annual_qty", "min_qty")
_LAST = ("last_price", "last_price_currency", "last_price_date")
_ANSWERS = ("unit_price", "currency", "quote_date", "valid_until", "one_time_cost", "kind")
"""Columns that the supplier fills in; currency and kind are filled in as expected."""
_KEPT = ("supplier", "commodity")
_SAYS = (
    "Please fill in the coloured columns, one row for each price break, and send the file back; leave a row empty "
    "where you do not quote."
)
_NOBODY = "no_supplier_named"
_LONGEST_NAME = 60
_HEAD_ROW = 3
_WIDTHS = {"description": 44, "part_no": 18, "supplier": 24, "commodity": 20}
_FORMATS = {"annual_qty": "#,##0", "min_qty": "#,##0", "unit_price": "#,##0.00##", "last_price": "#,##0.00##",
            "one_time_cost": "#,##0.00", "quote_date": "yyyy-mm-dd", "valid_until": "yyyy-mm-dd",
            "last_price_date": "yyyy-mm-dd"}  # fmt: skip


def request_rows(audit: Audit) -> pd.DataFrame:
    """One row a part and price break to quote, suppliers together, most worth knowing first.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    DataFrame
        part_no, description, uom, annual_qty [uom/year], min_qty (price break wanted, [uom]); where
        ``decide.show_last_price`` is set last_price, last_price_currency, last_price_date; then columns of glossary
        ``QUOTES`` to fill in (unit_price, quote_date, valid_until, one_time_cost empty; currency and kind as
        expected), supplier and commodity.
    """
    rules, decided = audit.settings.decide, audit.decided
    elsewhere = quantities_in_decisions(decided.elements, decided.decisions)
    sheet = quote_requests(decided.requotes, audit.lines, rules=rules, elsewhere=elsewhere)
    sheet = sheet.assign(order=np.arange(len(sheet)))
    rows = pd.concat([sheet.assign(min_qty=sheet[b]) for b in _BREAKS], ignore_index=True)
    rows = rows.drop_duplicates(["order", "min_qty"]).sort_values(["order", "min_qty"], kind="stable")
    currency = rows["price_currency"].where(rows["price_currency"] != "", audit.currency)
    rows = rows.assign(
        unit_price=np.nan, currency=currency, quote_date=np.datetime64("NaT", "us"), one_time_cost=np.nan,
        valid_until=np.datetime64("NaT", "us"), kind="firm",
    )  # fmt: skip
    shown = _LAST if rules.show_last_price else ()
    return rows[[*_ASKED, *shown, *_ANSWERS, *_KEPT]].reset_index(drop=True)


def write_requests(audit: Audit, out: Path) -> list[Path]:
    """Write a workbook and a csv file for each supplier: all of them or none.

    Parameters
    ----------
    audit : Audit
    out : Path
        Folder of the files; other files in it are left alone.

    Returns
    -------
    list of Path

    Raises
    ------
    OSError
        If the folder cannot be written; what stood there before still stands.
    """
    rows = request_rows(audit)
    writers: dict[str, Callable[[Path], object]] = {}
    names = file_names(list(dict.fromkeys(rows["supplier"].tolist())))
    for supplier, name in names.items():
        mine = rows[rows["supplier"] == supplier].reset_index(drop=True)
        writers[f"{name}.xlsx"] = partial(_write_book, mine, title=audit.title, day=audit.as_of)
        writers[f"{name}.csv"] = partial(write_csv, mine)
    return write_all(writers, out) if writers else []


def file_names(suppliers: list[str]) -> dict[str, str]:
    """Name of each supplier's files, without ending: letters, digits, hyphens and underscores, no two alike."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for supplier in suppliers:
        plain = re.sub(r"[^\w-]+", "_", supplier).strip("_")[:_LONGEST_NAME] or _NOBODY
        name, k = f"request_{plain}", 1
        while name.casefold() in taken:
            k += 1
            name = f"request_{plain}_{k}"
        taken.add(name.casefold())
        names[supplier] = name
    return names


def _write_book(rows: pd.DataFrame, path: Path, *, title: str, day: date) -> None:
    from xlsxwriter import Workbook  # noqa: PLC0415  (only where a workbook is written)

    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = Workbook(str(path), options)
    book.set_properties({"title": f"{title}: request for quote", "author": "",
                         "created": datetime(day.year, day.month, day.day)})  # noqa: DTZ001  # fmt: skip
    sheet = book.add_worksheet("Request for quote")
    strong, wrap = book.add_format({"bold": True, "font_size": 14}), book.add_format({"text_wrap": True})
    sheet.write_string(0, 0, f"Request for quote: {title}", strong)
    sheet.write_string(1, 0, _SAYS, book.add_format({"italic": True}))
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True})
    for i, name in enumerate(rows.columns):
        sheet.set_column(i, i, _WIDTHS.get(name, 13), wrap if name == "description" else None)
        sheet.write_string(_HEAD_ROW, i, name.replace("_", " "), head)
        _write_column(book, sheet, i, rows[name])
    last = _HEAD_ROW + len(rows)
    place = {name: i for i, name in enumerate(rows.columns)}
    sheet.data_validation(_HEAD_ROW + 1, place["kind"], last, place["kind"],
                          {"validate": "list", "source": list(QUOTE_KINDS)})  # fmt: skip
    sheet.freeze_panes(_HEAD_ROW + 1, 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(_HEAD_ROW)
    book.close()


def _write_column(book: Workbook, sheet: Worksheet, at: int, values: pd.Series) -> None:
    """Write text as text, whatever it begins with; cells to fill in are coloured."""
    from bomaudit.report.book import number_or_blank  # noqa: PLC0415  (with the library that writes workbooks)

    name = str(values.name)
    shape: dict[str, Any] = {"valign": "top"} | ({"num_format": _FORMATS[name]} if name in _FORMATS else {})
    if name in _ANSWERS:
        shape |= {"bg_color": "#fdf6d8", "border": 1, "border_color": "#d9cfa0"}
    style = book.add_format(shape)
    for k, value in enumerate(values.tolist(), start=_HEAD_ROW + 1):
        number_or_blank(sheet, k, at, value, style)
