"""One decision in full: both columns of the account, what moved, and what would have to be true for it to hold."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from bomaudit.decide.judged import Decided


@dataclass(frozen=True)
class Explained:
    """Everything about one decision.

    Attributes
    ----------
    facts : dict
        Its row of ``Decided.decisions``.
    options : DataFrame
        option, chosen, cost_booked, cost_today [currency/product], switch_cost, npv [currency].
    account : DataFrame
        Elements of all options, dearest change first within an option: option, element, kind, part_no, qty, basis,
        spent, booked_per_unit, today_per_unit, change [currency/product], low, high, moved.
    conditions : DataFrame
        What would have to be true for the choice to be right (or, where it still is, wrong): driver, today, needed
        [currency/uom or currency], change_needed (share), p (probability that it is so, parts only); the least change
        first.
    drivers, tornado, path : DataFrame
        Rows of the decision in ``Decided``.
    """

    facts: dict[str, object]
    options: pd.DataFrame
    account: pd.DataFrame
    conditions: pd.DataFrame
    drivers: pd.DataFrame
    tornado: pd.DataFrame
    path: pd.DataFrame


def explain_decision(decided: Decided, decision: str) -> Explained:
    """Gather all that is known of a decision.

    Parameters
    ----------
    decided : Decided
    decision : str
        Its short name.

    Returns
    -------
    Explained

    Raises
    ------
    KeyError
        If there is no such decision.
    """
    rows = decided.decisions[decided.decisions["decision"] == decision]
    if rows.empty:
        raise KeyError(decision)

    def of(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[frame["decision"] == decision].drop(columns="decision").reset_index(drop=True)

    account = of(decided.elements)
    account = account.assign(change=account["today_per_unit"] - account["booked_per_unit"])
    order = {name: k for k, name in enumerate(account["option"].unique())}
    account = account.assign(_o=account["option"].map(order), _c=-account["change"].abs())
    account = account.sort_values(["_o", "_c"], kind="stable").reset_index(drop=True)
    columns = ["option", "element", "kind", "part_no", "qty", "basis", "spent", "booked_per_unit", "today_per_unit"]
    return Explained(
        facts={str(k): v for k, v in rows.iloc[0].items()},
        options=of(decided.options),
        account=account[[*columns, "change", "low", "high", "moved"]],
        conditions=_conditions(of(decided.break_evens), of(decided.tornado)),
        drivers=of(decided.drivers),
        tornado=of(decided.tornado),
        path=of(decided.paths),
    )


def _conditions(evens: pd.DataFrame, bars: pd.DataFrame) -> pd.DataFrame:
    """Break-even of each part, and of each other driver on the line between its two ends, where it lies above 0."""
    parts = pd.DataFrame(
        {
            "driver": evens["part_no"], "today": evens["estimate"], "needed": evens["break_even_price"],
            "change_needed": evens["distance"], "p": evens["p_beyond"],
        }
    )  # fmt: skip
    others = bars[(bars["kind"] != "part") & (bars["low"] != bars["high"])]
    slope = (others["high"] - others["low"]) / (others["at_high"] - others["at_low"])
    middle = (others["at_high"] + others["at_low"]) / 2
    needed = middle - (others["high"] + others["low"]) / 2 / slope
    rest = pd.DataFrame({"driver": others["driver"], "today": middle, "needed": needed})
    rest = rest.assign(change_needed=rest["needed"] / rest["today"] - 1.0, p=float("nan"))
    rest = rest[(rest["needed"] > 0) & (rest["today"] > 0)]
    both = pd.concat([f for f in (parts, rest) if len(f)] or [parts], ignore_index=True)
    return both.iloc[both["change_needed"].abs().argsort(kind="stable")].reset_index(drop=True)
