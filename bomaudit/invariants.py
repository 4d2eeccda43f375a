"""What must hold at the end of every run, whatever the input: rows, sums, walks and accounts, held against each other.

Each check compares figures that were worked out apart from each other. One that fails means a mistake of the program,
never of the data: the result is marked as not to be used.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide import Decided
from bomaudit.estimate import Estimates
from bomaudit.findings import Finding, error
from bomaudit.glossary import STATUSES, VARIANCE_PARTS, VERDICTS, WALK_STEPS
from bomaudit.tables import Inputs

TOLERANCE = 1e-9
"""Relative to the largest term of a sum: a million times what 64-bit numbers round, a cent in ten millions."""
_EVERY_LINE = "every line of the BOM must be in the result once"
_LINES = ("part", "assembly", "charge", "alternative")

Floats = npt.NDArray[np.float64]


def broken_invariants(
    *, inputs: Inputs, lines: pd.DataFrame, estimates: Estimates, decided: Decided
) -> tuple[Finding, ...]:
    """Check a finished run.

    Parameters
    ----------
    inputs : Inputs
    lines : DataFrame, columns of glossary ``LINES``
    estimates : Estimates
        Of the same lines.
    decided : Decided

    Returns
    -------
    tuple of Finding
        Errors ``V001`` to ``V009``, empty where everything holds: ``V001`` rows, ``V002`` the cost walk, ``V003``
        intervals and their variance, ``V004`` money of lines, ``V005`` states, ``V006`` sums of elements, ``V007``
        savings and their bridge, ``V008`` the order of re-quotes, ``V009`` where it came from.
    """
    rows = list(_rows(inputs, lines))
    if len(lines) != len(inputs.tables["bom"]):
        return (_said("V001", _EVERY_LINE, rows[0]),)
    checks = (
        ("V001", _EVERY_LINE, rows),
        ("V002", "booked cost and the steps of the walk must add up to the estimate", _walk(lines)),
        ("V003", "an interval must hold its estimate, and its variance the parts of it", _spread(lines, estimates)),
        ("V004", "money of a line must be its cost times its quantity", _money(lines)),
        ("V005", "every line and decision must have one of the known states", _states(lines, decided)),
        ("V006", "the elements of an option must add up to its cost", _elements(decided)),
        ("V007", "a saving must be the difference of two options, and its bridge must reach it", _savings(decided)),
        ("V008", "re-quotes must be ranked once each, the most worthwhile first", _ranks(decided.requotes)),
        ("V009", "every table must be traced to a file by its hash", _traced(inputs)),
    )
    return tuple(_said(code, must, found) for code, must, problems in checks for found in list(problems)[:1])


def _said(code: str, must: str, found: str) -> Finding:
    return error(code, must, found=found, assumed="a mistake of the program: the result is not to be used",
                 advice="report it with the files of this run")  # fmt: skip


def _apart(left: npt.ArrayLike, right: npt.ArrayLike, *terms: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Where two figures differ by more than rounding, or one of them is missing or endless."""
    left, right = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    scale = np.maximum.reduce([np.abs(np.asarray(t, dtype=float)) for t in (left, right, *terms)])
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray(~(np.abs(left - right) <= TOLERANCE * scale))


def _where(names: pd.Series, wrong: npt.NDArray[np.bool_], what: str) -> Iterator[str]:
    if wrong.any():
        yield f"{what} of {names.to_numpy()[wrong][0]} and {int(wrong.sum()) - 1} more"


def _rows(inputs: Inputs, lines: pd.DataFrame) -> Iterator[str]:
    bom, place = inputs.tables["bom"], ("source_file", "source_sheet", "source_row")
    if len(bom) != len(lines) or not all((bom[p].to_numpy() == lines[p].to_numpy()).all() for p in place):
        yield f"{len(bom)} lines read and {len(lines)} in the result, or not in the same order"
    if not lines["line_id"].is_unique:
        yield "a line id that stands for two lines"
    files = set(bom["source_file"].unique())
    elsewhere = [frame["source_file"] for t, frame in inputs.tables.items() if t not in ("bom", "quotes")]
    others = {f for names in elsewhere for f in names.unique()}
    rows = inputs.rows[inputs.rows["file"].isin(files) & inputs.rows["kind"].isin(_LINES)]
    if not files & others and len(rows) != len(bom):
        yield f"{len(rows)} rows taken for lines and {len(bom)} lines"


def _walk(lines: pd.DataFrame) -> Iterator[str]:
    priced = lines[lines["estimate"].notna()]
    steps = [priced[f"walk_{s}"] for s in WALK_STEPS]
    reached = priced["booked_cost"] + sum(steps)
    yield from _where(priced["line_id"], _apart(reached, priced["estimate"], priced["booked_cost"], *steps), "walk")
    drift = priced["estimate"] / priced["booked_cost"] - 1
    yield from _where(priced["line_id"], _apart(drift, priced["drift"], np.ones(len(priced))), "drift")


