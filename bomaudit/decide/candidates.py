"""Without a register: what drift alone would undo, and which choices are worth writing down as decisions.

Neither is a verdict. ``headroom`` says how large a booked saving the drift of a line would wipe out; ``look_alikes``
says what an alternative of another market may have cost at sourcing and still be cheaper today.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse
from scipy.special import ndtri

from bomaudit.curves.fitted import Curves
from bomaudit.decide.pricing import bearing_on_safety
from bomaudit.estimate import Estimates, estimate

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FUNCTIONS = {
    "turn": ("motor", "engine", "drive"),
    "move a fluid": ("pump", "fan", "blower", "compressor"),
    "move a load": ("actuator", "cylinder", "linkage", "lift"),
    "store energy": ("battery", "cell", "pack", "capacitor"),
    "supply power": ("supply", "charger", "transformer", "wound", "inverter"),
    "give light": ("led", "lamp", "light"),
    "show and operate": ("display", "keypad", "panel", "indicator"),
    "switch power": ("relay", "switch", "semiconductor", "power_module", "contactor", "transistor"),
    "hold and cover": (
        "casting", "stamping", "machined", "sheet_metal", "extrusion", "moulded", "composite", "welded", "forging",
        "frame", "moulding",
    ),
    "brake": ("brake",),
    "heat": ("heating", "heater", "heat_pump"),
    "sense": ("sensor", "camera", "encoder"),
    "carry current": ("cable", "harness", "busbar"),
}  # fmt: skip
"""What a part does → last words of the names of the markets that do it. Common practice, no published source; a
market that does the same by another technology is one to ask about, no more."""

_SAYS_NOTHING = ("part", "component", "element", "unit", "aluminium", "iron", "zinc", "steel", "plastic")
"""Last words of market names that do not say what the part does; the word before them does."""

_MOST_LINES = 200
"""Lines looked at for look-alikes, largest spend first: a list to talk about, not a census."""

HEADROOM = (
    "line_id", "part_no", "description", "commodity", "drift", "headroom", "headroom_low", "headroom_high", "per_year",
)  # fmt: skip
LOOK_ALIKES = (
    "line_id", "part_no", "description", "commodity", "alternative", "function", "premium", "premium_low",
    "premium_high", "spend_per_year",
)  # fmt: skip


def headroom(audited: pd.DataFrame, curves: Curves, *, as_of: date) -> pd.DataFrame:
    r"""Rank lines by how large a booked saving their drift alone would wipe out.

    Parameters
    ----------
    audited : DataFrame, columns of glossary ``LINES``
    curves : Curves
        Give general inflation.
    as_of : date

    Returns
    -------
    DataFrame
        Columns ``HEADROOM``, widest first: headroom, headroom_low, headroom_high [currency/product] and per_year
        [currency/year]. Positive: the part became dearer than the general price level, and a decision for it that had
        booked a smaller saving is undone. Negative: it became cheaper, and a decision against more of it is.

    Notes
    -----
    :math:`q (P_T - B\,G_T/G_t)`: against an alternative that only followed general inflation G since the basis date.
    Where no inflation is known, against one that kept its price.
    """
    lines = audited[audited["estimate"].notna() & audited["booked_cost"].notna() & (audited["qty_per"] > 0)]
    now = np.full(len(lines), np.datetime64(as_of))
    money = np.full(len(lines), curves.fx.currency, dtype=object)
    then = lines["basis_date"].to_numpy().astype("datetime64[D]")
    inflation = np.nan_to_num(curves.inputs.log_inflation(money, then, now))
    level = lines["booked_cost"].to_numpy(dtype=float) * np.exp(inflation)
    gap = {
        name: (lines[source].to_numpy(dtype=float) - level) * lines["qty_per"].to_numpy(dtype=float)
        for name, source in (
            ("headroom", "estimate"),
            ("headroom_low", "estimate_low"),
            ("headroom_high", "estimate_high"),
        )
    }
    ranked = lines.assign(**gap, per_year=gap["headroom"] * lines["annual_volume"].to_numpy(dtype=float))
    order = np.lexsort((ranked["line_id"], -np.abs(ranked["headroom"])))
    return ranked.iloc[order][list(HEADROOM)].reset_index(drop=True)


def look_alikes(
    lines: pd.DataFrame,
    estimates: Estimates,
    curves: Curves,
    *,
    decided: frozenset[str],
    as_of: date,
    confidence: float,
) -> pd.DataFrame:
    r"""Choices worth confirming: other markets that do the same and got cheaper against the part in use.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines.
    estimates : Estimates
        Of the same lines.
    curves : Curves
    decided : frozenset of str
        Part numbers that a registered decision already holds.
    as_of : date
    confidence : float

    Returns
    -------
    DataFrame
        Columns ``LOOK_ALIKES``: premium is how many times the part's booked cost an alternative may have cost at the
        same date and be the cheaper one today; premium_low at the cautious end of the interval, above 1 in every row.
        [-]; spend_per_year [currency/year]. Largest spend × ln premium_low first, the best alternative of each line.

    Notes
    -----
    The alternative is a line alike in all but its market, carried to today by that market's curve. The interval counts
    what moves both only once. No other technology is suggested for a part that bears on safety.
    """
    rows, market, function = _pairs(lines, estimates, curves, decided)
    if not len(rows):
        return pd.DataFrame(columns=list(LOOK_ALIKES)).astype({"premium": float, "premium_low": float})
    other = lines.iloc[rows].reset_index(drop=True)
    other = other.assign(commodity=market, part_no="", sourcing="standard", commodity_confidence=1.0)
    carried = estimate(other, curves, as_of=as_of, confidence=confidence)
    gap = np.log(
        estimates.frame["estimate"].to_numpy(dtype=float)[rows] / carried.frame["estimate"].to_numpy(dtype=float)
    )
    sd = _spread_between(estimates, rows, carried)
    reach = ndtri((1 + confidence) / 2) * sd
    spend = (lines["booked_cost"] * lines["qty_per"] * lines["annual_volume"]).to_numpy(dtype=float)[rows]
    frame = lines.iloc[rows][["line_id", "part_no", "description", "commodity"]].reset_index(drop=True).assign(
        alternative=market, function=function, premium=np.exp(gap), premium_low=np.exp(gap - reach),
        premium_high=np.exp(gap + reach), spend_per_year=spend,
    )  # fmt: skip
    frame = frame[frame["premium_low"] > 1.0]
    weight = np.nan_to_num(frame["spend_per_year"], nan=1.0) * np.log(frame["premium_low"])
    frame = frame.iloc[np.lexsort((frame["alternative"], frame["line_id"], -weight))]
    return frame.drop_duplicates("line_id")[list(LOOK_ALIKES)].reset_index(drop=True)


def _pairs(
    lines: pd.DataFrame, estimates: Estimates, curves: Curves, decided: frozenset[str]
) -> tuple[Ints, npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Lines and the other markets that do what they do: position of the line, market, function."""
    names = np.array([str(n) for n in curves.catalogue.names], dtype=object)
    does = {name: function_of(name) for name in {*names, *lines["commodity"].unique()}}
    spend = (lines["booked_cost"] * lines["qty_per"] * lines["annual_volume"].fillna(1.0)).to_numpy(dtype=float)
    usable = lines["auditable"].to_numpy(dtype=bool) & estimates.frame["estimate"].notna().to_numpy()
    usable &= ~bearing_on_safety(lines)
    usable &= ~lines["part_no"].isin(decided).to_numpy() & (spend > 0) & (lines["commodity"] != "").to_numpy()
    candidates = np.flatnonzero(usable)
    candidates = candidates[np.argsort(-spend[candidates], kind="stable")][:_MOST_LINES]
    own = lines["commodity"].to_numpy(dtype=object)
    pairs = [
        (int(i), str(other), does[other])
        for i in candidates
        for other in names
        if does[other] and other != own[i] and does[other] == does[own[i]]
    ]
    rows, markets, functions = zip(*pairs, strict=True) if pairs else ((), (), ())
    return np.array(rows, dtype=np.int64), np.array(markets, dtype=object), np.array(functions, dtype=object)


