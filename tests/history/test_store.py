"""The history: whole or not there, never changed, whatever happens to the run that writes it."""

import json
import multiprocessing
import os
import signal
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from history_case import NEW_DAY, snapshot

from bomaudit.findings import BadInput
from bomaudit.history.snapshot import TABLES
from bomaudit.history.store import FOLDER, find_stored, list_audits, open_stored, store_snapshot, stored_names

MOMENT = datetime(2026, 7, 2, 8, 15, tzinfo=UTC)


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


def test_failed_write_leaves_nothing_behind(tmp_path):
    store_snapshot(snapshot(), tmp_path, stored_at=MOMENT)
    with pytest.raises(TypeError):
        store_snapshot(snapshot(), tmp_path, stored_at=MOMENT, files={"bom.csv": "text is not bytes"})
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


CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["history_case", "pandas", "pyarrow.parquet", "bomaudit.history.store"])


def store_again_and_again(folder, times, announced):
    """Store the same audit many times; each name is appended to a file once it is stored."""
    handle = os.open(announced, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    said, files = snapshot(), {"bom.csv": b"part_no\nA-1\n" * 20_000}
    said.tables["lines"].to_parquet(os.devnull)  # what is imported on first use is loaded before the clock starts
    os.write(handle, b"ready\n")
    for _ in range(times):
        name = store_snapshot(said, folder, stored_at=datetime.now(UTC), files=files).name
        os.write(handle, f"{name}\n".encode())


def test_killed_at_any_moment_leaves_whole_audits_only(tmp_path):
    """Kill -9 at 50 random moments of runs that do nothing but store; every audit announced is there and whole."""
    folder, announced = tmp_path / "audit", tmp_path / "announced"
    (folder / FOLDER).mkdir(parents=True)
    for moment in np.random.default_rng(7).uniform(0.0, 0.15, 50):
        run = CONTEXT.Process(target=store_again_and_again, args=(folder, 10_000, announced))
        before = announced.read_text().count("ready") if announced.exists() else 0
        run.start()
        while not announced.exists() or announced.read_text().count("ready") == before:
            time.sleep(0.005)
        time.sleep(moment)
        run.kill()
        run.join()
        assert run.exitcode == -signal.SIGKILL
    names = announced.read_text().replace("ready\n", "").split()
    listed = list_audits(folder)
    unfinished = [p for p in (folder / FOLDER).iterdir() if p.name not in set(listed["name"])]
    assert len(unfinished) >= 5, "the kills must have hit runs while they were writing"
    assert all(p.name.startswith(".incoming-") for p in unfinished)
    assert set(names) <= set(listed["name"])
    assert (listed["problem"] == "").all()
    for name in listed["name"]:
        assert len(open_stored(folder, name).tables["lines"]) == 5
    assert store_snapshot(snapshot(), folder, stored_at=MOMENT).name in stored_names(folder)


def test_eight_runs_at_once_are_eight_audits(tmp_path):
    announced = tmp_path / "announced"
    runs = [CONTEXT.Process(target=store_again_and_again, args=(tmp_path, 1, announced)) for _ in range(8)]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    assert [run.exitcode for run in runs] == [0] * 8
    names = announced.read_text().replace("ready\n", "").split()
    assert len(set(names)) == 8
    assert sorted(names) == stored_names(tmp_path)
    assert (list_audits(tmp_path)["problem"] == "").all()
