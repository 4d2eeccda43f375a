"""First sheet of the workbook: what was found, counts and money by formula, the map of lines, the decisions."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from xlsxwriter import Workbook
from xlsxwriter.utility import xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from bomaudit.report import look, words
from bomaudit.report.book import Styles, fit, printed
from bomaudit.report.book_decisions import exact_row
from bomaudit.report.content import Content, by_verdict, count_statuses
from bomaudit.report.stories import found

MOST_DECISIONS = 15
"""Decisions that the first sheet lists; all are in the sheet ``Decisions``."""


def write_summary(book: Workbook, styles: Styles, content: Content, shown: pd.DataFrame) -> None:
    """Write the sheet ``Summary``; its charts take their data from the sheet ``Chart data``, which must exist.

    Parameters
    ----------
    book : Workbook
    styles : Styles
    content : Content
    shown : DataFrame
        Lines that the book holds; counts are formulas over them where these are all lines.
    """
    n = content.numbers
    sheet = book.get_worksheet_by_name("Summary")
    sheet.hide_gridlines(2)
    sheet.set_column(0, 0, 18)
    sheet.set_column(1, 3, 18)
    sheet.set_column(4, 8, 16)
    sheet.write_string(0, 0, content.title, styles.title)
    sheet.write_string(1, 0, f"Prices of {n.day(content.as_of)}, amounts in {content.currency}, intervals at "
                             f"{n.share(content.settings.audit.confidence)}")  # fmt: skip
    said = [
        *([words.BROKEN, *content.broken] if content.broken else []),
        *found(content, n),
        *([words.INVENTED] if content.settings.audit.invented else []),
        words.CAUTION,
    ]
    if content.dropped:
        said.append(f"Left out of this copy: {words.list_of(content.dropped)}.")
    for i, sentence in enumerate(said):
        sheet.merge_range(3 + i, 0, 3 + i, 8, "", styles.wrap)
        sheet.write_string(3 + i, 0, sentence, styles.wrap)
        sheet.set_row(3 + i, 30)
    row = 4 + len(said)
    _write_statuses(sheet, styles, content, row, live=len(shown) == len(content.lines))
    _write_decisions(sheet, styles, content, row)
    row += max(8, min(len(content.decisions), MOST_DECISIONS) + 2)
    _write_key(sheet, styles, row)
    _write_charts(book, sheet, book.get_worksheet_by_name("Chart data"), content, shown, row=row + 3)
    printed(sheet, content.title, row + 24, 10)


def _write_statuses(sheet: Worksheet, styles: Styles, content: Content, row: int, *, live: bool) -> None:
    cur, lines = content.currency, content.lines
    for i, head in enumerate(("status", "lines", f"booked above estimate, {cur}/year", f"below, {cur}/year")):
        sheet.write_string(row, i, head, styles.head)
    for k, (status, count) in enumerate(count_statuses(lines).items()):
        at, money = row + 1 + k, lines.loc[lines["status"] == status, "exposure_per_year"].dropna()
        sheet.write_string(at, 0, status, styles.state(look.STATUS[status]))
        cells: list[tuple[str, float, str]] = [
            (f'=COUNTIF(line_status,"{status}")', count, "count"),
            (f'=SUMIFS(line_exposure_per_year,line_status,"{status}",line_exposure_per_year,">0")',
             float(money[money > 0].sum()), "money"),
            (f'=-SUMIFS(line_exposure_per_year,line_status,"{status}",line_exposure_per_year,"<0")',
             float(-money[money < 0].sum()), "money"),
        ]  # fmt: skip
        for i, (formula, value, style) in enumerate(cells, start=1):
            if live:
                sheet.write_formula(at, i, formula, styles.get(style, "worked_out"), value)
            else:
                sheet.write_number(at, i, value, styles.get(style, "given"))


def _write_decisions(sheet: Worksheet, styles: Styles, content: Content, row: int) -> None:
    """Decisions in order; their figures follow the sheet ``Decisions``."""
    cur, ordered = content.currency, by_verdict(content.decisions)
    heads = ("verdict", "decision", f"choice saves today, {cur} a unit", f"switching is worth, {cur}")
    for i, head in enumerate(heads, start=5):
        sheet.write_string(row, i, head, styles.head)
    for k, d in enumerate(ordered.head(MOST_DECISIONS).to_dict("records"), start=1):
        sheet.write_string(row + k, 5, d["verdict"], styles.state(look.VERDICT[d["verdict"]]))
        sheet.write_string(row + k, 6, fit(d["decision"]))
        for i, (name, style) in enumerate((("saving_today", "signed_price"), ("npv", "signed")), start=7):
            shape = styles.get(style, "worked_out")
            if math.isfinite(d[name]):
                formula = exact_row("decision_name", xl_rowcol_to_cell(row + k, 6), f"decision_{name}")
                sheet.write_formula(row + k, i, "=" + formula, shape, d[name])  # by name: that sheet may be sorted
    if len(ordered) > MOST_DECISIONS:
        sheet.write_string(row + MOST_DECISIONS + 1, 5, f"{len(ordered) - MOST_DECISIONS} more in the sheet Decisions")


def _write_key(sheet: Worksheet, styles: Styles, row: int) -> None:
    sheet.write_string(row, 0, "entered or estimated", styles.get("text", "entered"))
    sheet.write_string(row, 1, "Tinted cells may be changed; whatever follows from them is a formula and moves along.")
    sheet.write_string(
        row + 1, 1, "Chances, intervals, status and verdict are those of the audit and stay as they are."
    )


def _write_charts(
    book: Workbook, sheet: Worksheet, data: Worksheet, content: Content, shown: pd.DataFrame, *, row: int
) -> None:
    dots = shown[shown["drift"].notna()]
    scatter: Any = book.add_chart({"type": "scatter"})
    data.write_string(0, 0, "Data of the charts on the first sheet; a copy, so that sorting the lines leaves it alone.")
    for i, (status, tone) in enumerate(look.STATUS.items()):
        part = dots[dots["status"] == status]
        data.write_string(2, 2 * i, f"{status}: age, years")
        data.write_string(2, 2 * i + 1, f"{status}: drift")
        data.write_column(3, 2 * i, part["age_years"].fillna(0.0).tolist())
        data.write_column(3, 2 * i + 1, part["drift"].tolist())
        if len(part):
            last, mark = 2 + len(part), {"current": "circle", "drifting": "diamond", "stale": "triangle"}
            scatter.add_series({
                "name": status, "categories": ["Chart data", 3, 2 * i, last, 2 * i],
                "values": ["Chart data", 3, 2 * i + 1, last, 2 * i + 1],
                "marker": {"type": mark.get(status, "square"), "size": 6, "fill": {"color": tone.light},
                           "border": {"color": "#ffffff"}},
            })  # fmt: skip
    scatter.set_title({"name": "Lines by age and drift", "name_font": {"size": 11}})
    scatter.set_x_axis({"name": "age of the booked cost, years", "min": 0, "label_position": "low",
                        "major_gridlines": {"visible": False}})  # fmt: skip
    scatter.set_y_axis({"name": "estimate against booked cost", "num_format": "+0%;-0%;0%",
                        "major_gridlines": {"visible": True, "line": {"color": "#d9d6cf"}}})  # fmt: skip
    scatter.set_legend({"position": "bottom"})
    scatter.set_size({"width": 620, "height": 380})
    if len(dots):  # a chart without a series cannot be written
        sheet.insert_chart(row, 0, scatter, {"description": "Lines by age and drift, by status"})
    if len(content.decisions):
        sheet.insert_chart(row, 5, _decision_chart(book, data, content),
                           {"description": "What switching is worth, by decision"})  # fmt: skip


def _decision_chart(book: Workbook, data: Worksheet, content: Content) -> Any:
    ordered, first = by_verdict(content.decisions).head(MOST_DECISIONS), 9
    data.write_string(2, first, "decision")
    data.write_string(2, first + 1, f"switching is worth, {content.currency}")
    data.write_column(3, first, [fit(d) for d in ordered["decision"]])
    data.write_column(3, first + 1, ordered["npv"].fillna(0.0).tolist())
    last, chart = 2 + len(ordered), book.add_chart({"type": "bar"})
    chart.add_series({
        "name": ["Chart data", 2, first + 1], "categories": ["Chart data", 3, first, last, first],
        "values": ["Chart data", 3, first + 1, last, first + 1], "gap": 60,
        "points": [{"fill": {"color": look.VERDICT[v].light}} for v in ordered["verdict"]],
    })  # fmt: skip
    chart.set_title({"name": f"What switching is worth, {content.currency}", "name_font": {"size": 11}})
    chart.set_y_axis({"reverse": True, "label_position": "low"})
    chart.set_x_axis({"num_format": "#,##0", "major_gridlines": {"visible": True, "line": {"color": "#d9d6cf"}}})
    chart.set_legend({"none": True})
    chart.set_size({"width": 620, "height": 380})
    return chart
