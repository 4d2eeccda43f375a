"""The history: whole or not there, never changed, whatever happens to the run that writes it."""

import errno
import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
from history_case import NEW_DAY, snapshot

from bomaudit.findings import BadInput
from bomaudit.history.snapshot import TABLES
from bomaudit.history.store import FOLDER, find_stored, list_audits, open_stored, store_snapshot, stored_names

MOMENT = datetime(2026, 7, 2, 8, 15, tzinfo=UTC)
MANY_RUNS = Path(__file__).with_name("many_runs.py")


def test_stored_audit_comes_back_as_it_was(tmp_path):
    said = snapshot()
    kept = store_snapshot(said, tmp_path, stored_at=MOMENT, files={"bom.csv": b"part_no\n"})
    back = open_stored(tmp_path, kept.name)
    assert (back.as_of, back.currency, back.settings, back.inputs) == (said.as_of, "EUR", said.settings, said.inputs)
    for name in TABLES:
        pd.testing.assert_frame_equal(back.tables[name], said.tables[name])
    assert back.input_files()["bom"].read_bytes() == b"part_no\n"
    again = back.rerun_settings()
    assert again is not None
    assert Path(again.files.bom).is_absolute()


def test_name_holds_the_content_and_not_the_moment(tmp_path):
    first = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    second = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT + timedelta(hours=1))
    other = store_snapshot(snapshot(NEW_DAY), tmp_path, stored_at=MOMENT)
    digests = [s.name.rsplit("_", 1)[1] for s in (first, second, other)]
    assert digests[0] == digests[1] != digests[2]


def test_two_audits_of_one_moment_are_both_kept(tmp_path):
    names = {store_snapshot(snapshot(), tmp_path, stored_at=MOMENT).name for _ in range(3)}
    assert len(names) == 3
    assert len(stored_names(tmp_path)) == 3


def test_an_audit_is_found_by_word_date_or_beginning(tmp_path):
    old = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT).name
    new = store_snapshot(snapshot(NEW_DAY), tmp_path, stored_at=MOMENT + timedelta(minutes=1)).name
    assert find_stored(tmp_path, "latest") == new
    assert find_stored(tmp_path, "previous") == old
    assert find_stored(tmp_path, "2026-03-31") == old
    assert find_stored(tmp_path, old[:20]) == old
    assert find_stored(tmp_path, new.rsplit("_", 1)[1][:8]) == new
    for wrong in ("2025-01-01", "2026", "nothing"):
        with pytest.raises(BadInput) as refused:
            find_stored(tmp_path, wrong)
        assert refused.value.findings[0].code == "H001"


def test_no_history_yet(tmp_path):
    assert list_audits(tmp_path).empty
    for which in ("latest", "previous"):
        with pytest.raises(BadInput, match="none are stored"):
            open_stored(tmp_path, which)


@pytest.mark.parametrize("name", ["manifest.json", "lines.parquet", "inputs/bom.csv"])
def test_changed_or_missing_file_is_noticed(tmp_path, name):
    kept = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT, files={"bom.csv": b"part_no\n"})
    path = kept.folder / name
    data = path.read_bytes()
    for spoilt in (data[:-2], data.replace(b"part_no", b"part_on").replace(b"sample", b"simple") + b" ", None):
        path.unlink() if spoilt is None else path.write_bytes(spoilt)
        if spoilt is None and name == "manifest.json":
            assert stored_names(tmp_path) == []
            continue
        with pytest.raises(BadInput) as refused:
            open_stored(tmp_path, kept.name)
        assert refused.value.findings[0].code == "H002"


def test_list_names_what_is_damaged(tmp_path):
    kept = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    store_snapshot(snapshot(NEW_DAY), tmp_path, stored_at=MOMENT)
    held = json.loads((kept.folder / "manifest.json").read_text())
    (kept.folder / "manifest.json").write_text(json.dumps(held | {"currency": "USD"}))
    listed = list_audits(tmp_path)
    assert (listed["problem"] != "").tolist() == [True, False]


def test_failed_write_leaves_nothing_behind(tmp_path, monkeypatch):
    store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    synced = iter(range(3))

    def full_disk(handle):
        if next(synced, None) is None:
            raise OSError(errno.ENOSPC, "no space left")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(OSError, match="no space left"):
        store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    assert [p.name for p in (tmp_path / FOLDER).iterdir()] == stored_names(tmp_path)
    assert len(stored_names(tmp_path)) == 1


def test_leftovers_are_swept_once_they_are_old(tmp_path):
    (tmp_path / FOLDER).mkdir()
    fresh, old = (tmp_path / FOLDER / f".incoming-{k}" for k in ("fresh", "old"))
    for path, age in ((fresh, 60), (old, 90_000)):
        path.mkdir()
        os.utime(path, (MOMENT.timestamp() - age,) * 2)
    store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    assert fresh.exists()
    assert not old.exists()


def many_runs(folder, what, many):
    """Names that the runs of many_runs.py announced."""
    (folder / FOLDER).mkdir()
    command = [sys.executable, MANY_RUNS, folder, what, str(many)]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=300).stdout.split()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")
def test_killed_at_any_moment_leaves_whole_audits_only(tmp_path):
    """Kill -9 at 50 random moments of runs that do nothing but store; every audit announced is there and whole."""
    names, unfinished = [], []
    for _ in range(5):  # 50 kills mostly hit some runs while they are writing; where none was hit, 50 more
        names += many_runs(tmp_path, "kill", 50)
        listed = list_audits(tmp_path)
        unfinished = [p for p in (tmp_path / FOLDER).iterdir() if p.name not in set(listed["name"])]
        if unfinished:
            break
    assert unfinished, "the kills must have hit runs while they were writing"
    assert all(p.name.startswith(".incoming-") for p in unfinished)
    assert len(names) >= 3
    assert set(names) <= set(listed["name"])
    assert (listed["problem"] == "").all()
    for name in listed["name"]:
        assert len(open_stored(tmp_path, name).tables["lines"]) == 5
    assert store_snapshot(snapshot(), tmp_path, stored_at=MOMENT).name in stored_names(tmp_path)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")
def test_eight_runs_at_once_are_eight_audits(tmp_path):
    names = many_runs(tmp_path, "together", 8)
    assert len(set(names)) == 8
    assert sorted(names) == stored_names(tmp_path)
    assert (list_audits(tmp_path)["problem"] == "").all()


def test_an_audit_that_is_not_there_is_refused_with_what_to_do(tmp_path):
    with pytest.raises(BadInput) as none:
        find_stored(tmp_path, "previous")
    assert "found none are stored; run 'bomaudit audit' on the folder" in str(none.value)
    name = store_snapshot(snapshot(), tmp_path, stored_at=MOMENT).name
    with pytest.raises(BadInput) as same:
        find_stored(tmp_path, "previous")
    assert f"found none of an earlier as-of date than {name[:10]}; latest, previous" in str(same.value)
