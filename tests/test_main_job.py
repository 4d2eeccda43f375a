"""The main job on the sample: every row once, walks that add up, the same bytes, and what the commands promise."""

import hashlib
import json
import os
import shutil
import subprocess
import sys

import numpy as np
import pytest
from typer.testing import CliRunner

from bomaudit import glossary
from bomaudit.cli import app

PROGRAM = [sys.executable, "-c", "from bomaudit.cli import main; main()"]
FILES = {"lines.csv", "lines.parquet", "decisions.csv", "requotes.csv", "findings.csv", "summary.json", "report.xlsx",
         "report.html"}  # fmt: skip


def run(*arguments):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def hashes(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


def test_every_row_of_the_bom_is_in_lines_once(sample_audit):
    bom, lines = sample_audit.inputs.tables["bom"], sample_audit.lines
    assert list(lines["source_row"]) == list(bom["source_row"])
    assert lines["line_id"].is_unique
    assert list(lines.columns) == list(glossary.LINES.names)
    assert (lines["reason"] != "").all()


def test_the_cost_walk_adds_up(sample_audit):
    lines = sample_audit.lines[sample_audit.lines["estimate"].notna()]
    walk = lines[[f"walk_{s}" for s in glossary.WALK_STEPS]].sum(axis=1)
    assert np.allclose(lines["booked_cost"] + walk, lines["estimate"], rtol=1e-9, atol=0)


def test_variance_shares_sum_to_one(sample_audit):
    lines = sample_audit.lines[sample_audit.lines["estimate"].notna()]
    assert np.allclose(lines[[f"var_{v}" for v in glossary.VARIANCE_PARTS]].sum(axis=1), 1.0)


def test_every_status_and_verdict_occurs_and_is_explained(sample_audit, sample_folder):
    from bomaudit.report import explain  # noqa: PLC0415  (what is tested)

    lines, decisions = sample_audit.lines, sample_audit.decided.decisions
    assert set(glossary.STATUSES) <= set(lines["status"])
    assert set(glossary.VERDICTS) == set(decisions["verdict"])
    for status in glossary.STATUSES:
        what = lines.loc[lines["status"] == status, "line_id"].iloc[0]
        assert status in str(explain.as_data(explain.explain(sample_audit, what)))
    for verdict in glossary.VERDICTS:
        what = decisions.loc[decisions["verdict"] == verdict, "decision"].iloc[0]
        assert explain.as_data(explain.explain(sample_audit, what))


def test_two_runs_write_the_same_bytes(sample_folder, tmp_path):
    """In two processes with other hash seeds, time zones and locales."""
    written = []
    for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo")):
        out = tmp_path / f"out{seed}"
        world = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": "C"}
        subprocess.run([*PROGRAM, "audit", str(sample_folder), "--out", str(out), "--quiet"], env=world, check=True)
        written.append(hashes(out))
    assert set(written[0]) == FILES
    assert written[0] == written[1]


def test_json_is_one_document_with_a_schema(sample_folder, tmp_path):
    done = run("audit", sample_folder, "--out", tmp_path / "out", "--json")
    assert done.exit_code == 0
    summary = json.loads(done.stdout)
    assert summary["schema"].startswith("bomaudit-summary/")
    assert summary == json.loads((tmp_path / "out" / "summary.json").read_text())


def test_failing_on_what_the_user_asked_for(sample_folder, tmp_path):
    assert run("audit", sample_folder, "--out", tmp_path / "o", "--quiet", "--fail-on", "reopen").exit_code == 1
    assert run("check", sample_folder, "--fail-on", "error").exit_code == 0


def test_an_override_reaches_the_report(sample_folder):
    done = run("explain", sample_folder, "dosing-pump", "--set", "decide.discount_rate=0.2")
    assert done.exit_code == 0
    assert "0.2" in done.stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ("audit", "no-such-folder", "--out", "out"),
        ("check", "no-such-folder"),
        ("explain", "SAMPLE", "no-such-thing"),
        ("check", "SAMPLE", "--set", "nonsense"),
    ],
)
def test_bad_input_is_a_clear_error_and_exit_status_2(arguments, sample_folder, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run(*(sample_folder if a == "SAMPLE" else a for a in arguments))
    assert done.exit_code == 2
    assert "bomaudit: " in done.stderr
    assert "Traceback" not in done.output
    assert not list(tmp_path.iterdir())


def test_demo_copies_a_sample_and_never_over_something(tmp_path):
    assert run("demo", tmp_path / "trial").exit_code == 0
    assert (tmp_path / "trial" / "audit.toml").is_file()
    again = run("demo", tmp_path / "trial")
    assert again.exit_code == 2
    assert "exists already" in again.stderr
    assert run("demo", tmp_path / "x", "--sample", "nothing").exit_code == 2


def test_a_part_moves_everything_it_goes_into(sample_audit):
    """One pump in one water system in one machine: all three move by the pump's own move."""
    from bomaudit.prepare.where_used import reach_of_part  # noqa: PLC0415  (what is tested)

    bom, lines = sample_audit.inputs.tables["bom"], sample_audit.lines
    reach = reach_of_part(bom, lines, "FS55-3101", scrap="divide", as_of=sample_audit.as_of).set_index("part_no")
    pump = lines.set_index("part_no").loc["FS55-3101"]
    assert reach.loc["FS55-0000", "cost_change"] == pytest.approx(pump["estimate"] - pump["booked_cost"])
    assert reach.loc["FS55-0000", "change_a_year"] == pytest.approx(-pump["exposure_per_year"])
    assert reach_of_part(bom, lines, "dosing-pump", scrap="divide", as_of=sample_audit.as_of).empty


def copy_that_keeps(tmp_path):
    from bomaudit.resources import data_folder  # noqa: PLC0415  (as the program finds it)

    folder = tmp_path / "kept"
    shutil.copytree(data_folder("sample_boms") / "pressure_washer_messy", folder)
    settings = folder / "audit.toml"
    settings.write_text(settings.read_text("utf-8").replace("keep = false", "keep = true"), "utf-8")
    return folder


def test_each_audit_is_kept_unless_told_otherwise(tmp_path):
    folder = copy_that_keeps(tmp_path)
    assert run("audit", folder, "--out", tmp_path / "out", "--no-keep").exit_code == 0
    assert not (folder / "history").exists()
    assert run("audit", folder, "--out", tmp_path / "out").exit_code == 0
    assert len(list((folder / "history").iterdir())) == 1


def test_a_folder_that_cannot_keep_it_is_said_and_ends_only_what_was_asked(tmp_path):
    folder = copy_that_keeps(tmp_path)
    (folder / "history").write_text("a file in the way", "utf-8")
    implied = run("audit", folder, "--out", tmp_path / "out")
    assert (implied.exit_code, "must be writable" in implied.stderr) == (0, True)
    asked = run("audit", folder, "--out", tmp_path / "out", "--keep")
    assert (asked.exit_code, "must be writable" in asked.stderr) == (2, True)
    assert (tmp_path / "out" / "report.html").exists()
