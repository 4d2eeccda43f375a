"""Where the tasks run: in this process, on all processors, or on a cluster that is there already.

The two latter are Dask's distributed scheduler, its own local cluster included. What all tasks share goes to a worker
once; a worker that dies is replaced and its tasks are run again by the scheduler.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from bomaudit.findings import BadInput, error
from bomaudit.screen.sources import Piece
from bomaudit.screen.state import Done

Work = Callable[[Piece, Any], Done]
Engine = Callable[[Work, list[Piece], Any], Iterator[Done]]
"""Runs some work over pieces, with something that all share, and yields what became of each, in any order."""

_PATIENCE = 30  # seconds to find a scheduler; then the address is wrong
_WITHOUT_WORKERS = "120s"  # that a cluster of our own may be without any: a worker that died is back sooner, if at all
_NO_WARNING = "1GiB"  # the curves travel with the graph, so that a new worker can get them again

_NO_PORT = "127.0.0.1:0"  # of the scheduler's own web server: any that is free, and for this machine only


def in_process(work: Work, pieces: list[Piece], shared: Any) -> Iterator[Done]:
    """Run one piece after the other here."""
    for piece in pieces:
        yield work(piece, shared)


@contextmanager
def engine(*, workers: int = 0, scheduler: str = "") -> Iterator[Engine]:
    """Start an engine and stop what was started.

    Parameters
    ----------
    workers : int
        Processes on this machine; 0: none but this one.
    scheduler : str
        Address of a Dask scheduler; "": none.

    Yields
    ------
    Engine

    Raises
    ------
    BadInput
        ``N010`` where Dask is not installed, ``N011`` where the scheduler cannot be reached or is lost.
    """
    if not workers and not scheduler:
        yield in_process
        return
    _needs_dask()
    import dask  # noqa: PLC0415  (an optional dependency)
    from distributed import Client, LocalCluster  # noqa: PLC0415

    with (
        dask.config.set(
            {
                "distributed.admin.large-graph-warning-threshold": _NO_WARNING,
                "distributed.scheduler.no-workers-timeout": _WITHOUT_WORKERS,
            }
        ),
        contextlib.ExitStack() as stack,
    ):
        target: Any = scheduler
        if not scheduler:
            target = stack.enter_context(
                LocalCluster(
                    n_workers=workers, threads_per_worker=1, dashboard_address=_NO_PORT, silence_logs="CRITICAL"
                )
            )
        try:
            client = stack.enter_context(Client(target, timeout=_PATIENCE))
        except (OSError, TimeoutError, ValueError) as problem:
            raise _lost(scheduler, str(problem)) from None
        yield lambda work, pieces, shared: on_cluster(client, work, pieces, shared)


def _needs_dask() -> None:
    try:
        import distributed  # noqa: F401, PLC0415  (whether it is there)
    except ImportError:
        raise BadInput(
            error("N010", "screening on several processors or a cluster needs Dask", found="not installed",
                  advice="pip install 'bomaudit[screen]', or leave out --workers and --scheduler")
        ) from None  # fmt: skip


def _lost(address: str, why: str) -> BadInput:
    return BadInput(
        error("N011", "the scheduler and its workers must be there until the screening is done",
              found=f"{address} {why}".strip(), assumed="what is done so far is kept",
              advice="start it again and repeat the command: the rest is done")
    )  # fmt: skip


def on_cluster(client: Any, work: Work, pieces: list[Piece], shared: Any) -> Iterator[Done]:
    """Run work on a Dask client.

    Parameters
    ----------
    client : distributed.Client
    work, pieces, shared
        As :data:`Engine`.

    Yields
    ------
    Done

    Raises
    ------
    BadInput
        ``N011`` if the scheduler is lost, or all workers and none comes back.
    DiskFull
        As a task raised it; the others are cancelled.
    """
    from distributed import CancelledError, as_completed  # noqa: PLC0415
    from distributed.scheduler import KilledWorker, NoWorkerError  # noqa: PLC0415

    carried = client.submit(_carry, shared, pure=False)
    futures = client.map(work, pieces, shared=carried, pure=False)
    of = {future.key: piece for future, piece in zip(futures, pieces, strict=True)}
    suspects = []
    try:
        for future in as_completed(futures):
            try:
                yield future.result()
            except KilledWorker:
                suspects.append(of[future.key])
            future.release()
        for piece in sorted(suspects):
            yield _alone(client, work, piece, carried)
    except (CancelledError, NoWorkerError, OSError) as problem:
        raise _lost(str(getattr(client.scheduler, "address", "")), type(problem).__name__) from None
    finally:
        with contextlib.suppress(Exception):
            client.cancel(futures)


def _alone(client: Any, work: Work, piece: Piece, carried: Any) -> Done:
    """Try a piece again by itself: what waited on a worker when another piece killed it is under suspicion too."""
    from distributed.scheduler import KilledWorker  # noqa: PLC0415

    try:
        done: Done = client.submit(work, piece, shared=carried, pure=False).result()
    except KilledWorker as problem:
        return _killed(piece, problem)
    return done


def _carry(shared: Any) -> Any:
    """Give what all tasks share: as a task of its own it can be run again where its result was lost."""
    return shared


def _killed(piece: Piece, problem: Exception) -> Done:
    told = error("N008", "a worker must survive a piece", file=piece.name,
                 found=f"several died on it: {type(problem).__name__}",
                 assumed="passed over", advice="give the workers more memory, or split the file")  # fmt: skip
    return Done(piece, findings=(told,), passed_over=True)
