"""Draws kept between runs: the same for the same seed, and the library that makes them is slow to load."""

from __future__ import annotations

from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

import numpy as np

from bomaudit.decide import draws as made_by
from bomaudit.decide.draws import Draws, normal_scores
from bomaudit.resources import cache_folder, keep

_LARGEST = 8 << 20
"""Draws of more bytes are made anew: then making them takes longer than loading the library."""
_MOST_KEPT = 16
"""Files kept, the newest: a folder's audits need two or three, and all together stay below 128 MB."""
_DIGEST = sha256().digest_size
_SINGLE = np.dtype("<f4")


def kept_scores(columns: int, *, draws: int, seed: int) -> Draws:
    """Normal scores in single precision, read where an earlier run kept them.

    Parameters
    ----------
    columns, draws, seed : int
        As of :func:`bomaudit.decide.draws.normal_scores`, which they are the same as to the last bit.

    Returns
    -------
    array of float32, shape (columns, draws)
        Not to be written to.
    """
    size = columns * draws * _SINGLE.itemsize
    if size > _LARGEST:
        return normal_scores(columns, draws=draws, seed=seed).astype(_SINGLE)
    place = cache_folder() / f"draws-{columns}-{draws}-{seed}-{_edition()}"
    found = _read(place, size)
    if found is None:
        found = normal_scores(columns, draws=draws, seed=seed).astype(_SINGLE).tobytes()
        keep(sha256(found).digest() + found, place)
        _forget(place.parent)
    return np.frombuffer(found, dtype=_SINGLE).reshape(columns, draws)


def _edition() -> str:
    """What made them: this program's own lines and the libraries' versions."""
    lines = Path(made_by.__file__).read_bytes()
    return sha256(lines + f"{version('scipy')} {version('numpy')}".encode()).hexdigest()[:12]


def _read(place: Path, size: int) -> bytes | None:
    """Draws as kept; None where there are none, or not whole."""
    try:
        held = place.read_bytes()
    except OSError:
        return None
    digest, found = held[:_DIGEST], held[_DIGEST:]
    return found if len(found) == size and sha256(found).digest() == digest else None


def _forget(folder: Path) -> None:
    """Remove the oldest beyond the number that is kept."""
    try:
        for old in sorted(folder.glob("draws-*"), key=lambda p: p.stat().st_mtime, reverse=True)[_MOST_KEPT:]:
            old.unlink(missing_ok=True)
    except OSError:
        return
