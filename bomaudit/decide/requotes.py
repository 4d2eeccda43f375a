"""What to ask first: parts ranked by what a quote is worth, in decisions and in money a year."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bomaudit.decide.register import by_group, texts
from bomaudit.decide.value_of_asking import gain_from_asking
from bomaudit.decide.verdict import about
from bomaudit.glossary import REQUOTES
from bomaudit.settings import DecideSection

_BREAKS = (0.5, 1.0, 2.0)
"""Price breaks wanted, as multiples of the annual quantity; common practice, no published source."""
_ROUNDING = 1e-9
"""A quantity this close above a whole one is that: 9,000 × 1.1 is 9,900.000000000002. [-]"""


def rank_requotes(
    audited: pd.DataFrame,
    outside: pd.DataFrame,
    known: pd.DataFrame,
    *,
    committed: pd.Series,
    rules: DecideSection,
    currency: str,
) -> pd.DataFrame:
    """Parts whose quote is worth more than it costs.

    Parameters
    ----------
    audited : DataFrame
        Lines, columns of glossary ``LINES``.
    outside : DataFrame
        Parts of decisions that the BOM does not hold: part_no, description, supplier, commodity, booked_cost, estimate,
        estimate_low, estimate_high, sd_log.
    known : DataFrame
        decision, part_no, evsi: worth of one quote in each decision. [currency]
    committed : Series of float, index part_no
        Prices of firm quotes that are still valid. [currency/uom]
    rules : DecideSection
    currency : str
        Audit currency.

    Returns
    -------
    DataFrame, columns of glossary ``REQUOTES``

    Notes
    -----
    Worth = the sum over decisions of what the quote is worth there (decisions are separate actions, so it adds; of a
    part on lines at several costs the line where it is worth most, because it is asked for once) + the expected fall of
    the price below the booked cost × annual quantity × ``gain_years`` × ``gain_share``. Where a firm quote in hand is
    lower than the booked cost, the fall below that counts: the rest is won without asking. A part that bears on no
    decision is worth asking for the latter alone. Ranked by worth less cost.
    """
    known = known.groupby(["decision", "part_no"], sort=False, as_index=False)[["evsi"]].max()
    lines = _by_part(audited)
    parts = lines
    if len(outside):
        new = pd.Index(lines["part_no"]).get_indexer(pd.Index(outside["part_no"])) < 0
        parts = pd.concat([lines, outside[new]], ignore_index=True)
    to_beat = _to_beat(parts, committed)
    gain = parts["part_no"].map(_gain_per_year(audited, committed)).fillna(0.0).to_numpy(dtype=float)
    by_price = gain * rules.gain_years * rules.gain_share
    named = known[known["evsi"] > rules.cost_of_asking / 100].sort_values("evsi", ascending=False, kind="stable")
    decisions = {part: ", ".join(found) for part, found in by_group(named["decision"], named["part_no"]).items()}
    in_decisions = parts["part_no"].map(known.groupby("part_no")["evsi"].sum()).fillna(0.0).to_numpy()
    parts = parts.assign(
        decisions=texts(parts["part_no"].map(decisions)),
        value_of_asking=in_decisions + by_price,
        cost_of_asking=rules.cost_of_asking,
        in_decisions=in_decisions,
        by_price=by_price,
        below=np.where(to_beat < parts["booked_cost"], "firm quote in hand", "booked cost"),
    )
    parts = parts[parts["value_of_asking"] > rules.cost_of_asking]
    parts = parts.sort_values(["value_of_asking", "part_no"], ascending=[False, True], kind="stable").reset_index(
        drop=True
    )
    parts = parts.assign(rank=np.arange(1, len(parts) + 1, dtype=float), reason=_reasons(parts, rules, currency))
    return parts[list(REQUOTES.names)]


def _asked_for(audited: pd.DataFrame) -> pd.DataFrame:
    """Lines of named parts with a booked cost and an estimate, and their annual quantity ``per_year``."""
    lines = audited[audited["estimate"].notna() & audited["booked_cost"].notna() & (audited["part_no"] != "")]
    return lines.assign(per_year=lines["qty_per"] * lines["annual_volume"])


def _to_beat(parts: pd.DataFrame, committed: pd.Series) -> pd.Series:
    """Booked cost, or the price of a firm quote in hand where that is lower. [currency/uom]."""
    in_hand = parts["part_no"].map(committed).astype(float)
    return parts["booked_cost"].where(~(in_hand < parts["booked_cost"]), in_hand)


def _gain_per_year(audited: pd.DataFrame, committed: pd.Series) -> pd.Series:
    """Expected fall of each part's price, each line from its own booked cost, index part_no. [currency/year]."""
    lines = _asked_for(audited)
    gain = gain_from_asking(_to_beat(lines, committed), lines["estimate"], lines["sd_log"])
    return (pd.Series(gain, index=lines.index) * lines["per_year"]).groupby(lines["part_no"]).sum()


