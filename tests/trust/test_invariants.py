"""Each invariant, broken once: said, marked on every file, and the exit status is that of a mistake of ours."""

import json
from dataclasses import replace

import numpy as np
import openpyxl
import pytest
from typer.testing import CliRunner

from bomaudit import audit as job
from bomaudit.cli import app
from bomaudit.invariants import broken_invariants
from bomaudit.report import files
from bomaudit.report.content import gather
from bomaudit.report.stories import tell_decision


def codes(audit):
    made = broken_invariants(inputs=audit.inputs, lines=audit.lines, estimates=audit.estimates, decided=audit.decided)
    return {f.code for f in made}


def changed(frame, column, value, row=0):
    out = frame.copy()
    out[column] = out[column].astype(object) if isinstance(value, str) else out[column].astype(float)
    out.iloc[row, list(out.columns).index(column)] = value
    return out


def with_lines(audit, column, factor=1.000001, value=None):
    row = int(np.flatnonzero(audit.lines["exposure_per_year"].notna() & (audit.lines["estimate"] > 0))[0])
    old = audit.lines[column].iloc[row]
    return replace(audit, lines=changed(audit.lines, column, old * factor if value is None else value, row))


def with_decided(audit, table, column, factor=1.000001, *, value=None, row=0):
    frame = getattr(audit.decided, table)
    new = frame[column].iloc[row] * factor if value is None else value
    return replace(audit, decided=replace(audit.decided, **{table: changed(frame, column, new, row)}))


BREAKS = {
    "V001 a lost line": ("V001", lambda a: replace(a, lines=a.lines.iloc[1:])),
    "V001 lines swapped": ("V001", lambda a: replace(a, lines=a.lines.iloc[::-1])),
    "V001 a line twice": ("V001", lambda a: replace(a, lines=changed(a.lines, "line_id", a.lines["line_id"].iloc[1]))),
    "V001 a row lost in reading": (
        "V001",
        lambda a: replace(
            a,
            opened=replace(
                a.opened,
                inputs=replace(
                    a.inputs, rows=a.inputs.rows.drop(a.inputs.rows.index[a.inputs.rows["kind"] == "part"][:1])
                ),
            ),
        ),
    ),
    "V002 a step of the walk": (
        "V002",
        lambda a: with_lines(a, "walk_inputs" if "walk_inputs" in a.lines else "walk_experience", value=9.0),
    ),
    "V002 the estimate": ("V002", lambda a: with_lines(a, "estimate")),
    "V002 the drift": ("V002", lambda a: with_lines(a, "drift", 1.0001)),
    "V003 an interval turned round": ("V003", lambda a: with_lines(a, "estimate_low", 10.0)),
    "V003 an endless interval": ("V003", lambda a: with_lines(a, "estimate_high", value=np.inf)),
    "V003 a negative price": ("V003", lambda a: with_lines(a, "estimate_low", -1.0)),
    "V003 the scale": ("V003", lambda a: with_lines(a, "sd_log", 1.001)),
    "V003 parts of the variance": ("V003", lambda a: with_lines(a, "var_process", value=0.7)),
    "V003 loadings": ("V003", lambda a: replace(a, estimates=replace(a.estimates, sd_own=a.estimates.sd_own * 1.01))),
    "V004 the extended cost": ("V004", lambda a: with_lines(a, "booked_extended")),
    "V004 the exposure": ("V004", lambda a: with_lines(a, "exposure_per_year", -1.0)),
    "V004 a missing exposure": ("V004", lambda a: with_lines(a, "exposure_per_year", value=np.nan)),
    "V005 an unknown status": ("V005", lambda a: with_lines(a, "status", value="fine")),
    "V005 no status": ("V005", lambda a: with_lines(a, "status", value="")),
    "V005 an unknown verdict": ("V005", lambda a: with_decided(a, "decisions", "verdict", value="maybe")),
    "V005 a chance above one": ("V005", lambda a: with_decided(a, "decisions", "p_flip", value=1.01)),
    "V006 an element": ("V006", lambda a: with_decided(a, "elements", "today_per_unit")),
    "V006 a booked element": ("V006", lambda a: with_decided(a, "elements", "booked_per_unit", 1.001)),
    "V006 an option": ("V006", lambda a: with_decided(a, "options", "cost_today")),
    "V007 a saving": ("V007", lambda a: with_decided(a, "decisions", "saving_today", 1.001)),
    "V007 the bridge": ("V007", lambda a: with_decided(a, "decisions", "saving_booked", 1.001)),
    "V008 ranks": ("V008", lambda a: with_decided(a, "requotes", "rank", value=7.0)),
    "V008 the order": ("V008", lambda a: with_decided(a, "requotes", "value_of_asking", value=1e12, row=2)),
    "V009 a hash": (
        "V009",
        lambda a: replace(a, opened=replace(a.opened, inputs=replace(a.inputs, hashes={"bom.xlsx": ""}))),
    ),
}


