"""One row a decision: everything the verdict looks at, and what the report shows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide.case import Case
from bomaudit.decide.outcome import Outcomes
from bomaudit.decide.pricing import bearing_on_safety
from bomaudit.decide.register import texts
from bomaudit.decide.time_value import payback_years

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def gather(
    case: Case, outcomes: Outcomes, tips: pd.DataFrame, evens: pd.DataFrame, known: pd.DataFrame
) -> pd.DataFrame:
    """Facts of each decision, columns of glossary ``DECISIONS_OUT`` but verdict, rule, reason and safety, and more.

    Parameters
    ----------
    case : Case
    outcomes : Outcomes
    tips : DataFrame
        From :func:`bomaudit.decide.timing.look_around`.
    evens : DataFrame
        From :func:`bomaudit.decide.sensitivity.break_evens`.
    known : DataFrame
        From :func:`name_known`.

    Returns
    -------
    DataFrame, one row a decision
        Also priced (bool) and npv_later, npv_in_a_quarter [currency].
    """
    accounts, heads = case.accounts, case.register.decisions
    options = case.register.options["option"].to_numpy(dtype=object)
    chosen, target = case.chosen, case.target
    piece = case.costed.elements["kind"].to_numpy() == "part"
    drawn = outcomes.decisions
    one_time = _one_time(case)[target] + case.switch_cost[target]
    with np.errstate(invalid="ignore"):
        per_year = (_running(case)[chosen] - _running(case)[target]) * heads["annual_volume"].to_numpy(dtype=float)
    pivotal = evens.drop_duplicates("d").set_index("d")
    names = case.model.prices.parts["part_no"].to_numpy(dtype=object)
    part = pivotal["part"].reindex(range(len(heads)))
    ask = (
        known[known["kind"] == "part"]
        .sort_values(["d", "evsi"], ascending=[True, False], kind="stable")
        .drop_duplicates("d")
    )
    ask = ask.set_index("d").reindex(range(len(heads)))
    return pd.DataFrame(
        {
            "decision": heads["decision"], "title": heads["title"], "chosen": options[chosen],
            "best_today": options[accounts.best(-case.today)], "switch_to": options[target],
            "annual_volume": heads["annual_volume"], "years_left": heads["years_left"],
            "change_cost": case.switch_cost[target],
            "piece_saving_booked": _saving(case, np.where(piece, case.costed.elements["booked"], 0.0), booked=True),
            "piece_saving_today": _saving(case, np.where(piece, case.costed.today, 0.0)),
            "saving_booked": _against_best(case), "saving_today": case.today[target] - case.today[chosen],
            **{c: drawn[c] for c in ("saving_low", "saving_high", "p_flip")}, "npv": case.npv,
            **{c: drawn[c] for c in ("npv_low", "npv_high", "npv_mean", "p_pays_back", "p_error")},
            "payback_years": payback_years(one_time, per_year),
            "break_even_part": [names[int(p)] if pd.notna(p) else "" for p in part],
            "break_even_price": pivotal["break_even_price"].reindex(range(len(heads))).to_numpy(),
            **{c: tips[c] for c in ("tipped_on", "tips_on", "tips_early", "tips_late")},
            "regret_of_waiting": _regret(case, tips), "evpi": drawn["evpi"],
            "ask_first": texts(ask["part_no"]).to_numpy(), "value_of_asking": ask["evsi"].fillna(0.0).to_numpy(),
            "npv_later": tips["npv_later"], "npv_in_a_quarter": tips["npv_in_a_quarter"],
            "priced": case.costed.elements["priced"].groupby(case.costed.elements["d"]).all().to_numpy(dtype=bool),
        }
    )  # fmt: skip


_OF_ALL_PRICES = (
    "best_today", "piece_saving_booked", "piece_saving_today", "saving_booked", "saving_today", "saving_low",
    "saving_high", "p_flip", "npv", "npv_low", "npv_high", "npv_mean", "p_pays_back", "p_error", "payback_years",
    "break_even_part", "break_even_price", "tipped_on", "tips_on", "tips_early", "tips_late", "regret_of_waiting",
    "evpi", "ask_first", "value_of_asking",
)  # fmt: skip


def without_what_is_not_known(facts: pd.DataFrame) -> pd.DataFrame:
    """Facts with nothing said of a decision in which an element has no price: what is missing does not cost 0."""
    priced = facts["priced"]
    texts_of = ("best_today", "break_even_part", "ask_first")
    return facts.assign(**{c: facts[c].where(priced, "" if c in texts_of else None) for c in _OF_ALL_PRICES})


def _saving(case: Case, price: Floats, *, booked: bool = False) -> Floats:
    """What the chosen option saves against the target at given element prices. [currency/product]."""
    cost = case.accounts.per_option(price, weight=case.accounts.booked_weight if booked else None)
    return np.asarray(cost[case.target] - cost[case.chosen])


def _against_best(case: Case) -> Floats:
    """What the chosen option saved against the best alternative as booked. [currency/product]."""
    best = case.accounts.best_alternative(-case.booked)
    return np.asarray(case.booked[best] - case.booked[case.chosen])


def _once(case: Case) -> Bools:
    return (case.costed.elements["basis"] == "once").to_numpy(dtype=bool)


def _running(case: Case) -> Floats:
    """Cost per product of each option without one-time elements. [currency/product]."""
    return case.accounts.per_option(np.where(_once(case), 0.0, case.costed.today))


def _one_time(case: Case) -> Floats:
    """One-time elements of each option still to be paid. [currency]."""
    e, accounts = case.costed.elements, case.accounts
    due = _once(case) & ~accounts.spent
    cost = np.where(due, case.costed.today * e["qty"].to_numpy(dtype=float), 0.0)
    return np.bincount(accounts.option_of, weights=cost, minlength=accounts.n_options).astype(np.float64)


def _regret(case: Case, tips: pd.DataFrame) -> Floats:
    """What switching a quarter later loses, at that day's prices, seen from today. [currency]."""
    return np.asarray(case.npv - tips["npv_in_a_quarter"].to_numpy(dtype=float))


