"""What a decision hangs on: break-even prices, the tornado, and where the variance comes from."""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse
from scipy.special import stdtr, stdtrit

from bomaudit.decide.accounted import account
from bomaudit.decide.case import Case
from bomaudit.decide.register import Register
from bomaudit.decide.simulate import Model
from bomaudit.settings import DecideSection

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def net_use(model: Model, target: Ints) -> sparse.coo_array:
    """Discounted quantity of each part that switching from the chosen option to the target saves.

    Parameters
    ----------
    model : Model
    target : array of int, shape (decisions,)
        Position of the option to switch to.

    Returns
    -------
    coo array, shape (decisions, parts)
        The net present value of switching moves by this much per unit of price. [uom]
    """
    accounts = model.accounts
    net = model.part_use[accounts.chosen_option] - model.part_use[target]
    return sparse.coo_array(sparse.diags_array(np.nan_to_num(accounts.products)) @ net)


def net_ranges(model: Model, target: Ints) -> sparse.coo_array:
    """The same for the stated ranges, shape (decisions, ranges)."""
    accounts = model.accounts
    net = model.range_use[accounts.chosen_option] - model.range_use[target]
    return sparse.coo_array(sparse.diags_array(np.nan_to_num(accounts.products)) @ net)


def range_variance(case: Case) -> Floats:
    """Variance per product of the stated ranges, chosen against target, shape (decisions,). [currency²/product²]."""
    ranges = sparse.csr_array(net_ranges(case.model, case.target))
    products = case.accounts.products
    variance = np.asarray(ranges.power(2) @ case.model.ranges.sd**2)
    return np.asarray(np.where(products > 0, variance / np.where(products > 0, products, 1.0) ** 2, 0.0))


def break_evens(case: Case) -> pd.DataFrame:
    """Price of each part at which switching breaks even, all else at its central value.

    Parameters
    ----------
    case : Case

    Returns
    -------
    DataFrame
        d, part (positions), estimate, break_even_price [currency/uom], distance (share of the estimate), distance_sd
        (in standard deviations of the log price) and p_beyond (probability that the price is on the other side); only
        parts whose break-even price is above 0. Sorted by decision, the pivotal part (smallest distance_sd) first.

    Notes
    -----
    :math:`P^* = P - NPV / n`, with n the discounted quantity saved.
    """
    model, npv = case.model, case.npv
    net = net_use(model, case.target)
    d, part = net.coords
    estimate = model.prices.median[part]
    sd = model.prices.parts["sd_log"].to_numpy(dtype=float)[part]
    dof = model.prices.parts["dof"].to_numpy(dtype=float)[part]
    with np.errstate(divide="ignore", invalid="ignore"):
        price = estimate - npv[d] / net.data
        distance = np.log(price / estimate)
        in_sd = np.where(sd > 0, distance / sd, np.inf * np.sign(distance))
    frame = pd.DataFrame(
        {
            "d": d, "part": part, "estimate": estimate, "break_even_price": price, "distance": price / estimate - 1.0,
            "distance_sd": in_sd, "p_beyond": stdtr(np.where(np.isfinite(dof), dof, 1e6), -np.abs(in_sd)),
        }
    )  # fmt: skip
    held = np.isfinite(price) & (price > 0) & np.isfinite(estimate) & (net.data != 0)
    frame = frame.loc[np.flatnonzero(held)]
    order = np.lexsort((frame["part"], np.abs(frame["distance_sd"]), frame["d"]))
    return frame.iloc[order].reset_index(drop=True)


