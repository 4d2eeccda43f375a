"""Files out of a screening: rankings, decisions, findings and summary; the screened lines are there already."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from bomaudit.findings import Severity, to_frame
from bomaudit.provenance import versions
from bomaudit.report import words
from bomaudit.report.as_data import as_json, plain, records
from bomaudit.report.files import write_all, write_csv
from bomaudit.screen.run import no_room
from bomaudit.screen.schema import RANKING
from bomaudit.screen.state import FULL

if TYPE_CHECKING:
    from bomaudit.screen.run import Screened

RANKED = {
    "bom": "boms.csv", "commodity": "commodities.csv", "supplier": "suppliers.csv", "part": "parts.csv",
}  # fmt: skip
NAMES = (*RANKED.values(), "decisions.csv", "findings.csv", "summary.json")
SCHEMA = "bomaudit-screen/1"
MOST_PARTS = 10_000
"""Parts in the ranking; further ones have little at stake, and every line is in the folder of lines."""
_FIRST = 10


def write_screened(screened: Screened, out: Path) -> list[Path]:
    """Write the summary of a screening: all files or none.

    Parameters
    ----------
    screened : Screened
    out : Path
        Folder that holds the screened lines.

    Returns
    -------
    list of Path
        In the order of :data:`NAMES`.

    Raises
    ------
    BadInput
        ``N006`` if the disk is full.
    OSError
        If a file cannot be written for another reason; those of an earlier run still stand.
    """
    rankings = screened.summary.rankings
    frames = {file: rankings[by].head(MOST_PARTS) if by == "part" else rankings[by] for by, file in RANKED.items()}
    for by, file in RANKED.items():
        if by != "bom":
            frames[file] = frames[file].drop(columns=["decisions", "reopen", "reopen_npv"])
        if by != "part":
            frames[file] = frames[file].drop(columns="description")
    order = screened.reopen.sort_values(["npv", "bom", "decision"], ascending=[False, True, True], kind="stable")
    texts = dict.fromkeys(("bom", "decision", "title", "chosen", "switch_to", "verdict", "reason"), "str")
    frames |= {"decisions.csv": order.astype(texts), "findings.csv": to_frame(screened.findings)}

    def writer(name: str) -> Any:
        if name == "summary.json":
            return lambda path: path.write_text(as_json(as_data(screened)), encoding="utf-8")
        return lambda path: write_csv(frames[name], path)

    try:
        return write_all({name: writer(name) for name in NAMES}, out)
    except OSError as problem:
        if problem.errno in FULL:
            raise no_room(out, f"no room left to write {NAMES[-1]}") from None
        raise


def as_data(screened: Screened) -> dict[str, Any]:
    """Plain data of a screening: totals, the first of each ranking, decisions to re-open, what was passed over.

    Nothing in it depends on the engine, on when it ran or on what an earlier run had done already.
    """
    summary, plan = screened.summary, screened.plan
    severities = [f.severity for f in screened.findings]
    worth = screened.reopen[screened.reopen["verdict"].isin(["reopen", "review"])]
    worth = worth.sort_values(["npv", "bom", "decision"], ascending=[False, True, True], kind="stable")
    return {
        "schema": SCHEMA,
        "as_of": plan.as_of.isoformat(),
        "currency": plan.currency,
        "invented": any(d.invented for d in screened.done),
        "pieces": len(screened.done),
        "passed_over": [
            {"name": d.piece.name, "why": [str(f) for f in d.findings]} for d in screened.passed_over
        ],
        "totals": {k: plain(v) for k, v in summary.totals.items()},
        **{f"{file.removesuffix('.csv')}": records(summary.rankings[by].head(_FIRST), RANKING.names)
           for by, file in RANKED.items()},
        "decisions": records(worth.head(_FIRST), tuple(map(str, worth.columns))),
        "findings": {s.value: severities.count(s) for s in Severity},
        "partitions": {d.piece.name: f"lines/{d.piece.stem}.parquet" for d in screened.done if not d.passed_over},
        "caution": words.CAUTION,
        "settings": list(plan.overrides),
        "versions": versions(),
    }  # fmt: skip