def _spread(lines: pd.DataFrame, estimates: Estimates) -> Iterator[str]:
    known = lines["estimate"].notna().to_numpy()
    priced, names = lines[known], lines.loc[known, "line_id"]
    low, high, sd = (priced[c].to_numpy(dtype=float) for c in ("estimate_low", "estimate_high", "sd_log"))
    middle = priced["estimate"].to_numpy(dtype=float)
    ordered = (low > 0) & (low <= middle) & (middle <= high) & np.isfinite(high) & (sd >= 0)
    yield from _where(names, ~ordered, "interval")
    squares = estimates.loadings.multiply(estimates.loadings).sum(axis=1)
    total = np.asarray(squares).ravel()[known] + estimates.sd_own[known] ** 2
    yield from _where(names, _apart(total, sd**2), "variance")
    parts = priced[[f"var_{v}" for v in VARIANCE_PARTS]].to_numpy(dtype=float)
    wrong = ~(np.abs(parts.sum(axis=1) - (sd > 0)) <= TOLERANCE) | (parts < 0).any(axis=1)
    yield from _where(names, wrong, "parts of the variance")


def _money(lines: pd.DataFrame) -> Iterator[str]:
    names, cost, qty = lines["line_id"], lines["booked_cost"], lines["qty_per"]
    gap, volume = lines["booked_cost"] - lines["estimate"], lines["annual_volume"]
    for what, product, stated in (("extended cost", cost * qty, lines["booked_extended"]),
                                  ("exposure", gap * qty * volume, lines["exposure_per_year"])):  # fmt: skip
        missing = product.isna() & stated.isna()
        yield from _where(names, _apart(product, stated) & ~missing.to_numpy(), what)


def _states(lines: pd.DataFrame, decided: Decided) -> Iterator[str]:
    yield from _where(lines["line_id"], ~lines["status"].isin([*STATUSES, ""]).to_numpy(), "status")
    parts = lines["row_kind"].isin(["part", "alternative"]).to_numpy()
    yield from _where(lines["line_id"], parts & (lines["status"] == "").to_numpy(), "status")
    d = decided.decisions
    yield from _where(d["decision"], ~d["verdict"].isin(VERDICTS).to_numpy(), "verdict")
    chance = d["p_flip"].to_numpy(dtype=float)
    yield from _where(d["decision"], (chance < 0) | (chance > 1), "chance to flip")


def _elements(decided: Decided) -> Iterator[str]:
    options = decided.options
    names = options["decision"] + ", " + options["option"]
    grouped = decided.elements.groupby(["decision", "option"], sort=False)
    for of_element, of_option in (("booked_per_unit", "cost_booked"), ("today_per_unit", "cost_today")):
        amounts = decided.elements[of_element].abs()
        key = pd.MultiIndex.from_frame(options[["decision", "option"]])
        sums = grouped[of_element].sum(min_count=1).reindex(key).to_numpy(dtype=float)
        largest = amounts.groupby([decided.elements["decision"], decided.elements["option"]]).max().reindex(key)
        stated = options[of_option].to_numpy(dtype=float)
        missing = np.isnan(sums) & (np.isnan(stated) | (stated == 0)) | np.isnan(stated)
        yield from _where(names, _apart(np.nan_to_num(sums), stated, largest.fillna(0.0)) & ~missing, of_option)


def _savings(decided: Decided) -> Iterator[str]:
    d, costs = decided.decisions, decided.options.set_index(["decision", "option"])[["cost_booked", "cost_today"]]
    pairs = (pd.MultiIndex.from_frame(d[["decision", option]]) for option in ("chosen", "switch_to"))
    own, other = (costs.reindex(pair).to_numpy(dtype=float) for pair in pairs)
    rivals = decided.options[~decided.options["chosen"].astype(bool)].groupby("decision")["cost_booked"].min()
    best = rivals.reindex(d["decision"]).to_numpy(dtype=float)  # as booked another rival may have been the best
    for saving, rival, mine in (("saving_booked", best, own[:, 0]), ("saving_today", other[:, 1], own[:, 1])):
        stated = d[saving].to_numpy(dtype=float)
        held = np.isfinite(mine) & np.isfinite(rival) & np.isfinite(stated)
        yield from _where(d["decision"], held & _apart(rival - mine, stated, mine, rival), saving)
    side = decided.elements.merge(d[["decision", "chosen", "switch_to"]], on="decision", how="left")
    sign = (side["option"] == side["switch_to"]).astype(float) - (side["option"] == side["chosen"]).astype(float)
    moved = (sign * (side["today_per_unit"] - side["booked_per_unit"])).groupby(side["decision"]).sum()
    largest = side[["today_per_unit", "booked_per_unit"]].abs().max(axis=1).groupby(side["decision"]).max()
    change = d["saving_today"].to_numpy(dtype=float) - (other - own)[:, 0]
    held = np.isfinite(change)
    reached, scale = (s.reindex(d["decision"]).to_numpy(dtype=float) for s in (moved, largest))
    yield from _where(d["decision"], held & _apart(reached, change, scale), "bridge")


def _ranks(requotes: pd.DataFrame) -> Iterator[str]:
    if requotes["rank"].tolist() != list(range(1, len(requotes) + 1)):
        yield "ranks that are not 1, 2, 3 …"
    worth = (requotes["value_of_asking"] - requotes["cost_of_asking"]).to_numpy(dtype=float)
    if (np.diff(worth) > TOLERANCE * np.abs(worth[:-1])).any():
        yield "a part that is worth more than the one before it"


def _traced(inputs: Inputs) -> Iterator[str]:
    named = {t for t, f in inputs.settings.files.model_dump().items() if f}
    known = {len(digest) == 64 for digest in inputs.hashes.values()}  # noqa: PLR2004  (SHA-256 in hexadecimal digits)
    if known != {True} or not named <= set(inputs.present):
        yield f"{len(inputs.hashes)} hashes for {len(named)} tables"
