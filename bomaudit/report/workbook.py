"""The workbook: summary, decisions and their elements, lines, re-quotes, markets, assumptions, findings.

Figures that follow from others in the book are formulas, with our results stored beside them; what the audit estimated
stands as a value. Changing an entered cell moves everything that follows from it.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pandas as pd
from xlsxwriter import Workbook

from bomaudit.decide.time_value import rate_of
from bomaudit.finance.reconcile import CAUTIONS
from bomaudit.report import look, words
from bomaudit.report.as_data import LAYOUTS
from bomaudit.report.book import DAYS, HEAD_ROW, Styles, column_range, mark_states, write_sheet
from bomaudit.report.book_decisions import decision_columns, decision_frame, element_columns, element_frame
from bomaudit.report.book_finance import reconciliation_columns
from bomaudit.report.book_sheets import (
    assumption_columns,
    assumption_frame,
    finding_columns,
    line_columns,
    market_columns,
    market_frame,
    requote_columns,
)
from bomaudit.report.book_summary import write_summary
from bomaudit.report.content import Content, by_weight, held_of
from bomaudit.report.inputs import effect_columns, effect_frame, input_columns, input_frame
from bomaudit.report.unregistered import book_frames, headroom_columns, look_alike_columns


def write(content: Content, path: Path) -> None:
    """Write the workbook of an audit to a file; the same bytes for the same audit."""
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
               "default_date_format": DAYS[content.settings.report.language]}  # fmt: skip
    book = Workbook(str(path), options)
    day = datetime.combine(content.as_of, datetime.min.time())
    state = words.BROKEN if content.broken else ""
    book.set_properties({"title": f"{content.title}: stale costs", "status": state, "subject": "audit of booked costs",
                         "comments": words.CAUTION, "author": "", "created": day})  # fmt: skip
    book.set_custom_property("schema", LAYOUTS["report.xlsx"])
    book.set_calc_mode("auto")
    styles = Styles(book, DAYS[content.settings.report.language])
    shown = by_weight(content.lines, held_of(len(content.lines)))
    book.add_worksheet("Summary")
    _write_decisions(book, styles, content, shown)
    _write_lines(book, styles, content, shown)
    _write_rest(book, styles, content)
    book.add_worksheet("Chart data")
    write_summary(book, styles, content, shown)
    book.close()


def _write_decisions(book: Workbook, styles: Styles, content: Content, shown: pd.DataFrame) -> None:
    elements = element_frame(content, shown)
    frame, columns = decision_frame(content, elements), decision_columns(content)
    sheet = write_sheet(book, styles, "Decisions", frame, columns, title="Decisions",
                        says=words.SHEET["Decisions"], printed_to="npv")  # fmt: skip
    mark_states(sheet, styles, columns, "verdict", rows=len(frame), tones=look.VERDICT)
    book.define_name("decision_name", "=" + column_range("Decisions", columns, "decision", len(frame)))
    for name in ("discounted_products", "discounted_years", "saving_today", "npv"):
        book.define_name(f"decision_{name}", "=" + column_range("Decisions", columns, name, len(frame)))
    columns = element_columns(content)
    write_sheet(book, styles, "Elements", elements, columns, title="Elements of the decisions",
                says=words.SHEET["Elements"], printed_to="high")  # fmt: skip
    for name in ("decision", "option", "today_per_unit"):
        book.define_name(f"element_{name}", "=" + column_range("Elements", columns, name, len(elements)))


def _write_lines(book: Workbook, styles: Styles, content: Content, shown: pd.DataFrame) -> None:
    columns = line_columns(content)
    cut = words.left_out(content.numbers, len(shown), len(content.lines))
    sheet = write_sheet(book, styles, "Lines", shown, columns, title="Lines of the BOM",
                        says=" ".join(t for t in (cut, words.SHEET["Lines"]) if t), printed_to="stage")  # fmt: skip
    mark_states(sheet, styles, columns, "status", rows=len(shown), tones=look.STATUS)
    for name in ("line_id", "status", "estimate", "booked_cost", "exposure_per_year"):
        book.define_name(f"line_{name.removeprefix('line_')}", "=" + column_range("Lines", columns, name, len(shown)))
    money = next(i for i, c in enumerate(columns) if c.name == "exposure_per_year")
    for criterion, tone in ((">", look.DOWN), ("<", look.UP)):
        rule = {"type": "cell", "criteria": criterion, "value": 0, "format": styles.ink(tone)}
        sheet.conditional_format(HEAD_ROW + 1, money, HEAD_ROW + max(len(shown), 1), money, rule)


def _write_rest(book: Workbook, styles: Styles, content: Content) -> None:
    asked = content.requotes.head(held_of(len(content.requotes)))
    cut = words.left_out(content.numbers, len(asked), len(content.requotes), of="parts", file="requotes.csv")
    says = " ".join(t for t in (cut, words.SHEET["Re-quotes"]) if t)
    write_sheet(book, styles, "Re-quotes", asked, requote_columns(content), title="Ask first for new quotes",
                says=says, printed_to="cost_of_asking")  # fmt: skip
    _write_inputs(book, styles, content)
    alike, headroom = book_frames(content)
    write_sheet(book, styles, "Look-alikes", alike, look_alike_columns(content), title="Look-alikes",
                says=words.SHEET["Look-alikes"])  # fmt: skip
    write_sheet(book, styles, "Headroom", headroom, headroom_columns(content), title="Headroom",
                says=words.SHEET["Headroom"])  # fmt: skip
    if content.reconciled is not None:
        columns = reconciliation_columns(content.currency, content.settings.finance.money_places)
        write_sheet(book, styles, "Reconciliation", content.reconciled, columns, title="Standard costs",
                    says=" ".join((words.SHEET["Reconciliation"], CAUTIONS[0])))  # fmt: skip
    write_sheet(book, styles, "Markets", market_frame(content), market_columns(content), title="Markets",
                says=words.SHEET["Markets"])  # fmt: skip
    _write_assumptions(book, styles, content)
    columns = finding_columns()
    sheet = write_sheet(book, styles, "Findings", content.findings, columns, title="What the data did not say",
                        says=words.SHEET["Findings"])  # fmt: skip
    mark_states(sheet, styles, columns, "severity", rows=len(content.findings), tones=look.SEVERITY)


def _write_inputs(book: Workbook, styles: Styles, content: Content) -> None:
    """Inputs with a change to enter, and what it does to each decision."""
    frame, columns = input_frame(content), input_columns(content.currency)
    write_sheet(book, styles, "Inputs", frame, columns, title="If an input price moves",
                says=words.SHEET["Inputs"])  # fmt: skip
    book.define_name("input_name", "=" + column_range("Inputs", columns, "input", len(frame)))
    book.define_name("input_change", "=" + column_range("Inputs", columns, "change", len(frame)))
    write_sheet(book, styles, "Inputs by decision", effect_frame(content), effect_columns(content.currency),
                title="Input prices by decision", says=words.SHEET["Inputs by decision"])  # fmt: skip


def _write_assumptions(book: Workbook, styles: Styles, content: Content) -> None:
    """Settings by name, and below them what the other sheets' formulas take from them."""
    frame = assumption_frame(content)
    sheet = write_sheet(book, styles, "Assumptions", frame, assumption_columns(), title="Assumptions",
                        says=words.SHEET["Assumptions"])  # fmt: skip
    at = {n: f"$B${HEAD_ROW + 2 + i}" for i, n in enumerate(frame["name"])}
    rate, inflation, basis, timing = (at[f"decide.{n}"] for n in ("discount_rate", "inflation", "rate_basis", "timing"))
    rules, row = content.settings.decide, HEAD_ROW + 2 + len(frame)
    follow = (
        ("real_rate", f'=IF({basis}="real",{rate},(1+{rate})/(1+{inflation})-1)', rate_of(rules),
         "real discount rate, 1/year"),
        ("cash_shift", f'=IF({timing}="mid_year",0.5,1)', 0.5 if rules.timing == "mid_year" else 1.0,
         "part of a year after which its cash falls"),
    )  # fmt: skip
    for i, (name, formula, value, says) in enumerate(follow):
        sheet.write_string(row + i, 0, name)
        sheet.write_formula(row + i, 1, formula, styles.get("log", "worked_out"), value)
        sheet.write_string(row + i, 3, says)
        book.define_name(name, f"=Assumptions!$B${row + i + 1}")
    for setting in ("discount_rate", "inflation"):
        book.define_name(setting, "=Assumptions!" + at[f"decide.{setting}"])
