"""A result says what it was made from, and a folder can be held against it; files of other versions are told apart."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from typer.testing import CliRunner

from bomaudit import settings as settings_
from bomaudit.cli import app
from bomaudit.findings import BadInput
from bomaudit.history.snapshot import as_json, snapshot_of
from bomaudit.history.store import MANIFEST, _sha256, list_audits, open_stored, store_snapshot
from bomaudit.provenance import compare_with, library_hashes, read_summary
from bomaudit.report.as_data import LAYOUTS
from bomaudit.report.files import NAMES, write


@pytest.fixture(scope="module")
def out(sample_audit, tmp_path_factory):
    folder = tmp_path_factory.mktemp("provenance") / "out"
    write(sample_audit, folder)
    return folder


@pytest.fixture
def folder(sample_folder, tmp_path):
    return Path(shutil.copytree(sample_folder, tmp_path / "audit"))


def check(folder, out, *more):
    done = CliRunner().invoke(app, ["check", str(folder), "--against", str(out / "summary.json"), "--json", *more])
    return done.exit_code, json.loads(done.stdout)


def test_the_same_folder_is_what_was_audited(folder, out):
    status, said = check(folder, out)
    assert (status, said["same_as_audited"], said["differs"]) == (0, True, [])
    assert {h["name"] for h in said["inputs"]} == {
        "bom.xlsx",
        "decisions.xlsx",
        "input_prices.csv",
        "quotes.csv",
        "standards.csv",
        "volumes.csv",
    }


@pytest.mark.parametrize("kind", ["changed", "missing", "new"])
def test_an_input_that_changed_went_or_came_is_named(folder, out, kind):
    settings = folder / "audit.toml"
    if kind == "changed":
        (folder / "quotes.csv").write_bytes((folder / "quotes.csv").read_bytes() + b"\n")
    elif kind == "missing":
        (folder / "quotes.csv").unlink()
    else:
        (folder / "fx.csv").write_text("date,currency,per_base\n2020-01-01,USD,1.1\n")
        settings.write_text(settings.read_text().replace("[files]", '[files]\nfx = "fx.csv"'))
    status, said = check(folder, out)
    found = {h["name"]: h["state"] for h in said["inputs"] if h["state"] != "same"}
    assert (status, found) == (1, {"fx.csv" if kind == "new" else "quotes.csv": kind})


def test_a_setting_that_differs_is_named(folder, out):
    status, said = check(folder, out, "--set", "audit.confidence=0.9")
    (held,) = said["differs"]
    assert (status, held["kind"], held["name"], held["then"], held["now"]) == (
        1,
        "setting",
        "audit.confidence",
        "0.8",
        "0.9",
    )


GIVEN = ("price:FS55-1101=60 EUR", "decision:battery.years_left=16")


@pytest.fixture(scope="module")
def what_if(sample_folder, tmp_path_factory):
    """Result of an audit that was given two inputs and a setting for its run only."""
    out = tmp_path_factory.mktemp("what_if") / "out"
    sets = [t for given in (*GIVEN, "audit.title=x: y") for t in ("--set", given)]
    done = CliRunner().invoke(app, ["audit", str(sample_folder), "--out", str(out), "--no-keep", "--quiet", *sets])
    assert done.exit_code == 0, done.output
    return out


def sets_of(*given):
    return [t for text in given for t in ("--set", text)]


def test_inputs_given_for_the_run_of_an_audit_are_told_and_count(folder, what_if):
    status, said = check(folder, what_if, "--set", "audit.title=x: y")
    assert (status, said["same_as_audited"], said["same_files"]) == (1, False, True)
    assert [(h["name"], h["state"]) for h in said["given"]] == [(t, "missing") for t in sorted(GIVEN)]
    assert [h["then"] for h in said["given"]] == ["no. 2", "no. 1"], "one may rest on another"
    assert [h["name"] for h in said["differs"]] == sorted(GIVEN)


def test_the_same_given_again_is_what_was_audited(folder, what_if):
    again = ["--set", "audit.title=x: y", *sets_of(*GIVEN)]
    status, said = check(folder, what_if, *again)
    assert (status, said["same_as_audited"], said["differs"]) == (0, True, [])
    (folder / "quotes.csv").unlink()
    status, said = check(folder, what_if, *again)
    assert (status, said["same_files"], said["differs"]) == (1, False, [])


@pytest.mark.parametrize(
    ("given", "states"),
    [
        ((GIVEN[0], "decision:battery.years_left=17"), ["missing", "new", "same"]),
        ((GIVEN[1], GIVEN[0]), ["changed", "changed"]),
        ((*GIVEN, GIVEN[1]), ["changed", "same"]),
    ],
    ids=["another value", "another order", "twice"],
)
def test_given_otherwise_is_another_run(folder, what_if, given, states):
    status, said = check(folder, what_if, "--set", "audit.title=x: y", *sets_of(*given))
    assert (status, [h["state"] for h in said["given"]]) == (1, states)


def test_an_input_given_only_now_is_new(folder, out):
    status, said = check(folder, out, "--set", GIVEN[0])
    assert (status, [(h["name"], h["state"]) for h in said["differs"]]) == (1, [(GIVEN[0], "new")])


def test_inputs_given_are_told_on_the_terminal(folder, what_if):
    same = ["--set", "audit.title=x: y"]
    done = CliRunner().invoke(app, ["check", str(folder), "--against", str(what_if / "summary.json"), *same])
    words = " ".join(done.output.split())
    assert done.exit_code == 1
    assert "The files are those that the audit read." in words
    assert "given for that run only" in words
    assert all(f"missing given {text}" in words for text in GIVEN)


def test_a_reconciliation_says_in_its_files_what_was_given(folder, tmp_path):
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["reconcile", str(folder), "--out", str(out), "--quiet", "--set", GIVEN[0]])
    assert done.exit_code == 0, done.output
    findings = pd.read_csv(out / "findings.csv")
    assert findings.loc[findings["code"] == "S013", "found"].tolist() == [GIVEN[0]]
    assert GIVEN[0] in json.loads((out / "reconcile.json").read_text())["cautions"][0]


def test_the_library_counts_and_versions_are_told(folder, out):
    summary = json.loads((out / "summary.json").read_text())
    assert summary["library"] == library_hashes()
    assert summary["seed"] == summary["settings"]["decide"]["seed"]
    summary["library"]["curves.csv"] = "0" * 64
    summary["versions"]["pandas"] = "0.1"
    settings = settings_.load(folder / "audit.toml")
    held = [h for h in compare_with(summary, folder, settings) if h.state != "same"]
    assert [(h.kind, h.name, h.counts) for h in held] == [("library", "curves.csv", True), ("version", "pandas", False)]


def test_on_the_terminal(folder, out):
    (folder / "quotes.csv").unlink()
    done = CliRunner().invoke(app, ["check", str(folder), "--against", str(out / "summary.json")])
    assert done.exit_code == 1
    assert "Not what was audited" in done.output
    assert "missing  input quotes.csv" in done.output


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (None, "P001"),
        ("{", "P002"),
        ("[]", "P002"),
        ('{"schema": "other/1"}', "P002"),
        ("[" * 100_000, "P002"),
        ('{"schema": "bomaudit-summary/2"}', "P003"),
        ('{"schema": "bomaudit-summary/1", "inputs": 3}', "P003"),
    ],
)
def test_a_summary_that_is_none_of_ours_or_of_another_version(tmp_path, text, code):
    path = tmp_path / "summary.json"
    if text is not None:
        path.write_text(text)
    with pytest.raises(BadInput) as refused:
        read_summary(path)
    assert refused.value.findings[0].code == code


def test_every_file_out_has_the_version_of_its_layout(out):
    assert tuple(LAYOUTS) == NAMES
    assert json.loads((out / "summary.json").read_text())["files"] == LAYOUTS
    assert pd.read_parquet(out / "lines.parquet").attrs["schema"] == LAYOUTS["lines.parquet"]
    assert f'<meta name="schema" content="{LAYOUTS["report.html"]}">' in (out / "report.html").read_text()
    book = openpyxl.load_workbook(out / "report.xlsx")
    assert {p.name: p.value for p in book.custom_doc_props.props}["schema"] == LAYOUTS["report.xlsx"]


def test_every_figure_of_a_line_traces_to_its_cell(sample_audit):
    lines = sample_audit.lines
    assert (lines["source_file"] == "bom.xlsx").all()
    sheet = openpyxl.load_workbook(sample_audit.inputs.folder / "bom.xlsx")[lines["source_sheet"].iloc[0]]
    mapping = sample_audit.inputs.mapping.query("table == 'bom'").set_index("canonical")["column"]
    for line in lines[lines["row_kind"] == "part"].iloc[::17].to_dict("records"):
        row = line["source_row"]
        assert str(sheet[f"{mapping['part_no']}{row}"].value) == line["part_no"]
        per = sheet[f"{mapping['price_per']}{row}"].value if "price_per" in mapping else 1
        assert float(sheet[f"{mapping['unit_cost']}{row}"].value) / float(per or 1) == pytest.approx(
            line["booked_price"]
        )


# ---------------------------------------------------------------- other versions


def test_settings_without_a_layout_open_and_newer_ones_are_told(folder):
    text = (folder / "audit.toml").read_text()
    assert "layout" not in text, "a folder from before layouts had numbers"
    assert settings_.load(folder / "audit.toml").layout == settings_.LAYOUT
    (folder / "audit.toml").write_text(f"layout = {settings_.LAYOUT + 1}\n" + text + "\n[something_new]\nx = 1\n")
    with pytest.raises(BadInput) as refused:
        settings_.load(folder / "audit.toml")
    assert [f.code for f in refused.value.findings] == ["S016"]
    done = CliRunner().invoke(app, ["check", str(folder)])
    assert (done.exit_code, "install a newer version" in done.output) == (2, True)


def test_a_stored_audit_of_another_layout_is_told_apart_from_a_damaged_one(sample_audit, tmp_path):
    stored = store_snapshot(snapshot_of(sample_audit), tmp_path, stored_at=datetime(2026, 7, 1, tzinfo=UTC))
    path = tmp_path / "history" / stored.name / MANIFEST
    held = json.loads(path.read_text()) | {"schema": "bomaudit-history/0"}
    digest = _sha256(as_json({k: v for k, v in held.items() if k not in ("digest", "stored_at")}))
    path.write_bytes(as_json(held | {"digest": digest}))
    with pytest.raises(BadInput) as refused:
        open_stored(tmp_path, "latest")
    assert refused.value.findings[0].code == "H004"
    assert "audit its inputs/ again" in str(refused.value)
    assert "H00" not in str(list_audits(tmp_path)["problem"].iloc[0])
    assert "layout" in str(list_audits(tmp_path)["problem"].iloc[0])
