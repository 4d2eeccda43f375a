"""From the standard or booked cost to today's, cause by cause, in decimals that add up exactly.

Each figure is rounded once, as it would be printed; what the printed figures then leave open is the cause ``rounding``,
so every row adds up to the last place. Amounts are per unit in audit currency.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import numpy as np
import pandas as pd

from bomaudit.finance.parts import WALK
from bomaudit.prepare.exact import round_money

Start = Literal["standard", "booked"]

CAUSES = (
    "price", "quantity", "currency", "input_prices", "experience", "maturity", "own_volume", "newer_quotes", "rounding",
)  # fmt: skip
"""price: booked against standard · quantity: the structure holds other quantities, parts or labour than the standard
was set on · currency to newer_quotes: steps of the cost walk, booked to today · rounding: the rest of the places."""


def add_up(start: pd.Series, end: pd.Series, causes: pd.DataFrame, *, places: int) -> pd.DataFrame:
    """Round a bridge so that it adds up exactly.

    Parameters
    ----------
    start, end : Series of float, shape (rows,)
        Where it starts and ends. [currency]
    causes : DataFrame of float, shape (rows, causes)
        Differences; a missing one is none. A column ``rounding`` may hold what is already known to be rounding.
    places : int
        Decimal places.

    Returns
    -------
    DataFrame of Decimal
        ``start``, the columns of :data:`CAUSES`, ``end``; rows without a start or an end are left out.

    Notes
    -----
    rounding = end - start - all other causes, of the rounded figures: exact by construction. Unless it was given,
    it is at most half of the last place for each figure; larger would mean that a cause is missing, so it is refused.

    Raises
    ------
    ValueError
        If the causes do not explain the difference.
    """
    held = start.notna() & end.notna()
    given = causes.reindex(columns=list(CAUSES)).fillna(0.0)[held]
    names = [c for c in CAUSES if c != "rounding"]
    unexplained = end[held] - start[held] - given.sum(axis=1)
    scale = np.maximum(1.0, np.maximum(start[held].abs(), end[held].abs()))
    # float noise of sums over many rows is far below 1e-9 of the cost
    wrong = (unexplained.abs() > 1e-9 * scale).to_numpy()
    if wrong.any():
        raise ValueError(f"causes leave {float(unexplained[wrong].iloc[0])} open in row {unexplained.index[wrong][0]}")
    exact = {name: [round_money(v, places) for v in given[name]] for name in names}
    first = [round_money(v, places) for v in start[held]]
    last = [round_money(v, places) for v in end[held]]
    rest = [
        e - s - sum((exact[n][k] for n in names), Decimal(0)) for k, (s, e) in enumerate(zip(first, last, strict=True))
    ]
    columns: dict[str, list[Decimal]] = {"start": first} | exact | {"rounding": rest, "end": last}
    return pd.DataFrame(columns, index=given.index, dtype=object)


def part_bridge(parts: pd.DataFrame, *, start: Start, places: int) -> pd.DataFrame:
    """Bridge of each part, per unit.

    Parameters
    ----------
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`; assemblies are bridged in the roll-up.
    start : {"standard", "booked"}
        A part without a standard starts at its booked cost, one without a booked cost at its standard.
    places : int

    Returns
    -------
    DataFrame
        ``part_no`` and the columns of :func:`add_up`.
    """
    bought, first, causes = _of_parts(parts, start)
    bridge = add_up(first, bought["today_cost"], causes, places=places)
    bridge.insert(0, "part_no", bought.loc[bridge.index, "part_no"])
    return bridge.reset_index(drop=True)


def year_bridge(parts: pd.DataFrame, *, start: Start, places: int) -> pd.DataFrame:
    """Bridge of a year's purchases: the parts × their annual quantities, one row.

    Parameters
    ----------
    parts, start
        As in :func:`part_bridge`; parts without an annual quantity are left out.
    places : int
        Decimal places of money.

    Returns
    -------
    DataFrame
        The columns of :func:`add_up`.
    """
    bought, first, causes = _of_parts(parts, start)
    a_year = bought["annual_qty"].where(first.notna() & bought["today_cost"].notna(), 0.0).fillna(0.0)
    amounts = [(values.fillna(0.0) * a_year).sum() for values in (first, bought["today_cost"])]
    of_year = causes.fillna(0.0).mul(a_year, axis=0).sum().to_frame().T
    return add_up(pd.Series([amounts[0]]), pd.Series([amounts[1]]), of_year, places=places)


def _of_parts(parts: pd.DataFrame, start: Start) -> tuple[pd.DataFrame, pd.Series, pd.DataFrame]:
    bought = parts[parts["kind"] == "part"]
    booked = bought["booked_cost"].fillna(bought["standard_cost"])
    first = bought["standard_cost"].fillna(booked) if start == "standard" else booked
    causes = bought[list(WALK)].set_axis([w.removeprefix("walk_") for w in WALK], axis=1)
    return bought, first, causes.where(bought["estimated"], 0.0).assign(price=booked - first)
