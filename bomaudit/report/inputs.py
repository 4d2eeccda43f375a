"""What input prices carry: the money that follows each material and currency, and what a rise does to the decisions."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bomaudit.report.book import Col
from bomaudit.report.book_decisions import exact_row
from bomaudit.report.content import Content, by_verdict, size_of
from bomaudit.report.input_words import RISES, input_name

_LEAST_CHANGE = 0.005
"""Changes of a saving below half a cent are not listed, or below so much of one below 1. [currency/product, share]"""


def input_frame(content: Content) -> pd.DataFrame:
    """Inputs by the money that follows them.

    Parameters
    ----------
    content : Content

    Returns
    -------
    DataFrame
        input, spend_per_year (today's estimates × quantities that follow the input, [currency/year]), share_of_spend
        [-], lines (how many follow it), change (a rise to begin with, [-]), adds_per_year (what that rise adds,
        [currency/year]), turns (decisions whose saving it turns to the other sign); most money first.
    """
    lines, shares = content.lines, content.shares
    spent = lines["estimate"] * lines["qty_per"] * lines["annual_volume"]
    spend = spent.fillna(0.0).to_numpy(dtype=float)
    follows = shares.share.T @ spend if spent.notna().any() else np.full(len(shares.inputs), np.nan)
    total = spend.sum()
    turned = content.inputs[content.inputs["tips_at"].between(0, RISES[-1])].groupby("driver")["decision"]
    turns = turned.agg(", ".join).reindex(list(shares.inputs)).fillna("")
    frame = pd.DataFrame(
        {
            "input": [input_name(name) for name in shares.inputs], "spend_per_year": follows,
            "share_of_spend": follows / total if total > 0 else np.nan, "lines": np.diff(shares.share.tocsc().indptr),
            "change": RISES[-1], "adds_per_year": RISES[-1] * follows, "turns": turns.to_numpy(),
        }
    ).astype({"input": "str", "turns": "str", "lines": "int64"})  # fmt: skip
    known = set(content.inputs["driver"].map(input_name))
    kept = frame[(frame["spend_per_year"] > 0) | frame["input"].isin(known)]
    return kept.sort_values(["spend_per_year", "input"], ascending=[False, True], kind="stable").reset_index(drop=True)


def effect_frame(content: Content) -> pd.DataFrame:
    """What a rise of each input does to each decision, decisions in the order of the report.

    Parameters
    ----------
    content : Content

    Returns
    -------
    DataFrame
        decision, input, saving_today, saving_change (for a doubling), change, moved, saving_then [currency/product],
        npv_change (for a doubling, [currency]), turns_at [-]: NaN where it takes more than a doubling.
    """
    size = content.inputs["decision"].map({d["decision"]: size_of(d) for d in content.decisions.to_dict("records")})
    least = _LEAST_CHANGE * size.clip(upper=1.0)
    effects = content.inputs[content.inputs["saving_change"].abs() * RISES[-1] >= least]
    place = {name: k for k, name in enumerate(by_verdict(content.decisions)["decision"])}
    effects = effects.sort_values("decision", key=lambda names: names.map(place), kind="stable")
    moved = RISES[-1] * effects["saving_change"]
    return effects.assign(
        input=effects["driver"].map(input_name).astype("str"), change=RISES[-1], moved=moved,
        saving_then=effects["saving_today"] + moved,
        turns_at=effects["tips_at"].where(effects["tips_at"].abs() <= 1),
    ).reset_index(drop=True)  # fmt: skip


def input_columns(currency: str) -> list[Col]:
    """Columns of the sheet ``Inputs``."""
    return [
        Col("input", note="material of a basket, or currency that suppliers price in", width=26),
        Col("spend_per_year", "money", "given", f"part of a year's spend that follows it [{currency}/year]", 16),
        Col("share_of_spend", "share", "given", "the same as a share of all that is spent on audited lines", 14),
        Col("lines", "count", note="lines whose price follows it"),
        Col("change", "signed_share", "entered", "what its price does: enter a rise or a fall", 12),
        Col("adds_per_year", "signed", "worked_out", f"what that adds, passed on in full [{currency}/year]", 16,
            lambda at: f"={at('spend_per_year')}*{at('change')}"),
        Col("turns", note="decisions whose saving a rise of 20 % turns to the other sign", width=30),
    ]  # fmt: skip


def effect_columns(currency: str) -> list[Col]:
    """Columns of the sheet ``Inputs by decision``."""
    return [
        Col("decision", width=16), Col("input", width=26),
        Col("saving_today", "signed_price", "worked_out", f"of the choice [{currency}/product]", 14,
            lambda at: "=" + exact_row("decision_name", at("decision"), "decision_saving_today")),
        Col("saving_change", "signed_price", "given", f"change of the saving if the input doubles [{currency}/product]",
            16),
        Col("change", "signed_share", "worked_out", "as entered in Inputs", 12,
            lambda at: "=" + exact_row("input_name", at("input"), "input_change")),
        Col("moved", "signed_price", "worked_out", f"change of the saving [{currency}/product]", 14,
            lambda at: f"={at('change')}*{at('saving_change')}"),
        Col("saving_then", "signed_price", "worked_out", f"saving after the change [{currency}/product]", 14,
            lambda at: f"={at('saving_today')}+{at('moved')}"),
        Col("npv_change", "signed", "given", f"change of the worth of switching if it doubles [{currency}]", 16),
        Col("turns_at", "signed_share", "given", "change of the input that turns the sign of the saving", 12),
    ]  # fmt: skip
