"""Fully accounted cost: every element of every option in money per product, as booked and over the years left.

Finding: ``D014`` one-time costs of the chosen option count as spent.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse

from bomaudit.decide.elements import Costed
from bomaudit.decide.pricing import Floats
from bomaudit.decide.register import Register, at, by_group, records
from bomaudit.decide.time_value import discounted_years, rate_of
from bomaudit.findings import Finding, note
from bomaudit.glossary import PLACE_COLUMNS
from bomaudit.settings import DecideSection

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Accounts:
    """Options in money per product.

    Attributes
    ----------
    decision_of, chosen : array, shape (options,)
        Position of the decision; whether the option is the chosen one.
    first_option : array of int, shape (decisions + 1,)
        Options of decision d are ``first_option[d]`` to ``first_option[d + 1] - 1``.
    option_of : array of int, shape (elements,)
    unit_weight, booked_weight : array, shape (elements,)
        What turns one unit of the element into money per product: 1 for per_unit, share of the discounted products for
        once and per_year; 0 for what is spent already. [1/product, year/product or 1]
    spent : array of bool, shape (elements,)
        One-time costs that were paid already.
    quantity : array, shape (elements,)
    products : array, shape (decisions,)
        Discounted number of products still to be made; NaN where the annual volume is not known.
    switch_cost : array, shape (options,)
        One-time cost of switching to the option; 0 for the chosen one. [currency]
    """

    decision_of: Ints
    chosen: Bools
    first_option: Ints
    option_of: Ints
    unit_weight: Floats
    booked_weight: Floats
    spent: Bools
    quantity: Floats
    products: Floats
    switch_cost: Floats

    @property
    def n_options(self) -> int:
        """Number of options."""
        return len(self.decision_of)

    @property
    def chosen_option(self) -> Ints:
        """Position of the chosen option of each decision."""
        return np.flatnonzero(self.chosen)

    def per_option(self, price: Floats, *, weight: Floats | None = None) -> Floats:
        """Cost per product of each option.

        Parameters
        ----------
        price : array, shape (elements,)
            Price of one unit of each element. [currency]
        weight : array, shape (elements,), optional
            ``unit_weight`` (the default) or ``booked_weight``.

        Returns
        -------
        array, shape (options,)
            [currency/product]
        """
        cost = price * self.quantity * (self.unit_weight if weight is None else weight)
        return np.bincount(self.option_of, weights=cost, minlength=self.n_options).astype(np.float64)

    def switching(self, cost: Floats) -> Floats:
        """Net present value of switching to each option from the chosen one.

        Parameters
        ----------
        cost : array, shape (options,)
            Cost per product. [currency]

        Returns
        -------
        array, shape (options,)
            NaN for the chosen option itself. [currency]

        Notes
        -----
        Discounted products × (cost of the chosen - cost of the option) - one-time cost of switching. The option's own
        one-time elements are in its cost per product.
        """
        saved = cost[self.chosen_option][self.decision_of] - cost
        return np.where(self.chosen, np.nan, self.products[self.decision_of] * saved - self.switch_cost)

    def best(self, value: Floats) -> Ints:
        """Position of the option with the greatest value in each decision, NaN last, the first one in a tie."""
        order = np.lexsort((-np.nan_to_num(value, nan=-np.inf), self.decision_of))
        return np.asarray(order[self.first_option[:-1]])

    def best_alternative(self, value: Floats) -> Ints:
        """The same among the options that were not chosen."""
        order = np.lexsort((-np.nan_to_num(value, nan=-np.inf), self.chosen, self.decision_of))
        return np.asarray(order[self.first_option[:-1]])


def account(
    register: Register,
    costed: Costed,
    *,
    switch_cost: Floats,
    rules: DecideSection,
    as_of: date,
    day: date | None = None,
) -> Accounts:
    """Spread every element over the products that carry it.

    Parameters
    ----------
    register : Register
    costed : Costed
    switch_cost : array, shape (options,)
        In audit currency.
    rules : DecideSection
    as_of : date
    day : date, optional
        Another day than today to look forward from: fewer or more years are left, and another annual volume.

    Returns
    -------
    Accounts

    Notes
    -----
    A once cost C counts C / N with N the discounted products: of the whole programme as booked (from the decision to
    the end of the years left, at today's annual volume), of the years left today. A yearly cost counts its present
    value / N. Once costs of the chosen option dated up to today, or undated, are spent and count 0 today; those of an
    alternative are still to be spent. One dated ahead counts at its present value. The rate is real, because prices
    are today's and rise with inflation.
    """
    heads, e = register.decisions, costed.elements
    rate = rate_of(rules)
    later = (pd.Timestamp(day or as_of) - pd.Timestamp(as_of)).days / DAYS_PER_YEAR
    left = np.maximum(heads["years_left"].to_numpy(dtype=float) - later, 0.0)
    growth = heads["volume_growth"].to_numpy(dtype=float)
    volume = heads["annual_volume"].to_numpy(dtype=float)
    past = (pd.Timestamp(as_of) - heads["decided_on"]).dt.days.fillna(0.0).to_numpy() / DAYS_PER_YEAR
    programme = past + heads["years_left"].to_numpy(dtype=float)

    def spread(years: Floats, volume: Floats, growth: Floats) -> tuple[Floats, Floats]:
        products = volume * discounted_years(years, rate=rate, timing=rules.timing, growth=growth)
        return products, discounted_years(years, rate=rate, timing=rules.timing)

    products, present_years = spread(left, volume * (1 + growth) ** max(later, 0.0), growth)
    booked_products, booked_years = spread(programme, volume, np.zeros(len(heads)))
    d = e["d"].to_numpy()
    chosen = register.options["chosen"].to_numpy(dtype=bool)
    decision_of = register.options["d"].to_numpy(dtype=np.int64)

    spent = is_spent(register, costed, as_of=day or as_of)
    ahead = (e["date"] - pd.Timestamp(day or as_of)).dt.days.clip(lower=0).fillna(0.0).to_numpy() / DAYS_PER_YEAR
    present = np.where(costed.once, (1.0 + rate) ** -ahead, 1.0)

    def weight(products: Floats, years: Floats) -> Floats:
        left = np.where(products > 0, products, np.nan)
        per_year, once = (np.where(np.isnan(volume), 0.0, x)[d] for x in (years / left, 1.0 / left))
        return np.where(costed.once, once, np.where(costed.per_year, per_year, 1.0))

    return Accounts(
        decision_of=decision_of,
        chosen=chosen,
        first_option=np.searchsorted(decision_of, np.arange(len(heads) + 1)),
        option_of=e["o"].to_numpy(dtype=np.int64),
        unit_weight=np.where(spent, 0.0, weight(products, present_years) * present),
        booked_weight=weight(booked_products, booked_years),
        spent=spent,
        quantity=e["qty"].to_numpy(dtype=float),
        products=products,
        switch_cost=np.where(chosen, 0.0, switch_cost),
    )


def is_spent(register: Register, costed: Costed, *, as_of: date) -> Bools:
    """Once costs of the chosen option that were paid up to the as-of date; undated ones were paid when decided."""
    chosen = register.options["chosen"].to_numpy(dtype=bool)[costed.elements["o"].to_numpy()]
    due = costed.elements["date"].to_numpy() > np.datetime64(as_of)
    return np.asarray(chosen & costed.once & ~due)


def spent_notes(register: Register, costed: Costed, *, as_of: date) -> list[Finding]:
    """``D014``: one note a decision whose chosen option has one-time costs that count as spent."""
    spent = costed.elements.loc[is_spent(register, costed, as_of=as_of), ["d", "decision", "element", *PLACE_COLUMNS]]
    first = spent.drop_duplicates("d")
    names = by_group(spent["element"], spent["d"])
    return [at(r, note, "D014", f"decision {r['decision']}: one-time costs of the chosen option are spent",
               found=", ".join(names[r["d"]]), assumed="they count as booked, not today",
               advice="date a cost that is still to come after the as-of date") for r in records(first)]  # fmt: skip


def per_part(accounts: Accounts, coefficients: sparse.csr_array) -> sparse.csr_array:
    """Quantity of each part per product of each option, one-time uses spread; shape (options, parts). [uom/product]."""
    n = len(accounts.option_of)
    size = accounts.unit_weight * accounts.quantity
    gather = sparse.csr_array((size, (accounts.option_of, np.arange(n))), shape=(accounts.n_options, n))
    return sparse.csr_array(gather @ coefficients)
