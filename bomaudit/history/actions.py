"""Actions and how they stand, in a file that people edit and the program never overwrites.

``actions.csv`` in the audit folder: one row an action, newest last. It is made once, empty, if it is not there; what
the program would add is given as rows to paste, never written into it.

Findings: ``H020`` the file lacks a column, ``H021`` a state that is none, ``H022`` a rejection without a reason,
``H023`` a date that is none.
"""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

from bomaudit.edited import read_edited
from bomaudit.findings import Finding, error, warning

FILE = "actions.csv"
COLUMNS = ("about", "name", "state", "on", "by", "reason")
"""about: part or decision · name: its part number or short name · state: one of :data:`STATES` · on: the day ·
by: who · reason: why, needed for a rejection."""
STATES = ("open", "asked", "quoted", "re-opened", "closed", "rejected")
ABOUT = ("part", "decision")


def start_actions(folder: Path) -> Path:
    """Make an empty file of actions if there is none; one that is there is left alone, whoever made it meanwhile.

    Parameters
    ----------
    folder : Path
        The audit folder.

    Returns
    -------
    Path
    """
    path = folder / FILE
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
    except FileExistsError:
        return path
    with os.fdopen(handle, "w", encoding="utf-8", newline="") as out:
        out.write(",".join(COLUMNS) + "\n")
    return path


def read_actions(folder: Path) -> tuple[pd.DataFrame, list[Finding]]:
    """Actions as people left them.

    Parameters
    ----------
    folder : Path
        The audit folder; without a file there are no actions.

    Returns
    -------
    actions : DataFrame of str
        :data:`COLUMNS`, ``on`` as an ISO day, and ``row`` of the file; other columns are ignored.
    findings : list of Finding
    """
    path = folder / FILE
    empty = pd.DataFrame({c: pd.Series(dtype="str") for c in COLUMNS} | {"row": pd.Series(dtype="int64")})
    if not path.exists():
        return empty, []
    edited = read_edited(path.read_bytes())
    missing = [c for c in ("about", "name", "state") if c not in edited.header]
    if missing:
        return empty, [
            error("H020", "a file of actions must have its columns", file=FILE, found=f"no {', '.join(missing)}",
                  assumed="no actions are read; the file is left as it is", advice=f"the header is {','.join(COLUMNS)}")
        ]  # fmt: skip
    findings: list[Finding] = []
    kept = [[*_checked(cells, row, findings), row] for row, cells in edited.rows if cells.get("name")]
    frame = pd.DataFrame(kept, columns=[*COLUMNS, "row"])
    return frame.astype(dict.fromkeys(COLUMNS, "str") | {"row": "int64"}), findings


def state_of(actions: pd.DataFrame, *, about: str) -> pd.DataFrame:
    """Where each part or decision stands: its newest action, by day and then by place in the file.

    Parameters
    ----------
    actions : DataFrame
        From :func:`read_actions`.
    about : {"part", "decision"}

    Returns
    -------
    DataFrame, index name
        ``state``, ``on``, ``by``, ``reason``.
    """
    rows = actions[actions["about"] == about].sort_values(["on", "row"], kind="stable")
    return rows.drop_duplicates("name", keep="last").set_index("name")[["state", "on", "by", "reason"]]


def rows_to_add(actions: pd.DataFrame, *, requotes: pd.DataFrame, decisions: pd.DataFrame) -> pd.DataFrame:
    """Actions that an audit calls for and the file does not hold yet, as rows to paste into it.

    Parameters
    ----------
    actions : DataFrame
        From :func:`read_actions`.
    requotes : DataFrame, columns of glossary ``REQUOTES``
    decisions : DataFrame, columns of glossary ``DECISIONS_OUT``

    Returns
    -------
    DataFrame, columns :data:`COLUMNS`
        Parts to ask for, best first, then decisions to re-open or review. What has a row already, rejected ones too, is
        left to those who wrote it.
    """
    known = {about: set(actions.loc[actions["about"] == about, "name"]) for about in ABOUT}
    ask = requotes[~requotes["part_no"].isin(known["part"])]
    acted = decisions[decisions["verdict"].isin(["reopen", "review"]) & ~decisions["decision"].isin(known["decision"])]
    rows = [("part", p, "open", "", "", r) for p, r in zip(ask["part_no"], ask["reason"], strict=True)]
    rows += [("decision", d, "open", "", "", r) for d, r in zip(acted["decision"], acted["reason"], strict=True)]
    return pd.DataFrame(rows, columns=list(COLUMNS), dtype="str")


def _checked(cells: dict[str, str], number: int, findings: list[Finding]) -> list[str]:
    about, state = cells.get("about", "").lower(), cells.get("state", "").lower().replace("reopened", "re-opened")
    if about not in ABOUT:
        findings.append(
            warning("H021", f"about must be {' or '.join(ABOUT)}", file=FILE, row=number, column="about",
                    found=repr(cells.get("about", "")), assumed="the row is ignored")
        )  # fmt: skip
    if state not in STATES:
        findings.append(
            warning("H021", f"state must be one of {', '.join(STATES)}", file=FILE, row=number, column="state",
                    found=repr(cells.get("state", "")), assumed="shown as it is, it counts as open")
        )  # fmt: skip
    if state == "rejected" and not cells.get("reason"):
        findings.append(
            warning("H022", "a rejection needs a reason", file=FILE, row=number, column="reason", found=cells["name"],
                    assumed="taken as rejected", advice="write down why, for those who look next quarter")
        )  # fmt: skip
    day = _day(cells.get("on", ""))
    if cells.get("on") and not day:
        findings.append(
            warning("H023", "on must be a day", file=FILE, row=number, column="on", found=repr(cells["on"]),
                    assumed="the action counts as the oldest", advice="write it as 2026-06-30")
        )  # fmt: skip
    return [about, cells["name"], state, day, cells.get("by", ""), cells.get("reason", "")]


def _day(text: str) -> str:
    """ISO day of 2026-06-30, 30.06.2026 or 30/06/2026 (day first); empty where it is none of these."""
    for layout in ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y"):
        day = pd.to_datetime(text, format=layout, errors="coerce")
        if pd.notna(day):
            return str(day.date().isoformat())
    return ""