def function_of(commodity: str) -> str:
    """What parts of a market do, by the last telling word of its name; "" where the words do not say."""
    words = commodity.lower().replace("-", "_").split("_")
    while len(words) > 1 and words[-1] in _SAYS_NOTHING:
        words.pop()
    endings = {"_".join(words[k:]): len(words) - k for k in range(len(words))}
    found = [(length, does) for does, keys in FUNCTIONS.items() for ending, length in endings.items() if ending in keys]
    return max(found, default=(0, ""), key=lambda pair: pair[0])[1]


def _spread_between(estimates: Estimates, rows: Ints, carried: Estimates) -> Floats:
    """Standard deviation of the log ratio of two estimates, shared causes counted once. [ln]."""
    names = {name: k for k, name in enumerate(dict.fromkeys([*estimates.factors, *carried.factors]))}

    def spread_out(found: Estimates, at: Ints | slice) -> sparse.csr_array:
        held = sparse.coo_array(sparse.csr_array(found.loadings)[at])
        columns = np.array([names[f] for f in found.factors], dtype=np.int64)[held.coords[1]]
        return sparse.csr_array((held.data, (held.coords[0], columns)), shape=(held.shape[0], len(names)))

    between = spread_out(estimates, rows) - spread_out(carried, slice(None))
    own = np.asarray(estimates.sd_own, dtype=float)[rows] ** 2 + np.asarray(carried.sd_own, dtype=float) ** 2
    return np.asarray(np.sqrt(np.asarray(between.multiply(between).sum(axis=1)).ravel() + own))
