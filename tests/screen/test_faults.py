"""Drills: a worker is killed, the scheduler is lost, the disk is full, one partition among many is corrupt."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pyarrow as pa
import pytest
from screen_case import hashes, make_dataset, plan_of, run, write_dataset, write_quotes

from bomaudit.findings import BadInput
from bomaudit.screen import engines, state, tasks
from bomaudit.screen.run import screen

pytestmark = pytest.mark.filterwarnings("ignore:Creating scratch directories")  # on a slow disk Dask says so


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """A dataset, its plan, and the hashes of an undisturbed result."""
    folder = tmp_path_factory.mktemp("case")
    write_dataset(make_dataset(), folder / "lines", 6)
    plan = plan_of(tables={"quotes": write_quotes(folder)})
    run([folder / "lines"], folder / "out", plan=plan)
    return [folder / "lines"], plan, hashes(folder / "out")


def _die_once(work, marker, piece, shared):
    """Kill the process that does the first piece to come, in the middle of it."""
    try:
        marker.touch(exist_ok=False)
    except FileExistsError:
        return work(piece, shared)
    work(piece, shared)
    os.kill(os.getpid(), signal.SIGKILL)
    return None


def test_a_killed_worker_changes_nothing(case, tmp_path):
    """Of a cluster with one worker, so that what all share is lost with it."""
    pytest.importorskip("distributed")
    paths, plan, expected = case
    with engines.engine(workers=1) as chosen:

        def deadly(work, pieces, shared):
            return chosen(partial(_die_once, work, tmp_path / f"died-{work.__name__}"), pieces, shared)

        result = run(paths, tmp_path / "out", plan=plan, engine=deadly)
    assert (tmp_path / "died-screen_piece").exists()
    assert result.complete
    assert hashes(tmp_path / "out") == expected


def _always_die(piece, shared):
    if "part-002" in piece.name:
        os.kill(os.getpid(), signal.SIGKILL)
    return state.Done(piece)


def test_a_piece_that_kills_every_worker_is_passed_over(tmp_path):
    """It is named; the rest is done."""
    distributed = pytest.importorskip("distributed")
    import dask  # noqa: PLC0415  (optional)

    folder = write_dataset(make_dataset(60), tmp_path / "lines", 4)
    pieces = [tasks.Piece(p.name, "partition", p) for p in sorted(folder.iterdir())]
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        done = sorted(engines.on_cluster(client, _always_die, pieces, None), key=lambda d: d.piece)
    assert [d.passed_over for d in done] == [False, False, True, False]
    assert "died" in str(done[2].findings[0])


def test_a_cluster_that_lost_all_its_workers_is_said(tmp_path):
    """Nothing waits for ever: what is done is kept, and the next run goes on."""
    distributed = pytest.importorskip("distributed")
    import dask  # noqa: PLC0415  (optional)

    folder = write_dataset(make_dataset(60), tmp_path / "lines", 2)
    pieces = [tasks.Piece(p.name, "partition", p) for p in sorted(folder.iterdir())]
    with (
        dask.config.set({"distributed.scheduler.no-workers-timeout": "1s"}),
        distributed.LocalCluster(n_workers=0, dashboard_address="127.0.0.1:0", silence_logs=50) as cluster,
        distributed.Client(cluster) as client,
        pytest.raises(BadInput, match="NoWorkerError"),
    ):
        list(engines.on_cluster(client, _always_die, pieces, None))


def _slowly(work, piece, shared):
    done = work(piece, shared)
    time.sleep(0.3)
    return done


def test_a_lost_scheduler_is_said_and_the_next_run_goes_on(case, tmp_path):
    """Stock scheduler and worker as processes of their own; the scheduler is killed when a piece is done."""
    pytest.importorskip("distributed")
    paths, plan, expected = case
    address = tmp_path / "scheduler.json"
    start = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    known = os.environ | {"PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": known}
    scheduler = subprocess.Popen([*start, "--scheduler-file", str(address), "--port", "0", "--no-dashboard"], **quiet)
    worker = None
    try:
        found = _address(address)
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", found, "--nthreads", "1", "--no-dashboard",
             "--no-nanny", "--death-timeout", "5"],
            **quiet,
        )  # fmt: skip
        seen = []

        def kill_it(progress):
            seen.append(progress)
            if progress.stage == "screening" and progress.done == 2:
                scheduler.kill()

        with (
            pytest.raises(BadInput, match="scheduler and its workers must be there"),
            engines.engine(scheduler=found) as chosen,
        ):
            screen(
                paths, plan, tmp_path / "out", tell=kill_it,
                engine=lambda work, pieces, shared: chosen(partial(_slowly, work), pieces, shared),
            )  # fmt: skip
    finally:
        for process in (scheduler, worker):
            if process is not None:
                process.kill()
                process.wait()
    again = run(paths, tmp_path / "out", plan=plan)
    assert 0 < sum(d.fresh for d in again.done) <= 4
    assert hashes(tmp_path / "out") == expected


def _address(path: Path) -> str:
    import json  # noqa: PLC0415  (one test)

    for _ in range(300):
        try:
            return json.loads(path.read_text())["address"]
        except (OSError, ValueError):
            time.sleep(0.1)
    raise AssertionError("the scheduler did not start")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no device that is always full")
def test_a_full_disk_is_said_and_earlier_results_stand(case, tmp_path, monkeypatch):
    """The system's own always-full device takes the place of a file while it is written."""
    paths, plan, expected = case
    out = tmp_path / "out"
    run(paths, out, plan=plan)
    monkeypatch.setattr(state, "open_out", lambda _path: pa.PythonFile(open("/dev/full", "wb", buffering=0)))  # noqa: SIM115, PTH123
    with pytest.raises(BadInput, match="room for the results"):
        screen(paths, plan_of(overrides=("audit.materiality=0.3",)), out)
    assert hashes(out) == expected
    monkeypatch.undo()
    run(paths, out, plan=plan)
    assert hashes(out) == expected


def test_one_corrupt_partition_among_a_thousand(tmp_path):
    """Named, the rest done, and the exit status says so; a thousand as forty, to be quick."""
    from typer.testing import CliRunner  # noqa: PLC0415  (one test)

    from bomaudit.cli import app  # noqa: PLC0415

    folder = write_dataset(make_dataset(), tmp_path / "lines", 40)
    victim = folder / "part-017.parquet"
    victim.write_bytes(victim.read_bytes()[:-200])
    arguments = ["screen", str(folder), "--out", str(tmp_path / "out"), "--as-of", "2026-06-30"]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 1
    assert "part-017.parquet" in done.output.replace("\n", "")
    assert len(list((tmp_path / "out" / "lines").iterdir())) == 39
    victim.unlink()
    assert CliRunner().invoke(app, arguments).exit_code == 0


def test_a_flipped_byte_is_found(tmp_path):
    """Damage inside a page, not only at the end: the reader says so or reads what is there, never crashes the run."""
    folder = write_dataset(make_dataset(), tmp_path / "lines", 2)
    victim = folder / "part-001.parquet"
    data = bytearray(victim.read_bytes())
    for k in range(400, 900):
        data[k] ^= 0xFF
    victim.write_bytes(bytes(data))
    result = run([folder], tmp_path / "out")
    assert [d.piece.path.name for d in result.passed_over] == ["part-001.parquet"]
