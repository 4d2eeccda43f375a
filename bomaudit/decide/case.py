"""The case before the draws: elements priced, options accounted, and what switching means in each decision."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide.accounted import Accounts, account, spent_notes
from bomaudit.decide.elements import Costed, Sources, cost_elements
from bomaudit.decide.pricing import Prices
from bomaudit.decide.register import Register, missing_change_cost
from bomaudit.decide.simulate import Model, build_model
from bomaudit.findings import Finding
from bomaudit.prepare.currency import Fx
from bomaudit.settings import DecideSection

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Case:
    """Everything about the decisions at central values.

    Attributes
    ----------
    register : Register
    costed : Costed
    accounts : Accounts
    model : Model
    switch_cost : array, shape (options,)
        [currency]
    booked, today : array, shape (options,)
        Fully accounted cost per product. [currency/product]
    worth : array, shape (options,)
        Net present value of switching to the option; NaN for the chosen one. [currency]
    target : array of int, shape (decisions,)
        The alternative with the best net present value: what switching means. Where the volume is not known, the one
        with the lowest cost per product.
    findings : tuple of Finding
    """

    register: Register
    costed: Costed
    accounts: Accounts
    model: Model
    switch_cost: Floats
    booked: Floats
    today: Floats
    worth: Floats
    target: Ints
    findings: tuple[Finding, ...]

    @property
    def npv(self) -> Floats:
        """Net present value of switching in each decision, shape (decisions,). [currency]."""
        return np.asarray(self.worth[self.target])

    @property
    def chosen(self) -> Ints:
        """Position of the chosen option of each decision."""
        return self.accounts.chosen_option


def build_case(
    register: Register,
    sources: Sources,
    *,
    lines: pd.DataFrame,
    prices: Prices,
    growth: Floats,
    fx: Fx,
    rules: DecideSection,
    as_of: date,
) -> Case:
    """Price and account all decisions.

    Parameters
    ----------
    register : Register
    sources : Sources
    lines : DataFrame
        Prepared lines of the BOM.
    prices : Prices
        Today's.
    growth : array, shape (elements,)
        Growth of each stated amount from its own date to today. [ln]
    fx : Fx
    rules : DecideSection
    as_of : date

    Returns
    -------
    Case
    """
    heads, options = register.decisions, register.options
    decided_on = heads["decided_on"].iloc[sources.elements["d"]].set_axis(sources.elements.index)
    costed = cost_elements(
        sources, lines, prices, fx=fx, decided_on=decided_on, growth=growth, rules=rules, as_of=as_of
    )
    stated = options["change_cost"].to_numpy(dtype=float)
    currency = options["change_currency"].where(options["change_currency"] != "", fx.currency).to_numpy(dtype=object)
    switch_cost = np.nan_to_num(stated) * fx.rate(currency, np.full(len(options), np.datetime64(as_of)))
    accounts = account(register, costed, switch_cost=switch_cost, rules=rules, as_of=as_of)
    e = costed.elements
    today = accounts.per_option(costed.today)
    worth = accounts.switching(today)
    cheapest = accounts.best_alternative(-today)
    target = np.where(np.isnan(accounts.products), cheapest, accounts.best_alternative(worth))
    return Case(
        register=register,
        costed=costed,
        accounts=accounts,
        model=build_model(accounts, costed, spread=rules.spread),
        switch_cost=switch_cost,
        booked=accounts.per_option(e["booked"].to_numpy(dtype=float), weight=accounts.booked_weight),
        today=today,
        worth=worth,
        target=target,
        findings=(
            *costed.findings,
            *spent_notes(register, costed, as_of=as_of),
            *missing_change_cost(register),
        ),
    )
