"""The workbook: summary, decisions and their elements, lines, re-quotes, markets, assumptions, findings.

Figures that follow from others in the book are formulas, with our results stored beside them; what the audit estimated
stands as a value. Changing an entered cell moves everything that follows from it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd
from xlsxwriter import Workbook

from bomaudit.report import look, words
from bomaudit.report.book import DAYS, HEAD_ROW, Styles, column_range, mark_states, write_sheet
from bomaudit.report.book_sheets import (
    assumption_columns,
    assumption_frame,
    decision_columns,
    decision_frame,
    element_columns,
    element_frame,
    finding_columns,
    line_columns,
    market_columns,
    market_frame,
    requote_columns,
)
from bomaudit.report.book_summary import write_summary
from bomaudit.report.content import Content, by_weight

MOST_LINES = 50_000
"""Lines that the book holds; beyond, spreadsheets become slow long before their limit of 1,048,576 rows."""


def write(content: Content, path: Path) -> None:
    """Write the workbook of an audit to a file; the same bytes for the same audit."""
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
               "default_date_format": DAYS[content.settings.report.language]}  # fmt: skip
    book = Workbook(str(path), options)
    day = datetime.combine(content.as_of, datetime.min.time())
    book.set_properties({"title": f"{content.title}: stale costs", "subject": "audit of booked costs",
                         "comments": words.CAUTION, "author": "", "created": day})  # fmt: skip
    book.set_calc_mode("auto")
    styles = Styles(book, DAYS[content.settings.report.language])
    shown = by_weight(content.lines).head(MOST_LINES)
    write_summary(book, styles, content, shown)
    _write_decisions(book, styles, content)
    _write_lines(book, styles, content, shown)
    _write_rest(book, styles, content)
    book.close()


def _write_decisions(book: Workbook, styles: Styles, content: Content) -> None:
    frame, columns = decision_frame(content), decision_columns(content)
    sheet = write_sheet(book, styles, "Decisions", frame, columns, title="Decisions",
                        says=words.SHEET["Decisions"])  # fmt: skip
    mark_states(sheet, styles, columns, "verdict", rows=len(frame), tones=look.VERDICT)
    frame, columns = element_frame(content), element_columns(content)
    write_sheet(book, styles, "Elements", frame, columns, title="Elements of the decisions",
                says=words.SHEET["Elements"])  # fmt: skip
    for name in ("decision", "option", "booked_per_unit", "today_per_unit"):
        book.define_name(f"element_{name}", "=" + column_range("Elements", columns, name, len(frame)))


def _write_lines(book: Workbook, styles: Styles, content: Content, shown: pd.DataFrame) -> None:
    columns = line_columns(content)
    cut = words.left_out(content.numbers, len(shown), len(content.lines))
    sheet = write_sheet(book, styles, "Lines", shown, columns, title="Lines of the BOM",
                        says=" ".join(t for t in (cut, words.SHEET["Lines"]) if t))  # fmt: skip
    mark_states(sheet, styles, columns, "status", rows=len(shown), tones=look.STATUS)
    for name in ("line_id", "status", "estimate", "booked_cost", "exposure_per_year"):
        book.define_name(f"line_{name.removeprefix('line_')}", "=" + column_range("Lines", columns, name, len(shown)))
    drift = next(i for i, c in enumerate(columns) if c.name == "exposure_per_year")
    sheet.conditional_format(
        HEAD_ROW + 1, drift, HEAD_ROW + max(len(shown), 1), drift,
        {"type": "data_bar", "bar_color": look.DOWN.light, "bar_negative_color": look.UP.light, "bar_solid": True},
    )  # fmt: skip


def _write_rest(book: Workbook, styles: Styles, content: Content) -> None:
    write_sheet(book, styles, "Re-quotes", content.requotes, requote_columns(content), title="Ask first for new quotes",
                says=words.SHEET["Re-quotes"])  # fmt: skip
    write_sheet(book, styles, "Markets", market_frame(content), market_columns(content), title="Markets",
                says=words.SHEET["Markets"])  # fmt: skip
    frame = assumption_frame(content)
    write_sheet(book, styles, "Assumptions", frame, assumption_columns(), title="Assumptions",
                says=words.SHEET["Assumptions"])  # fmt: skip
    at = {n: HEAD_ROW + 2 + i for i, n in enumerate(frame["name"])}
    for setting, name in (("decide.discount_rate", "discount_rate"), ("decide.inflation", "inflation")):
        if setting in at:
            book.define_name(name, f"=Assumptions!$B${at[setting]}")
    columns = finding_columns()
    sheet = write_sheet(book, styles, "Findings", content.findings, columns, title="What the data did not say",
                        says=words.SHEET["Findings"])  # fmt: skip
    mark_states(sheet, styles, columns, "severity", rows=len(content.findings), tones=look.SEVERITY)