def _by_part(audited: pd.DataFrame) -> pd.DataFrame:
    """One row a part number: the first line's prices, all lines' quantities and exposure."""
    lines = _asked_for(audited)
    by = lines.groupby("part_no", sort=False)
    first = lines.drop_duplicates("part_no").set_index("part_no")
    first["per_year"], first["exposure_per_year"] = by["per_year"].sum(), by["exposure_per_year"].sum(min_count=1)
    return first.reset_index()


def _reasons(parts: pd.DataFrame, rules: DecideSection, currency: str) -> pd.Series:
    knowing, winning = (
        texts(parts[name].map(lambda m: about(m, currency, figures=2))) for name in ("in_decisions", "by_price")
    )
    share = f"{100 * rules.gain_share:g} % of a fall below the " + parts["below"].astype("str")
    in_decisions, by_price = parts["in_decisions"] >= 1, parts["by_price"] >= 1
    text = np.select(
        [in_decisions & by_price, in_decisions],
        ["knowing it is worth " + knowing + " in decisions, and winning " + share + " " + winning,
         "knowing it is worth " + knowing + " in decisions"],
        default="winning " + share + " is worth " + winning,
    )  # fmt: skip
    return pd.Series(text, index=parts.index, dtype="str")


def quantities_in_decisions(elements: pd.DataFrame, decisions: pd.DataFrame) -> pd.Series:
    """Largest annual quantity of each part that an option of a decision calls for, index part_no. [uom/year].

    Parameters
    ----------
    elements, decisions : DataFrame
        As in :class:`bomaudit.decide.judged.Decided`.
    """
    used = elements[(elements["part_no"] != "") & (elements["kind"] == "part") & (elements["basis"] == "per_unit")]
    volume = used["decision"].map(decisions.set_index("decision")["annual_volume"])
    return (used["qty"] * volume).groupby(used["part_no"]).max()


def quote_requests(
    requotes: pd.DataFrame, lines: pd.DataFrame, *, rules: DecideSection, elsewhere: pd.Series | None = None
) -> pd.DataFrame:
    """Request for quote, one row a part, suppliers together.

    Parameters
    ----------
    requotes : DataFrame
        Columns of glossary ``REQUOTES``.
    lines : DataFrame
        Audited lines: give quantities and units.
    rules : DecideSection
        ``show_last_price`` shows or withholds the last known price.
    elsewhere : Series, optional
        Annual quantities of parts that the BOM does not hold, from :func:`quantities_in_decisions`. [uom/year]

    Returns
    -------
    DataFrame
        supplier ("" for a part without one), part_no, description, commodity, annual_qty (rounded up to a whole one,
        [uom/year]), uom, break_1 … break_3 (quantities to quote, [uom]), last_price and last_price_currency and
        last_price_date (NaN, "" and NaT if withheld), price_currency ("" for a part that the BOM does not hold), in
        the order of rank within a supplier.
    """
    by = lines[lines["part_no"].isin(requotes["part_no"])]
    by = by.assign(annual_qty=by["qty_per"] * by["annual_volume"])
    first = by.drop_duplicates("part_no").set_index("part_no")
    sheet = requotes[["supplier", "rank", "part_no", "description", "commodity"]].copy()
    sheet["annual_qty"] = sheet["part_no"].map(by.groupby("part_no")["annual_qty"].sum(min_count=1))
    if elsewhere is not None:
        sheet["annual_qty"] = sheet["annual_qty"].fillna(sheet["part_no"].map(elsewhere))
    sheet["uom"] = texts(sheet["part_no"].map(first["uom"]))
    for k, multiple in enumerate(_BREAKS, start=1):
        sheet[f"break_{k}"] = _round_up(sheet["annual_qty"] * multiple)
    sheet["annual_qty"] = np.ceil(sheet["annual_qty"] * (1 - _ROUNDING))
    shown = rules.show_last_price
    last = {"last_price": "booked_price", "last_price_currency": "booked_currency", "last_price_date": "basis_date"}
    for name, source in last.items():
        # reindexed, not mapped: that fails on dates where the BOM holds none of the parts
        values = first[source].reindex(sheet["part_no"]).set_axis(sheet.index)
        sheet[name] = values if shown else values.mask(values.notna())
    sheet["last_price_currency"] = texts(sheet["last_price_currency"])
    sheet["price_currency"] = texts(sheet["part_no"].map(first["price_currency"]))
    return sheet.sort_values(["supplier", "rank"], kind="stable").drop(columns="rank").reset_index(drop=True)


def _round_up(quantity: pd.Series) -> pd.Series:
    """To two leading digits, as quantities are asked for."""
    values = quantity.to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = 10.0 ** np.maximum(np.floor(np.log10(values)) - 1, 0)
        rounded = np.ceil(values / step - 1e-9) * step
    return pd.Series(np.where(values > 0, rounded, np.nan), index=quantity.index)
