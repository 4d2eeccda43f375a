"""The same bytes whichever engine and partitioning; Dask only where it is asked for."""

import subprocess
import sys

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from screen_case import all_lines, hashes, make_dataset, plan_of, run, write_book, write_dataset, write_quotes

from bomaudit.findings import BadInput
from bomaudit.screen.engines import engine, on_cluster

SUMMARY = ("boms.csv", "commodities.csv", "suppliers.csv", "parts.csv", "decisions.csv", "findings.csv")


pytestmark = pytest.mark.filterwarnings("ignore:Creating scratch directories")  # on a slow disk Dask says so


@pytest.fixture(scope="module")
def inputs(tmp_path_factory):
    """A dataset, a workbook, a bad file, and quotes."""
    folder = tmp_path_factory.mktemp("inputs")
    write_dataset(make_dataset(), folder / "lines", 5)
    (folder / "lines" / "part-003.parquet").write_bytes(b"PAR1 no")
    write_book(folder / "book.csv")
    paths = [folder / "lines", folder / "book.csv"]
    return paths, plan_of(tables={"quotes": write_quotes(folder)})


@pytest.fixture(scope="module")
def here(inputs, tmp_path_factory):
    """Hashes of the result in this process."""
    out = tmp_path_factory.mktemp("here") / "out"
    run(inputs[0], out, plan=inputs[1])
    return hashes(out)


def test_a_local_cluster_gives_the_same_bytes(inputs, here, tmp_path):
    pytest.importorskip("distributed")
    with engine(workers=2) as chosen:
        run(inputs[0], tmp_path / "out", plan=inputs[1], engine=chosen)
    assert hashes(tmp_path / "out") == here


def test_threads_of_a_cluster_give_the_same_bytes(inputs, here, tmp_path):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=3, processes=False, dashboard_address="127.0.0.1:0"
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        run(inputs[0], tmp_path / "out", plan=inputs[1], engine=lambda w, p, s: on_cluster(client, w, p, s))
    assert hashes(tmp_path / "out") == here


def test_a_scheduler_that_is_there_already_gives_the_same_bytes(inputs, here, tmp_path):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0") as cluster,
        engine(scheduler=cluster.scheduler_address) as chosen,
    ):
        run(inputs[0], tmp_path / "out", plan=inputs[1], engine=chosen)
    assert hashes(tmp_path / "out") == here


@settings(max_examples=4)
@given(partitions=st.integers(2, 12), seed=st.integers(0, 3), order=st.integers(0, 2))
def test_partitioning_changes_nothing(tmp_path_factory, partitions, seed, order):
    """One partition against many, and against lines in another order: the same summary, the same lines."""
    folder = tmp_path_factory.mktemp("split")
    frame = make_dataset(200, seed)
    mixed = frame if order == 0 else frame.sample(frac=1, random_state=order)
    plan = plan_of(tables={"quotes": write_quotes(folder)})
    write_dataset(frame, folder / "one", 1)
    write_dataset(mixed, folder / "many", partitions)
    for name in ("one", "many"):
        run([folder / name], folder / f"{name}_out", plan=plan)
    for name in SUMMARY:
        assert (folder / "one_out" / name).read_bytes() == (folder / "many_out" / name).read_bytes(), name
    by = ["bom", "part_no", "row_kind", "qty_per", "annual_volume"]
    one, many = (
        all_lines(folder / f"{n}_out").drop(columns="line").sort_values(by, kind="stable", ignore_index=True)
        for n in ("one", "many")
    )
    pd.testing.assert_frame_equal(one, many, check_exact=True)


def test_without_dask_one_error_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BadInput, match=r"bomaudit\[screen\]"), engine(workers=2):
        pass


def test_dask_is_not_loaded_unless_asked_for(inputs, tmp_path):
    code = (
        "import sys; from pathlib import Path\n"
        "from typer.testing import CliRunner; from bomaudit.cli import app\n"
        f"done = CliRunner().invoke(app, ['screen', {str(inputs[0][1])!r}, '--out', {str(tmp_path / 'out')!r},"
        " '--as-of', '2026-06-30'])\n"
        "assert done.exit_code == 0, done.output\n"
        "print([m for m in ('dask', 'distributed') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_scheduler_that_is_not_there_is_said_clearly(monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("bomaudit.screen.engines._PATIENCE", 1)
    with (
        pytest.raises(BadInput, match="scheduler and its workers must be there"),
        engine(scheduler="tcp://127.0.0.1:9"),
    ):
        pass
