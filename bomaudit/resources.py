"""Where data are that travel with the package, and where what can be made again is kept between runs."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def data_folder(name: str) -> Path:
    """Folder of bundled data, in an installed wheel or in a checkout.

    Parameters
    ----------
    name : str
        ``"learning_curves"`` or ``"sample_boms"``.

    Returns
    -------
    Path
        Inside the package (wheel) or beside it (checkout, editable install).

    Raises
    ------
    FileNotFoundError
        If neither exists: the installation is incomplete.
    """
    for folder in (_PACKAGE / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"{name}/ is neither in {_PACKAGE} nor beside it; install bomaudit again")


def cache_folder() -> Path:
    """Folder for what can be made again, as the XDG base directory specification has it; it may not exist yet."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "bomaudit"


def keep(made: bytes, place: Path) -> None:
    """Keep a file for the next run, whole or not at all; where it cannot be written it is made again, no more."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=place.parent, delete=False) as file:
            file.write(made)
        Path(file.name).replace(place)
    except OSError:
        return
