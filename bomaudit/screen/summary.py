"""Sums of all pieces → rankings by BOM, commodity, supplier and part, totals, and what was assumed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import compute, parquet

from bomaudit.findings import Finding, warning
from bomaudit.prepare.lines import CREDIT
from bomaudit.screen.schema import AMOUNTS, COUNTS, GROUPS, RANKING
from bomaudit.screen.sums import TICKS_PER_UNIT, merge

WORTH_IT = ("reopen", "review")
_OPEN = ("no qty_per", "no annual_volume", "no currency")


@dataclass(frozen=True)
class Summary:
    """What all lines come to.

    Attributes
    ----------
    rankings : dict of str to DataFrame
        By "bom", "commodity", "supplier" and "part"; columns of table ``ranking``, most money at stake first.
    totals : dict of str to int or float
        Counts, and sums in the currency of the screening.
    findings : tuple of Finding
        What was assumed of how many lines.
    """

    rankings: dict[str, pd.DataFrame]
    totals: dict[str, int | float]
    findings: tuple[Finding, ...]


def sum_up(paths: Iterable[Path], reopen: pd.DataFrame) -> Summary:
    """Add up the sums of all pieces.

    Parameters
    ----------
    paths : iterable of Path
        Their files.
    reopen : DataFrame, columns of table ``reopen``

    Returns
    -------
    Summary
    """
    whole = merge(parquet.read_table(p) for p in paths)
    by = {name: _of(whole, name) for name in (*GROUPS, "why_not", "basis", "commodity_basis", "assumed")}
    rankings = {name: _ranked(_one_a_part(by[name]) if name == "part" else by[name], reopen) for name in GROUPS}
    totals = {c: int(by["bom"][c].sum()) for c in COUNTS}
    money = {a: int(by["bom"][a].sum()) / TICKS_PER_UNIT for a in AMOUNTS}
    named = {f"{a}_per_year": v for a, v in money.items()} | {k: len(rankings[k]) for k in GROUPS}
    worth = reopen[reopen["verdict"].isin(WORTH_IT)]
    decisions = {
        "decisions": len(reopen),
        "reopen": len(worth),
        "reopen_npv": float(worth["npv_counted"].astype(float).sum()),
    }
    return Summary(rankings, totals | named | decisions, tuple(_assumed(by, totals)))


def _of(whole: pa.Table, by: str) -> pd.DataFrame:
    return pd.DataFrame(whole.filter(compute.equal(whole["by"], by)).drop_columns(["by"]).to_pandas())


def _one_a_part(sums: pd.DataFrame) -> pd.DataFrame:
    """One row a part number: bills describe a part in different words, the first in the order of letters is shown.

    Parts without a number are told apart by their descriptions: under one of these they would be taken for one part.
    """
    unnamed = sums["name"] == ""
    named = sums[~unnamed]
    first = named.sort_values(["name", "description"], kind="stable").drop_duplicates("name")[["name", "description"]]
    added = named.groupby("name", as_index=False, sort=True)[[*COUNTS, *AMOUNTS]].sum()
    whole = first.merge(pd.DataFrame(added), on="name")
    return pd.concat([sums.loc[unnamed, whole.columns], whole], ignore_index=True)


def _ranked(sums: pd.DataFrame, reopen: pd.DataFrame) -> pd.DataFrame:
    """Most money on flagged lines first, in either direction; then by name."""
    at_stake = (sums["above"] + sums["below"]).to_numpy()
    order = np.lexsort((pd.factorize(sums["name"], sort=True)[0], -at_stake))
    frame = sums.iloc[order].reset_index(drop=True)
    money = {f"{a}_per_year": frame[a].to_numpy(dtype=float) / TICKS_PER_UNIT for a in AMOUNTS}
    frame = frame.assign(rank=np.arange(1, len(frame) + 1), **money)
    worth = reopen[reopen["verdict"].isin(WORTH_IT)]
    registers = {
        "decisions": reopen.groupby("bom").size(), "reopen": worth.groupby("bom").size(),
        "reopen_npv": worth.groupby("bom")["npv_counted"].sum(),
    }  # fmt: skip
    for name, values in registers.items():
        known = values.reindex(frame["name"]).to_numpy(dtype=float)
        frame[name] = np.nan_to_num(known) if name == "reopen_npv" else np.nan_to_num(known).astype(np.int64)
    return frame[list(RANKING.names)]


def _assumed(by: dict[str, pd.DataFrame], totals: dict[str, int]) -> Iterator[Finding]:
    """What was assumed of how many lines; date and market only of lines that are audited: assemblies need neither."""
    lines = {name: dict(zip(f["name"], f["lines"], strict=True)) for name, f in by.items()}
    audited = {name: dict(zip(f["name"], f["audited"], strict=True)) for name, f in by.items()}
    for reason, count in sorted(lines["why_not"].items()):
        if reason == CREDIT:
            yield warning("N028", "a quantity must be > 0", found=f"{_lines(count)} below 0",
                          assumed="taken for credits or corrections: not audited, counted in no total",
                          advice="state what is built in as one line")  # fmt: skip
        elif reason and not reason.startswith(("assembly:", "charge:")):
            yield warning("N020", "a line needs a booked cost > 0 in a known currency",
                          found=f"{_lines(count)}: {reason}", assumed="not audited",
                          advice="fill in the cost")  # fmt: skip
    told = (
        ("basis", "undated", "N021", "every booked cost needs a date or a quote", "age taken from a stated range"),
        ("commodity_basis", "keywords", "N022", "the commodity is best stated",
         "taken from keywords in the description, its doubt widens the interval"),
        ("commodity_basis", "unknown", "N023", "every part needs a commodity to be estimated", "status unknown"),
        ("assumed", _OPEN[0], "N024", "every line needs qty_per", "taken as 1"),
        ("assumed", _OPEN[1], "N025", "money a year needs annual_volume", "no exposure, not in the sums"),
        ("assumed", _OPEN[2], "N026", "every price needs its currency", "taken as read.currency, else the screening's"),
    )  # fmt: skip
    for group, name, code, message, assumed in told:
        count = (lines if group == "assumed" else audited)[group].get(name, 0)
        if count:
            yield warning(code, message, found=f"{_lines(count)} without", assumed=assumed, advice="fill in the column")
    if totals["not_added"]:
        found = f"{_lines(totals['not_added'])} above 1e11"
        yield warning("N027", "money a year on one line must be believable", found=found, assumed="not added up",
                      advice="look for a slip of the unit or the currency")  # fmt: skip


def _lines(count: int) -> str:
    return f"{count} line{'' if count == 1 else 's'}"
