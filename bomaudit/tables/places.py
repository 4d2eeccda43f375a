"""Where the files lie that audit.toml names: in the audit folder, or wherever the user names them in full."""

from __future__ import annotations

from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath

from bomaudit.findings import BadInput, Finding, error, note


def locate_input(folder: Path, file: str) -> tuple[Path, list[Finding]]:
    """Find an input file.

    Parameters
    ----------
    folder : Path
        The audit folder.
    file : str
        As ``[files]`` of audit.toml names it.

    Returns
    -------
    path : Path
    findings : list of Finding
        ``S014`` where it is named in full and lies outside of the folder.

    Raises
    ------
    BadInput
        ``S015`` where a relative name leads out of the folder, by ``..``, a link, or a drive of another system: folders
        that come from others must not reach for files of ours.
    """
    path = folder / file
    inside = _within(path, folder)
    if Path(file).is_absolute():
        assumed = "" if inside else "read, because it is named in full"
        return path, [] if inside else [note("S014", "a file outside of the audit folder is used", file=file,
                                             assumed=assumed)]  # fmt: skip
    if not inside or any(_leads_out(kind(file)) for kind in (PurePosixPath, PureWindowsPath)):
        raise BadInput(
            error("S015", "a relative file name must stay in the audit folder", file="audit.toml", found=repr(file),
                  advice="copy the file into the folder, or name it in full if you trust this audit.toml")
        )  # fmt: skip
    return path, []


def input_label(file: str) -> str:
    """Name of an input file in results: as audit.toml has it within the folder, without its folders elsewhere."""
    return PurePath(file).name if Path(file).is_absolute() else PurePath(file).as_posix()


def _within(path: Path, folder: Path) -> bool:
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):  # a loop of links, or a null character in the name
        return False


def _leads_out(path: PurePath) -> bool:
    depth = 0
    for part in path.parts:
        depth += -1 if part == ".." else 1
        if depth < 0:
            return True
    return bool(path.anchor)
