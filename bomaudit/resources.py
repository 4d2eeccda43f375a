"""Where the data that travel with the package are: learning curves and sample audits."""

from __future__ import annotations

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
