"""The sample audit, reported: from the pipeline's own frames, nothing made by hand."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import numpy as np
import openpyxl
import pandas as pd
import pytest
from rich.console import Console
from scipy import sparse
from test_workbook import needs_office, recalculated, without_results

from bomaudit.audit import run
from bomaudit.backtest import Backtest
from bomaudit.glossary import STATUSES, VERDICTS, WALK_STEPS
from bomaudit.report import as_data, explain, files, terminal, terminal_inputs, words, workbook
from bomaudit.report.content import at_stake, gather, redacted
from bomaudit.report.page_tables import record_rows, record_said


@pytest.fixture(scope="module")
def content(audit):
    return gather(audit)


def test_the_report_takes_no_growth_that_the_register_does_not(audit):
    table = audit.inputs.tables["decisions"].assign(volume_growth=-2.0)
    inputs = replace(audit.inputs, tables={**audit.inputs.tables, "decisions": table})
    growth = gather(run(replace(audit.opened, inputs=inputs))).growth
    assert len(growth) == len(audit.decided.decisions)
    assert (growth == 0).all()


def shown(call, *args, **kwargs) -> str:
    out = io.StringIO()
    call(*args, Console(file=out, width=80, no_color=True), **kwargs)
    return out.getvalue()


def test_the_quick_look_fits_80_columns(audit):
    text = shown(terminal.show_audit, audit)
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("EUR") > 5


def test_check_names_tables_and_columns_and_counts_the_same_findings_as_its_data(opened):
    text = shown(terminal_inputs.show_check, opened)
    assert max(map(len, text.splitlines())) <= 80
    data = as_data.checked(opened)
    assert len(data["findings"]) == len(opened.findings)
    assert data["tables"]["bom"]["rows"] == len(opened.inputs.tables["bom"])


@pytest.mark.parametrize("status", STATUSES)
def test_a_line_of_every_status_is_explained(audit, status):
    line = audit.lines[audit.lines["status"] == status].iloc[0]
    text = shown(explain.show, explain.explain(audit, line["line_id"]))
    assert status in text
    assert "Evidence" in text or line["reason"] in text.replace("\n", " ")


@pytest.mark.parametrize("verdict", VERDICTS)
def test_a_decision_of_every_verdict_is_explained(audit, verdict):
    decision = audit.decided.decisions.set_index("verdict").loc[[verdict], "decision"].iloc[0]
    text = " ".join(shown(explain.show, explain.explain(audit, decision)).split())
    for said in ("As booked,", "Why this verdict", "choice saves, today", "one-time cost of change"):
        assert said in text, said


def test_the_bridge_of_a_decision_ends_where_the_decision_does(content, audit):
    for decision in audit.decided.decisions["decision"]:
        story = explain.find(content, decision)
        steps = sum(b.end - b.start for b in story.bridge[1:-1])
        assert story.bridge[0].end + steps == pytest.approx(story.bridge[-1].end, abs=1e-9)


def test_the_walk_of_every_line_ends_at_its_estimate(content):
    lines = content.audited
    walk = lines[[f"walk_{s}" for s in WALK_STEPS]].sum(axis=1)
    assert (lines["booked_cost"] + walk).to_numpy() == pytest.approx(lines["estimate"].to_numpy(), rel=1e-9)


def test_money_at_stake_is_inside_its_interval_and_shared_causes_widen_it(content):
    estimate, low, high = at_stake(content, -1)
    assert 0 <= low <= estimate <= high
    alone = replace(content, loadings=content.loadings * 0.0)
    assert at_stake(alone, -1)[2] < high


def test_a_part_built_in_twice_is_as_unsure_as_in_one_place(content):
    """Its price is one price: its own doubt does not average out over the lines that hold it."""
    halved = content.lines.assign(qty_per=content.lines["qty_per"] / 2)
    halved["exposure_per_year"] /= 2
    twice = pd.concat([halved, halved.assign(line_id=halved["line_id"] + "b")], ignore_index=True)
    loadings = sparse.vstack([content.loadings, content.loadings]).tocsr()
    split = replace(content, lines=twice, loadings=loadings, sd_own=np.r_[content.sd_own, content.sd_own])
    assert at_stake(split, -1) == pytest.approx(at_stake(content, -1))


def test_curves_pass_through_one_today(content):
    curve = content.markets[content.markets["kind"] == "curve"]
    last = curve.groupby("commodity").tail(1)
    assert last["price"].to_numpy() == pytest.approx(1.0)
    assert (curve["low"] <= curve["price"] + 1e-12).all()
    assert set(curve["commodity"]) <= set(content.lines["commodity"])


def test_nothing_of_a_supplier_is_left_in_a_client_copy(content, tmp_path):
    names = set(content.lines["supplier"]) - {""}
    assert names
    files.write_content(redacted(content), tmp_path / "out")
    for name in ("lines.csv", "requotes.csv", "findings.csv", "report.html", "summary.json", "decisions.csv"):
        text = (tmp_path / "out" / name).read_text(encoding="utf-8")
        assert not [n for n in names if n in text], name
    data = pd.read_parquet(tmp_path / "out" / "lines.parquet")
    assert set(data["supplier"]) == {""}
    book = openpyxl.load_workbook(tmp_path / "out" / "report.xlsx", read_only=True)
    texts = {str(c.value) for sheet in book for row in sheet.iter_rows() for c in row if c.value is not None}
    book.close()
    assert not [n for n in names if any(n in t for t in texts)]


def test_the_summary_counts_what_the_lines_say(audit):
    data = json.loads(as_data.as_json(as_data.summary(audit)))
    counted = audit.lines["status"].value_counts()
    assert {s: data["lines"][s] for s in STATUSES} == {s: int(counted.get(s, 0)) for s in STATUSES}
    exposure = audit.lines.loc[audit.lines["status"].isin(["stale", "drifting"]), "exposure_per_year"].sum()
    money = data["money"]
    assert math.isclose(money["booked_above_estimate_per_year"] - money["booked_below_estimate_per_year"], exposure)


@needs_office
def test_the_whole_book_recalculates_to_the_same_figures(content, tmp_path):
    path = tmp_path / "report.xlsx"
    workbook.write(content, path)
    formulas, stored = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    computed = recalculated(without_results(path, tmp_path / "bare.xlsx"), tmp_path / "office")
    compared = dict.fromkeys(formulas.sheetnames, 0)
    for sheet in formulas:
        for cell in (c for row in sheet.iter_rows() for c in row if c.data_type == "f"):
            ours, theirs = stored[sheet.title][cell.coordinate].value, computed[sheet.title][cell.coordinate].value
            assert theirs == pytest.approx(ours, rel=1e-6, abs=1e-9), f"{sheet.title}!{cell.coordinate} {cell.value}"
            compared[sheet.title] += 1
    assert compared["Lines"] > 300
    assert min(compared[s] for s in ("Summary", "Decisions", "Elements", "Reconciliation", "Markets")) >= 10


def test_present_values_of_the_sample_are_live_formulas(content, tmp_path):
    workbook.write(content, tmp_path / "report.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "report.xlsx")["Decisions"]
    heads = {c.value: c.column for c in sheet[4]}
    for row in range(5, 5 + len(content.decisions)):
        assert sheet.cell(row, heads["npv"]).data_type == "f"
        assert sheet.cell(row, heads["saving today"]).data_type == "f"


def test_the_tools_own_record_is_told_with_its_rivals(content):
    days = pd.to_datetime(["2020-01-01", "2020-01-01", "2022-01-01"])
    cases = pd.DataFrame({"part_no": ["a", "b", "b"], "quote_date": days})
    cases = pd.concat([cases, cases.tail(1)], ignore_index=True)  # the last quote seen from two days
    summary = pd.DataFrame(
        {"scope": "all", "method": list(words.METHOD), "n": 40, "parts": 12, "mae": [0.08, 0.2, 0.15, 0.2, 0.3],
         "bias": 0.01, "skill": [0.0, 0.6, 0.4, 0.5, 0.7]}
    )  # fmt: skip
    coverage = pd.DataFrame({"scope": "all", "nominal": [0.5, 0.8, 0.95], "inside": [0.52, 0.79, 0.96]})
    tested = replace(content, record=Backtest(cases, summary, coverage, 1.0, ()))
    said = record_said(tested)
    assert said.startswith("3 quotes of 12 parts that it was not shown were estimated 40 times")
    assert "off by 8%" in said
    assert "80% interval held the quote in 79% of the cases" in said
    assert [r[0]["text"] for r in record_rows(tested)][1] == "booked cost left as it is"
    assert "audit --backtest" in record_said(content)
