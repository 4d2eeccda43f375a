"""What if an input price moves: its effect on each decision's saving and net present value, from today on."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse
from scipy.special import ndtri

from bomaudit.curves.input_shares import InputShares
from bomaudit.decide.case import Case

Floats = npt.NDArray[np.float64]

COLUMNS = ["decision", "driver", "saving_today", "saving_change", "npv_change", "tips_at"]
"""Columns of :func:`by_input`."""
_LEAST = 1e-9
"""Effects below this share of the cost are rounding."""


def by_input(case: Case, shares: InputShares) -> pd.DataFrame:
    r"""Effect of each input on each decision, per unit of relative change: 0.2 times it is what +20 % does.

    Parameters
    ----------
    case : Case
    shares : InputShares
        Of the parts of the case, in their order.

    Returns
    -------
    DataFrame
        decision, driver ("input:copper", "fx:USD"), saving_today, saving_change (of the choice against the target, per
        unit of change, [currency/product]), npv_change (of switching, [currency]), tips_at (the change at which the
        saving is nought, [-]; NaN: at none above -1); largest effect first within a decision.

    Notes
    -----
    The saving moves by :math:`x \sum_p n_p P_p s_p` with the change :math:`x` of the input, the quantity :math:`n_p`
    by which the target needs more of part p than the choice, its price :math:`P_p` today and the input's share
    :math:`s_p` of it: linear, the two options netted, passed on in full. Amounts and change costs stated in a foreign
    currency follow its exchange rate whole.
    """
    accounts, names = case.accounts, case.register.decisions["decision"].to_numpy()
    money = case.model.part_use @ sparse.diags_array(np.nan_to_num(case.model.prices.median))
    stated, paid = _stated_abroad(case, shares.inputs)
    per_option = sparse.csr_array(money @ shares.share + stated)
    effect = sparse.coo_array(per_option[case.target] - per_option[accounts.chosen_option])
    d, k = effect.coords
    saving = (case.today[case.target] - case.today[accounts.chosen_option])[d]
    kept = np.abs(effect.data) > _LEAST * np.abs(case.today[accounts.chosen_option][d])
    with np.errstate(divide="ignore", invalid="ignore"):
        tips = -saving / effect.data
    columns = {
        "decision": names[d], "driver": np.array(shares.inputs, dtype=object)[k], "saving_today": saving,
        "saving_change": effect.data,
        "npv_change": -effect.data * accounts.products[d] - paid[case.target[d], k],
        "tips_at": np.where(tips > -1, tips, np.nan), "d": d, "k": k,
    }  # fmt: skip
    frame = pd.DataFrame({name: values[kept] for name, values in columns.items()}).astype({"driver": "str"})
    order = np.lexsort((frame["driver"], -np.abs(frame["saving_change"]), frame["d"]))
    return frame.iloc[order].reset_index(drop=True)


def _stated_abroad(case: Case, inputs: tuple[str, ...]) -> tuple[sparse.csr_array, Floats]:
    """What each option states in the currency of each input, per product and once for the switch to it.

    Both of shape (options, inputs), [currency/product] and [currency].
    """
    e, accounts, options = case.costed.elements, case.accounts, case.register.options
    column = pd.Series(np.arange(len(inputs)), index=list(inputs), dtype=float)

    def follows(currency: pd.Series) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        found = ("fx:" + currency.astype("str")).map(column).to_numpy(dtype=float)
        rows = np.flatnonzero(np.isfinite(found))
        return rows, found[rows].astype(np.int64)

    shape = (accounts.n_options, len(inputs))
    rows, to = follows(e["currency"].where(e["mode"].notna(), ""))
    cost = (case.costed.today * accounts.unit_weight * accounts.quantity)[rows]
    per_product = sparse.csr_array((cost, (accounts.option_of[rows], to)), shape=shape)
    once = np.zeros(shape)
    rows, to = follows(options["change_currency"])
    once[rows, to] = accounts.switch_cost[rows]
    return per_product, once


def input_bars(case: Case, shares: InputShares, effects: pd.DataFrame, *, confidence: float) -> pd.DataFrame:
    r"""Rows of the tornado for input prices: net present value with the input at the ends of its own spread.

    Parameters
    ----------
    case : Case
    shares : InputShares
    effects : DataFrame
        From :func:`by_input`.
    confidence : float
        Coverage between the ends. [-]

    Returns
    -------
    DataFrame
        decision, driver, kind ("input"), at_low, at_high (relative change of the input, [-]), low, high ([currency]).

    Notes
    -----
    Money is paid over the years left :math:`T`, so what counts is the mean of the input's price over them: of a random
    walk with :math:`\sigma` a year its ln has the standard deviation :math:`\sigma \sqrt{T/3}` [1]_.

    References
    ----------
    .. [1] Mean of Brownian motion over (0, T): variance T/3; any text on stochastic processes (from memory).
    """
    years = case.register.decisions["years_left"].to_numpy(dtype=float)[effects["d"]]
    reach = ndtri((1 + confidence) / 2) * shares.noise[effects["k"]] * np.sqrt(years / 3)
    ends = [np.expm1(-reach), np.expm1(reach)]
    npv = case.npv[effects["d"]]
    return pd.DataFrame(
        {
            "decision": effects["decision"].to_numpy(), "driver": effects["driver"].to_numpy(dtype=object),
            "kind": "input", "at_low": ends[0], "at_high": ends[1],
            "low": npv + effects["npv_change"].to_numpy() * ends[0],
            "high": npv + effects["npv_change"].to_numpy() * ends[1],
        }
    )  # fmt: skip