def name_known(case: Case, outcomes: Outcomes) -> pd.DataFrame:
    """Value of knowing, with names: d, decision, driver, part_no, kind, position, evpi, evsi."""
    known = outcomes.known
    e = case.costed.elements.iloc[case.model.ranges.element]
    parts = case.model.prices.parts["part_no"].to_numpy(dtype=object)
    labels = {
        "part": parts, "element": (e["option"] + ": " + e["element"]).to_numpy(dtype=object),
        "factor": np.array(case.model.prices.factors, dtype=object),
    }  # fmt: skip
    driver = np.empty(len(known), dtype=object)
    for kind, label in labels.items():
        rows = (known["kind"] == kind).to_numpy()
        driver[rows] = label[known["position"].to_numpy()[rows].astype(np.int64)]
    part_no = np.where(known["kind"] == "part", driver, "")
    names = case.register.decisions["decision"].to_numpy(dtype=object)
    return known.assign(decision=names[known["d"].to_numpy(dtype=np.int64)], driver=driver, part_no=part_no)


def bears_on_safety(case: Case, lines: pd.DataFrame) -> Bools:
    """Decisions flagged as safety-relevant, or with a part in any option that bears on safety, priced or not."""
    e = case.costed.elements
    on_safety = bearing_on_safety(lines)
    row = e["line"].to_numpy(dtype=np.int64)
    held = (row >= 0) & on_safety[row] if len(lines) else np.zeros(len(e), dtype=bool)
    parts = lines["part_no"][on_safety & (lines["part_no"] != "").to_numpy()]
    held = held | e["part_no"].isin(parts).to_numpy()
    by_line = pd.Series(held).groupby(e["d"].to_numpy()).any().to_numpy(dtype=bool)
    return np.asarray(case.register.decisions["safety_relevant"].to_numpy(dtype=bool) | by_line)