def tornado(
    case: Case,
    *,
    rules: DecideSection,
    confidence: float,
    as_of: date,
    inputs: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Net present value of switching with one driver at its low and its high end, the others at their central value.

    Parameters
    ----------
    case : Case
    rules : DecideSection
        ``what_if_volume`` moves the annual volume.
    confidence : float
        Coverage of the parts' intervals. [-]
    as_of : date
    inputs : DataFrame, optional
        Rows for input prices, from :func:`bomaudit.decide.input_prices.input_bars`.

    Returns
    -------
    DataFrame
        decision, driver, kind (part, element, what_if, input), at_low, at_high (the driver's own value there, of an
        input its relative change), low, high (net present value there, [currency]); widest swing first within a
        decision.
    """
    model, npv, target = case.model, case.npv, case.target
    parts, names = model.prices.parts, case.register.decisions["decision"].to_numpy()
    net = net_use(model, target)
    d, p = net.coords
    dof = parts["dof"].to_numpy(dtype=float)
    reach = stdtrit(np.where(np.isfinite(dof), dof, 1e6), (1 + confidence) / 2) * parts["sd_log"].to_numpy(dtype=float)
    median = model.prices.median
    ends = [median[p] * np.exp(sign * np.nan_to_num(reach[p])) for sign in (-1, 1)]
    frames = [
        _bars(
            names[d], parts["part_no"].to_numpy()[p], "part", ends, [npv[d] + net.data * (x - median[p]) for x in ends]
        )
    ]
    ranges = net_ranges(model, target)
    d, r = ranges.coords
    e = case.costed.elements.iloc[model.ranges.element[r]]
    by_ends, mode, sd = model.ranges.by_ends[r], model.ranges.mode[r], model.ranges.sd[r]
    ends = [
        np.where(by_ends, low, mode + sign * sd) for low, sign in ((model.ranges.low[r], -1), (model.ranges.high[r], 1))
    ]
    label = (e["option"] + ": " + e["element"]).to_numpy()
    frames.append(_bars(names[d], label, "element", ends, [npv[d] + ranges.data * (x - mode) for x in ends]))
    frames.append(_what_if(case, rules=rules, as_of=as_of))
    if inputs is not None:
        frames.append(inputs)
    bars = pd.concat([f for f in frames if len(f)] or frames[:1], ignore_index=True)
    bars = bars.assign(
        _order=bars["decision"].map({n: k for k, n in enumerate(names)}), _swing=-(bars["high"] - bars["low"]).abs()
    )
    bars = bars.sort_values(["_order", "_swing", "driver"], kind="stable").drop(columns=["_order", "_swing"])
    return bars.dropna(subset=["low", "high"]).reset_index(drop=True)


def _bars(
    decision: npt.NDArray[np.object_], driver: npt.NDArray[np.object_], kind: str, ends: list[Floats], npv: list[Floats]
) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "decision": decision, "driver": driver, "kind": kind, "at_low": ends[0], "at_high": ends[1],
            "low": npv[0], "high": npv[1],
        }
    )  # fmt: skip


def _what_if(case: Case, *, rules: DecideSection, as_of: date) -> pd.DataFrame:
    """The annual volume by a stated share, the years left by one."""
    register, costed = case.register, case.costed
    heads = register.decisions
    share, names = rules.what_if_volume, heads["decision"].to_numpy()
    volume, left = heads["annual_volume"].to_numpy(dtype=float), heads["years_left"].to_numpy(dtype=float)

    def npv(**changed: Floats) -> Floats:
        other = Register(heads.assign(**changed), register.options, register.elements, register.findings)
        accounts = account(other, costed, switch_cost=case.switch_cost, rules=rules, as_of=as_of)
        return np.asarray(accounts.switching(accounts.per_option(costed.today))[case.target])

    volumes, years = [volume * (1 - share), volume * (1 + share)], [np.maximum(left - 1, 0.25), left + 1]
    return pd.concat(
        [
            _bars(
                names,
                np.full(len(names), "annual volume", dtype=object),
                "what_if",
                volumes,
                [npv(annual_volume=v) for v in volumes],
            ),
            _bars(
                names,
                np.full(len(names), "years left", dtype=object),
                "what_if",
                years,
                [npv(years_left=y) for y in years],
            ),
        ],
        ignore_index=True,
    )


def variance_shares(case: Case) -> pd.DataFrame:
    """Where the variance of the net present value comes from: shared causes, parts' own noise, stated ranges.

    Parameters
    ----------
    case : Case

    Returns
    -------
    DataFrame
        decision, driver, kind (factor, part, element), position (of the factor, part or range), share (adding up to 1
        in a decision, [-]).

    Notes
    -----
    Linear in the log prices: a factor's share is the square of the summed effects of the parts it moves, so that a
    factor which moves both options alike cancels, as it does in the decision.
    """
    model, target = case.model, case.target
    net = net_use(model, target)
    money = sparse.csr_array(
        (net.data * np.nan_to_num(model.prices.median[net.coords[1]]), net.coords), shape=net.shape
    )
    shared = sparse.coo_array(money @ model.prices.loadings)
    own = sparse.coo_array(money @ sparse.diags_array(np.nan_to_num(model.prices.sd_own)))
    ranges = sparse.coo_array(net_ranges(model, target) @ sparse.diags_array(model.ranges.sd))
    e = case.costed.elements.iloc[model.ranges.element]
    labels = [
        np.array(model.prices.factors, dtype=object),
        model.prices.parts["part_no"].to_numpy(dtype=object),
        (e["option"] + ": " + e["element"]).to_numpy(dtype=object),
    ]
    frame = pd.concat(
        [
            pd.DataFrame(
                {
                    "d": m.coords[0],
                    "driver": label[m.coords[1]],
                    "kind": kind,
                    "position": m.coords[1],
                    "variance": m.data**2,
                }
            )
            for m, label, kind in zip((shared, own, ranges), labels, ("factor", "part", "element"), strict=True)
        ],
        ignore_index=True,
    )
    total = frame.groupby("d")["variance"].transform("sum")
    frame = frame.assign(
        share=frame["variance"] / total.where(total > 0),
        decision=case.register.decisions["decision"].to_numpy()[frame["d"]],
    )
    frame = frame.sort_values(["d", "share", "driver"], ascending=[True, False, True], kind="stable")
    return frame[["decision", "d", "driver", "kind", "position", "share"]].reset_index(drop=True)