@pytest.mark.parametrize("what", BREAKS)
def test_each_is_seen_when_it_is_broken(sample_audit, what):
    code, damage = BREAKS[what]
    assert code in codes(damage(sample_audit))


def test_all_hold_on_the_sample_and_on_the_hostile_folder(sample_audit, hostile_folder):
    assert codes(sample_audit) == set()
    assert job.audit(hostile_folder).broken == ()
    assert sample_audit.broken == ()


THREE_OPTIONS = """\
decision,option,chosen,element,kind,part_no,amount,currency,date,annual_volume,years_left,change_cost
ctrl,own,y,board,part,B-3,33,EUR,2026-06-01,800,6,9000
ctrl,bought,n,module,part,Y-1,36,EUR,2026-06-01,,,
ctrl,cheap,n,module,part,Y-2,30,EUR,2006-06-01,,,
"""
"""The cheap module was the best alternative as booked; its price is so old that it is no longer the one today."""


def test_all_hold_where_the_best_alternative_as_booked_is_not_the_one_to_switch_to(tmp_path):
    (tmp_path / "audit.toml").write_text(
        '[audit]\nas_of = 2026-06-30\n[files]\nbom = "bom.csv"\ndecisions = "decisions.csv"\n'
    )
    (tmp_path / "bom.csv").write_text("part_no,qty,unit_cost,currency,cost_date\nB-3,1,33,EUR,2026-06-01\n")
    (tmp_path / "decisions.csv").write_text(THREE_OPTIONS)
    made = job.audit(tmp_path)
    decision = made.decided.decisions.iloc[0]
    assert (decision["switch_to"], decision["saving_booked"]) == ("bought", -3.0)
    assert made.broken == ()
    content = gather(made)
    story = tell_decision(content, content.decisions.iloc[0].to_dict(), content.numbers)
    assert "own costs 3.00 EUR a unit more than its best alternative" in story.lead
    first = story.bridge[0]
    assert (first.label, first.end) == ("choice saves against bought, as booked", 3.0)
    twisted = changed(made.decided.decisions, "saving_booked", 3.0)
    assert codes(replace(made, decided=replace(made.decided, decisions=twisted))) == {"V007"}


def test_rounding_of_the_last_digits_is_no_break(sample_audit):
    assert codes(with_lines(sample_audit, "estimate", 1 + 1e-13)) == set()


def test_a_broken_run_says_so_on_every_file_and_fails(tmp_path, sample_folder, monkeypatch):
    out, real = tmp_path / "out", job.judge_lines
    before = {name: f"{name} of an earlier run".encode() for name in files.NAMES}
    out.mkdir()
    for name, data in before.items():
        (out / name).write_bytes(data)

    def wrong(*arguments):
        lines = real(*arguments)
        return lines.assign(walk_experience=lines["walk_experience"] * 1.01)

    monkeypatch.setattr(job, "judge_lines", wrong)
    done = CliRunner().invoke(app, ["audit", str(sample_folder), "--out", str(out), "--keep"])
    assert done.exit_code == 3
    assert "not to be used" in done.output
    assert not (sample_folder / "history").exists(), "it is not kept"
    marked = {n: (out / (files.UNUSABLE + n)) for n in files.NAMES}
    assert {p.name: p.read_bytes() for p in out.iterdir() if not p.name.startswith(files.UNUSABLE)} == before
    summary = json.loads(marked["summary.json"].read_text())
    assert summary["usable"] is False
    assert "V002" in {r.split(",")[0] for r in marked["findings.csv"].read_text().splitlines()}
    assert len(summary["broken"]) == 1
    assert marked["report.html"].read_text().count("NOT TO BE USED") >= 2
    book = openpyxl.load_workbook(marked["report.xlsx"])
    assert "NOT TO BE USED" in str(book["Summary"]["A4"].value)
    assert "NOT TO BE USED" in (book.properties.contentStatus or "")

    for command in (["requote"], ["explain", "panel"], ["reconcile", "--out", str(tmp_path / "r")]):
        done = CliRunner().invoke(app, [command[0], str(sample_folder), *command[1:]])
        assert (done.exit_code, "V002" in done.output or "not to be used" in done.output) == (3, True)
    assert not (tmp_path / "r").exists()

    monkeypatch.setattr(job, "judge_lines", real)
    whole = CliRunner().invoke(app, ["audit", str(sample_folder), "--out", str(out), "--quiet"])
    assert whole.exit_code == 0
    assert json.loads((out / "summary.json").read_text())["usable"] is True
    assert {p.name for p in out.iterdir()} == set(files.NAMES), "a whole run clears what a broken one left"
