"""Sheets ``Decisions`` and ``Elements``: from prices and quantities to savings and net present value by formula.

A cell is a formula where the book can derive the audit's figure from others in it, to the last digits; elsewhere (an
assembly priced through lines the book does not link) the audit's figure stands as a value.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide.time_value import rate_of
from bomaudit.glossary import DECISIONS_OUT
from bomaudit.report.book import Address, Col
from bomaudit.report.book_sheets import col
from bomaudit.report.content import Content, by_verdict

Floats = npt.NDArray[np.float64]

_SAME = 1e-9
"""Relative difference up to which a formula counts as giving the audit's figure."""
SAVINGS = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the draws whose saving the sheet gives."""
_SUM = "SUMIFS(element_{0},element_decision,{1},element_option,{2})"
_LONGEST_SOUGHT = 250
"""Characters of a name that a condition of a sheet can look for. [characters]"""


def exact_row(names: str, wanted: str, values: str) -> str:
    """Formula of the value beside a name, letter by letter: ``MATCH`` would take ``*`` and ``?`` for any text."""
    return f"LOOKUP(2,1/EXACT({names},{wanted}),{values})"


def _of_decision(name: str, at: Address) -> str:
    return exact_row("decision_name", at("decision"), f"decision_{name}")


def _literally(cell: str) -> str:
    """Condition that a text equals a cell's: by itself ``>60 W`` would be a comparison and ``*`` any text."""
    for mark in "~*?":
        cell = f'SUBSTITUTE({cell},"{mark}","~{mark}")'
    return f'"="&{cell}'


def _told_apart(elements: pd.DataFrame) -> pd.Series:
    """Whether a sheet's condition picks an option's elements alone: ``a`` and ``A``, ``1`` and ``01`` are one to it."""
    pairs = elements[["decision", "option"]].drop_duplicates()
    number = {c: pd.to_numeric(pairs[c], errors="coerce") for c in pairs}
    seen = pd.DataFrame({c: pairs[c].str.casefold().where(number[c].isna(), number[c].map(repr)) for c in pairs})
    short = (pairs["decision"].str.len() <= _LONGEST_SOUGHT) & (pairs["option"].str.len() <= _LONGEST_SOUGHT)
    return pd.Series((~seen.duplicated(keep=False) & short).to_numpy(), index=pd.MultiIndex.from_frame(pairs))


def discounted_years(years: npt.ArrayLike, growth: npt.ArrayLike, rate: float, shift: float) -> Floats:
    r"""Present value of 1 a year that grows, in the closed form that the sheet uses.

    Parameters
    ----------
    years, growth : array, shape (decisions,)
        Years left and change from year to year. [year, 1/year]
    rate : float
        Real discount rate. [1/year]
    shift : float
        When a year's cash falls: 0.5 in its middle, 1 at its end. [year]

    Returns
    -------
    array, shape (decisions,)
        [year]

    Notes
    -----
    With n whole years and the rest f, v = 1/(1+r), q = (1+g) v:
    :math:`v^s (1 - q^n)/(1 - q) + f (1+g)^n v^{n + f s}`.
    """
    years, growth = np.asarray(years, dtype=float), np.asarray(growth, dtype=float)
    whole, v = np.floor(years), 1 / (1 + rate)
    rest, q = years - whole, (1 + growth) * v
    flat = np.abs(q - 1) < 1e-12  # noqa: PLR2004  (growth as fast as discounting)
    series = np.where(flat, whole, (1 - q**whole) / np.where(flat, 1.0, 1 - q))
    return np.asarray(v**shift * series + rest * (1 + growth) ** whole * v ** (whole + rest * shift))


def _years_formula(at: Address, growth: str) -> str:
    n, f = f"INT({at('years_left')})", f"({at('years_left')}-INT({at('years_left')}))"
    q = f"((1+{growth})/(1+real_rate))"
    series = f"IF(ABS({q}-1)<1E-12,{n},(1-{q}^{n})/(1-{q}))"
    return f"((1+real_rate)^-cash_shift*{series}+{f}*(1+{growth})^{n}*(1+real_rate)^-({n}+{f}*cash_shift))"


