"""What a result was made from, and whether a folder still holds that: inputs, values given, settings, versions."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, Literal

from bomaudit.findings import BadInput, error
from bomaudit.resources import data_folder
from bomaudit.settings import Settings
from bomaudit.tables.places import input_label, locate_input

SUMMARY = "bomaudit-summary/1"
"""Layout of ``summary.json``; the number rises when a key changes its meaning or goes."""
PACKAGES = ("bomaudit", "pandas", "numpy", "scipy", "statsmodels", "pyarrow", "CurrencyConverter")
"""Packages that figures depend on."""
State = Literal["same", "changed", "missing", "new"]


@dataclass(frozen=True)
class Held:
    """One thing that a result was made from, then and now.

    Attributes
    ----------
    kind : str
        input, given (a value of the inputs for that run only), setting, library or version.
    name : str
    state : str
        same, changed, missing (was used, is not there) or new (is there, was not used).
    then, now : str
        Digest, value, or which of the values given it was; empty where there is none.
    """

    kind: str
    name: str
    state: State
    then: str
    now: str

    @property
    def counts(self) -> bool:
        """Whether it makes this folder another one than was audited; versions are told, but do not."""
        return self.state != "same" and self.kind != "version"


def library_hashes() -> dict[str, str]:
    """SHA-256 of each file of the library of learning curves, by name."""
    return {p.name: _sha256(p) for p in sorted(data_folder("learning_curves").glob("*.csv"))}


def versions() -> dict[str, str]:
    """Versions of the interpreter and of the packages that figures depend on."""
    return {"python": platform.python_version()} | {p: version(p) for p in PACKAGES}


def read_summary(path: Path) -> dict[str, Any]:
    """Read the ``summary.json`` of an audit.

    Raises
    ------
    BadInput
        ``P001`` if there is none, ``P002`` if it is none of ours, ``P003`` if another version wrote it.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError:
        raise BadInput(error("P001", "the summary to compare with must exist", file=str(path))) from None
    except (ValueError, RecursionError):
        data = None
    schema = data.get("schema") if isinstance(data, dict) else None
    if not isinstance(data, dict) or not str(schema).startswith(SUMMARY.split("/", maxsplit=1)[0]):
        raise BadInput(
            error("P002", "the summary must be a summary.json of an audit", file=str(path), found=repr(schema))
        )
    parts = ("inputs", "settings", "library", "versions")
    if schema != SUMMARY or not all(isinstance(data.get(part), dict) for part in parts):
        raise BadInput(
            error("P003", f"the summary must have the layout {SUMMARY}", file=str(path), found=str(schema),
                  advice="compare with the version of bomaudit that wrote it, or audit again")
        )  # fmt: skip
    return data


def given_inputs(summary: Mapping[str, Any]) -> list[str]:
    """List the values of the inputs that were given for the run of an audit, as they were given.

    Parameters
    ----------
    summary : mapping
        From :func:`read_summary`; ``given_for_this_run`` holds each as ``kind:name=value: what that means``, beside the
        settings of the run, whose name has no kind before it and which stand among ``settings`` too.
    """
    told = [str(text).partition("=") for text in summary.get("given_for_this_run") or ()]
    return [f"{name}={rest.partition(': ')[0]}" for name, _, rest in told if ":" in name]


def compare_with(
    summary: Mapping[str, Any], folder: Path, settings: Settings, given: Sequence[str] = ()
) -> tuple[Held, ...]:
    """Hold an audit folder against the summary of an audit; nothing is read but bytes.

    Parameters
    ----------
    summary : mapping
        From :func:`read_summary`.
    folder : Path
    settings : Settings
        Of the folder, with the overrides of this run.
    given : sequence of str
        Values of the inputs for this run, ``kind:name=value``; the order counts, one may rest on another.

    Returns
    -------
    tuple of Held
        Inputs, values given, settings, files of the library and versions, each in the order of its names.
    """
    digests = {k: str(v.get("sha256", "")) if isinstance(v, dict) else "" for k, v in summary["inputs"].items()}
    pairs = (
        ("input", digests, _input_hashes(folder, settings)),
        ("given", _in_turn(given_inputs(summary)), _in_turn(given)),
        ("setting", dict(_flat(summary["settings"])), dict(_flat(settings.model_dump(mode="json")))),
        ("library", summary["library"], library_hashes()),
        ("version", summary["versions"], versions()),
    )
    return tuple(
        Held(kind, name, _state(then, now, name), str(then.get(name, "")), str(now.get(name, "")))
        for kind, then, now in pairs for name in sorted({*then, *now})
    )  # fmt: skip


def _state(then: Mapping[str, str], now: Mapping[str, str], name: str) -> State:
    if name not in now:
        return "missing"
    if name not in then:
        return "new"
    return "same" if then[name] == now[name] else "changed"


def _in_turn(given: Sequence[str]) -> dict[str, str]:
    """Each value given, and which of them it was."""
    return {text: ", ".join(f"no. {k}" for k, t in enumerate(given, 1) if t == text) for text in given}


def _input_hashes(folder: Path, settings: Settings) -> dict[str, str]:
    found = {}
    for file in settings.files.model_dump().values():
        path = locate_input(folder, file)[0] if file else None
        if path is not None and path.is_file():
            found[input_label(file)] = _sha256(path)
    return found


def _flat(settings: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    for name, value in settings.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", json.dumps(value, ensure_ascii=False)


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
