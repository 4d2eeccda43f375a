"""How far a long stage is: told as work goes on, heard only by a terminal that shows it.

Telling changes no result and costs next to nothing where nobody listens. The listener belongs to the thread of control
that set it, so that two audits at once do not hear each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Listener = Callable[[str, int, int], None]
"""Takes the name of the stage, how many of its pieces are done and how many there are."""
_T = TypeVar("_T")
_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


@contextmanager
def heard(listener: Listener) -> Iterator[None]:
    """Let a listener hear what is told within.

    Parameters
    ----------
    listener : callable
    """
    before = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(before)


def told(stage: str, items: Iterable[_T], total: int, *, size: Callable[[_T], int] = lambda _: 1) -> Iterator[_T]:
    """Hand items on, telling before each how many are done.

    Parameters
    ----------
    stage : str
    items : iterable
    total : int
        Sum of the sizes of all items.
    size : callable, optional
        How much an item counts.

    Yields
    ------
    item
    """
    listener, done = _listener.get(), 0
    if listener is None:
        yield from items
        return
    for item in items:
        listener(stage, done, total)
        yield item
        done += size(item)