def decision_frame(content: Content, elements: pd.DataFrame) -> pd.DataFrame:
    """Decisions in order, with the figures between prices and net present value.

    Parameters
    ----------
    content : Content
    elements : DataFrame
        From :func:`element_frame`.

    Returns
    -------
    DataFrame
        Columns of ``DECISIONS_OUT`` and saving_5 … saving_95 [currency/product], volume_growth [1/year],
        discounted_products [-], discounted_years [year], saving_per_year [currency/year]; booleans
        ``_live_saving_today`` and ``_live_npv``: the book gives the figure.
    """
    frame = spread(content)
    by_option = elements.groupby(["decision", "option"])["today_per_unit"].sum()
    pairs = {o: pd.MultiIndex.from_frame(frame[["decision", o]]) for o in ("switch_to", "chosen")}
    saving = by_option.reindex(pairs["switch_to"]).to_numpy() - by_option.reindex(pairs["chosen"]).to_numpy()
    apart = _told_apart(elements)
    found = np.logical_and(*(apart.reindex(pair, fill_value=False).to_numpy(dtype=bool) for pair in pairs.values()))
    npv = -frame["discounted_products"] * frame["saving_today"] - frame["change_cost"]
    chances = content.savings.set_index(["quantile", "decision"])["saving"]
    at = {f"saving_{100 * q:.0f}": chances.reindex([(q, d) for d in frame["decision"]]) for q in SAVINGS}
    return frame.assign(
        **{name: values.to_numpy() for name, values in at.items()},
        saving_per_year=-frame["saving_today"] * frame["annual_volume"],
        _live_saving_today=found & close(saving, frame["saving_today"]),
        _live_npv=close(npv, frame["npv"]),
    )


def spread(content: Content) -> pd.DataFrame:
    """Decisions in order with discounted products and years, as the formulas give them."""
    rules = content.settings.decide
    rate = rate_of(rules)
    shift = 0.5 if rules.timing == "mid_year" else 1.0
    frame = by_verdict(content.decisions)
    growth = content.growth.reindex(frame["decision"]).fillna(0.0).to_numpy(dtype=float)
    left = frame["years_left"].to_numpy(dtype=float)
    return frame.assign(
        volume_growth=growth,
        discounted_products=frame["annual_volume"].to_numpy() * discounted_years(left, growth, rate, shift),
        discounted_years=discounted_years(left, np.zeros(len(left)), rate, shift),
    )


