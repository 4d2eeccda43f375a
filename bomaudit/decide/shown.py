"""Tables behind each decision, as the report and ``explain`` show them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.special import stdtrit

from bomaudit.decide.case import Case
from bomaudit.decide.elements import walk_of
from bomaudit.decide.outcome import SAVINGS, Outcomes
from bomaudit.decide.pricing import WALK

_CENT = 0.01
_STEPS_NAMED = 2
"""So many steps of the cost walk are named for an element; the frame holds them all."""


def show_options(case: Case) -> pd.DataFrame:
    """Options: decision, option, chosen, cost_booked, cost_today, switch_cost, npv of switching to it.

    Without a figure where an element that it hangs on has no price.
    """
    options = case.register.options
    priced = case.costed.elements["priced"]
    whole = priced.groupby(case.accounts.option_of).all().reindex(range(len(options)), fill_value=True).to_numpy()
    compared = priced.groupby(case.costed.elements["d"]).all().to_numpy()[options["d"]]
    return pd.DataFrame(
        {
            "decision": case.register.decisions["decision"].to_numpy()[options["d"]], "option": options["option"],
            "chosen": options["chosen"], "cost_booked": np.where(whole, case.booked, np.nan),
            "cost_today": np.where(whole, case.today, np.nan),
            "switch_cost": np.where(options["chosen"], 0.0, case.switch_cost),
            "npv": np.where(compared, case.worth, np.nan),
        }
    )  # fmt: skip


def show_elements(case: Case, confidence: float) -> pd.DataFrame:
    """Elements per product, as booked and today, with the interval and what moved them.

    The interval of an element on parts is the parts' own, added up as if they moved together; of a stated one its
    range. An element without a price has no figures.
    """
    e, accounts = case.costed.elements, case.accounts
    size = accounts.unit_weight * accounts.quantity * np.where(e["priced"], 1.0, np.nan)
    parts = case.costed.prices.parts
    dof = parts["dof"].to_numpy(dtype=float)
    reach = stdtrit(np.where(np.isfinite(dof), dof, 1e6), (1 + confidence) / 2) * parts["sd_log"].to_numpy(dtype=float)
    reach, median = np.nan_to_num(reach), case.costed.prices.median
    stated = e["mode"].notna().to_numpy()
    sd = np.nan_to_num(e["sd"].to_numpy(dtype=float)) * np.where(e["high"] > e["low"], 0.0, 1.0)
    low = np.where(stated, e["low"] - sd, case.costed.priced_at(median * np.exp(-reach)))
    high = np.where(stated, e["high"] + sd, case.costed.priced_at(median * np.exp(reach)))
    booked = (e["booked"] * accounts.booked_weight * accounts.quantity).where(e["priced"])
    walk = walk_of(case.costed).mul(size, axis=0)
    return pd.DataFrame(
        {
            **{c: e[c] for c in ("decision", "option", "element", "kind", "part_no", "qty", "basis")},
            "spent": accounts.spent, "booked_per_unit": booked,
            "today_per_unit": case.costed.today * size, "low": np.minimum(low * size, high * size),
            "high": np.maximum(low * size, high * size), "moved": _moved(walk), **{w: walk[w] for w in WALK},
        }
    ).reset_index(drop=True)  # fmt: skip


def _moved(walk: pd.DataFrame) -> pd.Series:
    """The largest steps in words: ``experience -12.40, input prices +0.80``."""
    steps = walk.abs().to_numpy()
    order = np.argsort(-steps, axis=1, kind="stable")[:, :_STEPS_NAMED]
    names = np.array([w.removeprefix("walk_").replace("_", " ") for w in walk.columns], dtype=object)
    values = np.take_along_axis(walk.to_numpy(), order, axis=1)
    said = np.full(len(walk), "", dtype=object)
    for row in np.flatnonzero((np.abs(values) >= _CENT / 2).any(axis=1)):
        pairs = zip(names[order[row]], values[row], strict=True)
        said[row] = ", ".join(f"{name} {value:+.2f}" for name, value in pairs if abs(value) >= _CENT / 2)
    return pd.Series(said, index=walk.index, dtype="str")


def show_drivers(shares: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """Drivers: decision, driver, kind, variance_share, evpi, evsi; the value of a part is of its whole price."""
    found = known[["d", "kind", "position", "evpi", "evsi"]].astype({"d": "int64", "position": "int64"})
    frame = shares.merge(found, on=["d", "kind", "position"], how="left")
    return frame.rename(columns={"share": "variance_share"})[
        ["decision", "driver", "kind", "variance_share", "evpi", "evsi"]
    ]


def savings(case: Case, outcomes: Outcomes) -> pd.DataFrame:
    """Distribution of the saving over the draws: decision, quantile, saving; rising within a decision."""
    drawn = outcomes.decisions[list(SAVINGS)]
    return pd.DataFrame(
        {
            "decision": np.repeat(case.register.decisions["decision"].to_numpy(), len(SAVINGS)),
            "quantile": np.tile(list(SAVINGS.values()), len(drawn)),
            "saving": drawn.to_numpy(dtype=float).ravel(),
        }
    ).dropna(subset="saving")


def show_break_evens(case: Case, evens: pd.DataFrame) -> pd.DataFrame:
    """Break-even prices by name, the pivotal part of each decision first."""
    names = case.register.decisions["decision"].to_numpy(dtype=object)
    parts = case.model.prices.parts["part_no"].to_numpy(dtype=object)
    named = evens.assign(decision=names[evens["d"]], part_no=parts[evens["part"]])
    return named[
        ["decision", "part_no", "estimate", "break_even_price", "distance", "distance_sd", "p_beyond"]
    ].reset_index(drop=True)


def outside_parts(case: Case, confidence: float) -> pd.DataFrame:
    """Parts that the BOM does not hold, in the form that requotes are ranked from."""
    parts = case.costed.prices.parts
    parts = parts[parts["line"] < 0]
    dof = parts["dof"].to_numpy(dtype=float)
    reach = stdtrit(np.where(np.isfinite(dof), dof, 1e6), (1 + confidence) / 2) * parts["sd_log"].to_numpy(dtype=float)
    return parts.assign(
        estimate_low=parts["estimate"] * np.exp(-reach), estimate_high=parts["estimate"] * np.exp(reach),
        exposure_per_year=np.nan, per_year=np.nan,
    ).reset_index(drop=True)  # fmt: skip


def removed_parts(case: Case) -> pd.DataFrame:
    """Parts that switching takes out of the product altogether: d, part_no."""
    accounts, use = case.accounts, case.model.part_use
    as_piece = np.where(case.costed.elements["kind"] == "part", 1.0, 0.0)
    pieces = sparse.csr_array(
        (as_piece, (accounts.option_of, np.arange(len(as_piece)))), shape=(use.shape[0], len(as_piece))
    )
    before = (pieces @ case.costed.coefficients)[case.chosen].tocoo()
    after = use[case.target].tocoo()
    width = use.shape[1]
    d, part = before.coords
    kept = (before.data > 0) & ~np.isin(d * width + part, (after.coords[0] * width + after.coords[1])[after.data != 0])
    names = case.costed.prices.parts["part_no"].to_numpy(dtype=object)
    return pd.DataFrame({"d": d[kept], "part_no": names[part[kept]]})
