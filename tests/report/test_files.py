"""Files out: all or none, the same bytes twice, nothing that a spreadsheet would run."""

from __future__ import annotations

import csv
import json

import pandas as pd
import pytest
from made_content import RISKY, made_content

from bomaudit.glossary import DECISIONS_OUT, LINES, REQUOTES
from bomaudit.report import content, files
from bomaudit.report.as_data import summarise
from bomaudit.report.content import redacted


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    out = tmp_path_factory.mktemp("report") / "out"
    files.write_content(made_content(30), out)
    return out


def test_every_file_is_there_and_holds_something(written):
    assert sorted(p.name for p in written.iterdir()) == sorted(files.NAMES)
    assert all(p.stat().st_size > 200 for p in written.iterdir())


def test_a_second_run_gives_the_same_bytes(written, tmp_path):
    files.write_content(made_content(30), tmp_path / "out")
    for name in files.NAMES:
        assert (tmp_path / "out" / name).read_bytes() == (written / name).read_bytes(), name


def test_tables_have_the_columns_of_the_glossary(written):
    for name, table in (("lines", LINES), ("decisions", DECISIONS_OUT), ("requotes", REQUOTES)):
        with (written / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            assert tuple(next(csv.reader(file))) == table.names


def test_figures_survive_the_trip_to_the_last_digit(written):
    lines = made_content(30).lines
    read = pd.read_csv(written / "lines.csv")
    for name in ("estimate", "walk_experience", "var_process", "booked_cost"):
        assert (read[name].dropna().to_numpy() == lines[name].dropna().to_numpy()).all()
    pd.testing.assert_frame_equal(pd.read_parquet(written / "lines.parquet"), lines)


def test_no_text_becomes_a_live_formula_in_a_csv_file(written):
    with (written / "lines.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[1]["description"] == "'" + RISKY
    texts = [c.name for c in LINES.columns if c.kind in ("text", "code")]
    assert not [r[t] for r in rows for t in texts if r[t][:1] in set("=+-@\t\r")]
    assert any(r["drift"].startswith("-") for r in rows), "numbers keep their sign"


def test_unknown_is_empty_and_flags_are_words(written):
    with (written / "lines.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[-1]["estimate"] == ""
    assert {r["safety_relevant"] for r in rows} == {"yes", "no"}


def test_summary_is_strict_json_with_a_versioned_layout(written):
    data = json.loads((written / "summary.json").read_text(encoding="utf-8"))
    assert data["schema"] == "bomaudit-summary/1"
    assert sum(data["verdicts"].values()) == len(data["decisions"]) == 5
    assert data["inputs"]["bom.xlsx"]["sha256"] == "ab" * 32
    assert data["versions"]["bomaudit"]


def test_a_summary_of_a_long_list_says_what_it_leaves_out(monkeypatch):
    whole = made_content(40)
    asked = len(whole.requotes)
    assert summarise(whole)["requotes_left_out"] == 0
    monkeypatch.setattr(content, "MOST_ROWS", 1)
    monkeypatch.setattr(content, "WHOLE", asked - 1)
    cut = summarise(whole)
    assert [r["rank"] for r in cut["requotes"]] == [1]
    assert cut["requotes_left_out"] == asked - 1 > 0


def test_a_failure_leaves_the_earlier_report_untouched(tmp_path):
    out = tmp_path / "out"
    files.write_all({"a.txt": lambda p: p.write_text("good"), "b.txt": lambda p: p.write_text("good")}, out)

    def fails(path):
        path.write_text("half")
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        files.write_all({"a.txt": lambda p: p.write_text("new"), "b.txt": fails}, out)
    assert {p.name: p.read_text() for p in out.iterdir()} == {"a.txt": "good", "b.txt": "good"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"], "no temporary folder is left"


def test_a_failure_while_moving_puts_the_earlier_files_back(tmp_path):
    out = tmp_path / "out"
    files.write_all({"a.txt": lambda p: p.write_text("good")}, out)
    with pytest.raises(FileNotFoundError, match=r"b\.txt"):
        files.write_all({"a.txt": lambda p: p.write_text("new"), "b.txt": lambda _: None}, out)
    assert (out / "a.txt").read_text() == "good"


def test_other_files_in_the_folder_are_left_alone(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("keep")
    files.write_all({"a.txt": lambda p: p.write_text("new")}, out)
    assert (out / "mine.txt").read_text() == "keep"


def test_a_client_copy_names_no_supplier_and_shows_no_quote(tmp_path):
    files.write_content(redacted(made_content(30)), tmp_path / "out")
    for name in ("lines.csv", "requotes.csv", "findings.csv", "report.html", "summary.json"):
        text = (tmp_path / "out" / name).read_text(encoding="utf-8")
        assert "Supplier A" not in text, name
        assert "Supplier B" not in text, name
        assert "firm quote of Supplier" not in text, name
        assert "at 4.10" not in text, name
    assert "names of suppliers (3)" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))["redacted"]