def close(mine: npt.ArrayLike, theirs: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether two figures are the same to the last digits; unknown ones never are."""
    a, b = np.asarray(mine, dtype=float), np.asarray(theirs, dtype=float)
    return np.asarray(np.abs(a - b) <= _SAME * np.maximum(np.abs(a), np.abs(b)) + 1e-12)


def decision_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Decisions``."""
    order = ["decision", "title", "verdict", "chosen", "best_today", "switch_to", "annual_volume", "years_left",
             "change_cost", "saving_booked", "saving_today", "saving_low", "saving_high", "p_flip", "npv"]  # fmt: skip
    rest = [n for n in DECISIONS_OUT.names if n not in order]
    made = {n: col(DECISIONS_OUT.column(n), content.currency) for n in [*order, *rest]}
    for name in ("annual_volume", "years_left", "change_cost"):
        made[name] = replace(made[name], role="entered")
    made["saving_today"] = replace(
        made["saving_today"], role="worked_out", live="_live_saving_today",
        formula=lambda at: "=" + "-".join(
            _SUM.format("today_per_unit", _literally(at("decision")), _literally(at(option)))
            for option in ("switch_to", "chosen")
        ),
    )  # fmt: skip
    made["npv"] = replace(
        made["npv"], role="worked_out", live="_live_npv",
        formula=lambda at: f"=-{at('discounted_products')}*{at('saving_today')}-{at('change_cost')}",
    )  # fmt: skip
    columns = list(made.values())
    chances = [Col(f"saving_{100 * q:.0f}", "signed_price", "given",
                   f"saving that is undercut in {100 * q:.0f} % of the draws [{content.currency}/product]", 11)
               for q in SAVINGS]  # fmt: skip
    return [*columns[: len(order)], *_between(content.currency), *chances, *columns[len(order) :]]


def _between(currency: str) -> list[Col]:
    return [
        Col("saving_per_year", "signed", "worked_out", f"what switching saves a year today [{currency}/year]", 14,
            lambda at: f"=-{at('saving_today')}*{at('annual_volume')}"),
        Col("volume_growth", "share", "entered", "change of the annual volume from year to year [1/year]"),
        Col("discounted_products", "money", "worked_out", "products still to be made, discounted", 14,
            lambda at: f"={at('annual_volume')}*{_years_formula(at, at('volume_growth'))}"),
        Col("discounted_years", "number", "worked_out", "years left, discounted [year]", 14,
            lambda at: f"={_years_formula(at, '0')}"),
    ]  # fmt: skip


def element_frame(content: Content, shown: pd.DataFrame) -> pd.DataFrame:
    """Elements with the price of one, and the line that it comes from.

    Parameters
    ----------
    content : Content
    shown : DataFrame
        Lines that the book holds.

    Returns
    -------
    DataFrame
        Columns of ``decide.Decided.elements`` and line_id ("" where the price is not one line's estimate), price_today
        [currency], weight [1/product]; boolean ``_live_today_per_unit``.
    """
    rows = content.elements.reset_index(drop=True)
    heads = spread(content).set_index("decision").reindex(rows["decision"])
    products, years = heads["discounted_products"].to_numpy(), heads["discounted_years"].to_numpy()
    basis = rows["basis"].to_numpy(dtype=object)
    weight = np.select([rows["spent"].to_numpy(dtype=bool), basis == "once", basis == "per_year"],
                       [0.0, 1 / products, years / products], default=1.0)  # fmt: skip
    size = weight * rows["qty"].to_numpy(dtype=float)
    today = rows["today_per_unit"].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        price = np.where(size != 0, today / size, np.nan)
    line = _line_of(rows["part_no"], price, shown)
    estimate = shown.set_index("line_id")["estimate"].reindex(line).to_numpy(dtype=float)
    return rows.assign(
        line_id=line, weight=weight, price_today=np.where(line == "", price, estimate),
        _live_today_per_unit=close(size * np.nan_to_num(price), today), _live_price_today=line != "",
    )  # fmt: skip


def _line_of(part_no: pd.Series, price: Floats, shown: pd.DataFrame) -> npt.NDArray[Any]:
    """Line whose estimate is the price of the element; "" where there is none."""
    lines = shown.loc[shown["estimate"].notna() & (shown["part_no"] != ""), ["part_no", "line_id", "estimate"]]
    wanted = pd.DataFrame({"part_no": part_no, "price": price, "row": np.arange(len(price))})
    pairs = wanted.merge(lines, on="part_no")
    pairs = pairs[close(pairs["estimate"], pairs["price"])].drop_duplicates("row")
    found = np.full(len(price), "", dtype=object)
    found[pairs["row"].to_numpy()] = pairs["line_id"].to_numpy(dtype=object)
    return found


def element_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Elements``."""
    per = f"[{content.currency}/product]"
    return [
        Col("decision", width=14), Col("option", width=16), Col("element", width=30), Col("kind"),
        Col("part_no", width=16), Col("line_id", note="line whose estimate is the price", width=9),
        Col("qty", "number", "entered", "how many a product"), Col("basis", note="per_unit, per_year or once"),
        Col("spent", note="paid already: counts as booked, not today"),
        Col("price_today", "price", "entered", f"price of one today [{content.currency}], a line's or stated",
            formula=lambda at: f"=INDEX(line_estimate,MATCH({at('line_id')},line_id,0))", live="_live_price_today"),
        Col("weight", "weight", "worked_out", "1 per unit; a product's share of yearly and one-time money [1/product]",
            formula=lambda at: f'=IF({at("spent")}="yes",0,IF({at("basis")}="once",'
                               f'1/{_of_decision("discounted_products", at)},IF({at("basis")}="per_year",'
                               f'{_of_decision("discounted_years", at)}/'
                               f'{_of_decision("discounted_products", at)},1)))'),
        Col("booked_per_unit", "price", "given", f"as booked {per}"),
        Col("today_per_unit", "price", "worked_out", f"today {per}", live="_live_today_per_unit",
            formula=lambda at: f"={at('price_today')}*{at('qty')}*{at('weight')}"),
        Col("low", "price", "given", f"low end {per}"), Col("high", "price", "given", f"high end {per}"),
        Col("moved", note="largest steps of the cost walk", width=50),
    ]  # fmt: skip
