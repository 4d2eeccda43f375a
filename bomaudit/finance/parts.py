"""What each part costs by every figure finance and purchasing hold: standard, booked, last paid, agreed, today.

Findings: ``K001`` a part with several standards, ``K002`` a standard without a date, ``K003`` parts without a standard,
``K004`` standards of parts the BOM does not hold, ``K005`` a part booked at several costs, ``K006`` a standard in a
currency without rates, ``K007`` parts that could not be estimated, ``K014`` last purchases after the as-of date.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, error, note, warning
from bomaudit.glossary import WALK_STEPS
from bomaudit.prepare.currency import Fx

WALK = tuple(f"walk_{step}" for step in WALK_STEPS)
_MEANS = (
    "booked_cost", "contract_price", "estimate", "estimate_low", "estimate_high", "drift", "p_stale", *WALK
)  # fmt: skip
_FIRSTS = ("description", "supplier", "commodity", "uom", "status")
_PLACES = 8
"""Most decimal places of a standard, as in ``[finance] places``: what conversion of a unit or a currency leaves behind
them is no part of it, and would be printed in journals."""
_SAME_COST = 1e-9
"""Booked costs of one part closer than this share are the same."""


def standards_in_audit_currency(standards: pd.DataFrame, *, fx: Fx, as_of: date) -> tuple[pd.DataFrame, list[Finding]]:
    """One standard a part, in audit currency.

    Parameters
    ----------
    standards : DataFrame
        Table ``standards`` of the glossary, with places.
    fx : Fx
    as_of : date

    Returns
    -------
    DataFrame, index part_no
        ``standard_cost`` at the rate of the day it was set, ``standard_stated`` and ``standard_currency`` as in the
        file, ``set_on``, ``on_hand_qty``, ``annual_qty``, ``last_purchase_price`` at the rate of the day it was paid,
        ``last_purchase_date``; costs and prices to 8 places. Of several standards the one set last up to the as-of
        date; what was paid later was not paid yet. [audit currency/uom, uom, uom/year]
    findings : list of Finding
        ``K001``, ``K002``, ``K006``, ``K014``.
    """
    stated = standards["currency"].str.upper()
    rows = standards.assign(currency=stated.where(stated != "", fx.currency))
    usable = (rows["part_no"] != "") & rows["standard_cost"].notna()
    known = pd.Series(fx.known(rows["currency"].to_numpy()), index=rows.index)
    today = pd.Timestamp(as_of)
    findings = _about_standards(rows, usable=usable, known=known, today=today)
    paid_by_then = ~(rows["last_purchase_date"] > today)
    rows = rows.assign(
        set_by_then=~(rows["set_on"] > today),
        last_purchase_price=rows["last_purchase_price"].where(paid_by_then),
        last_purchase_date=rows["last_purchase_date"].where(paid_by_then),
    )
    rows = rows[usable & known].sort_values(["set_by_then", "set_on"], kind="stable", na_position="first")
    rows = rows.drop_duplicates("part_no", keep="last").sort_values("part_no", kind="stable").set_index("part_no")
    currency = rows["currency"].to_numpy()
    set_on, paid_on = (rows[c].fillna(today).to_numpy() for c in ("set_on", "last_purchase_date"))
    return rows.assign(
        standard_stated=rows["standard_cost"].round(_PLACES),
        standard_currency=rows["currency"],
        standard_cost=(rows["standard_cost"] * fx.rate(currency, set_on)).round(_PLACES),
        last_purchase_price=(rows["last_purchase_price"] * fx.rate(currency, paid_on)).round(_PLACES),
    )[
        [
            *("standard_cost", "standard_stated", "standard_currency", "set_on", "on_hand_qty", "annual_qty"),
            *("last_purchase_price", "last_purchase_date"),
        ]
    ], findings


def part_costs(*, lines: pd.DataFrame, audited: pd.DataFrame, standards: pd.DataFrame) -> pd.DataFrame:
    """One row a part: every part built in, and every part or assembly with a standard.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines.
    audited : DataFrame
        The same rows, columns of glossary ``LINES``.
    standards : DataFrame
        From :func:`standards_in_audit_currency`.

    Returns
    -------
    DataFrame
        ``part_no``, ``kind`` (part, assembly, not in BOM), description, supplier, commodity, uom, status, qty_per,
        on_hand_qty, annual_qty, standard_cost, set_on, booked_cost, basis_date, last_purchase_price,
        last_purchase_date, contract_price,
        estimate, estimate_low, estimate_high, drift, p_stale, walk_*, ``today_cost`` (the estimate, or the booked cost
        where there is none, or else the standard) and ``estimated``. Sorted by part number. [audit currency/uom]

    Notes
    -----
    Where a part stands in several rows, costs are means weighted by quantity, so that quantity × cost is the sum of the
    rows; of one that is bought at one place and made at another only what is bought counts, as a part.
    Annual quantity: the standard's, else quantity per product × products a year.
    """
    in_bom = _by_part(lines, audited)
    stated = standards.drop(columns=["standard_stated", "standard_currency"])
    stated = stated.rename(columns={name: f"{name}_std" for name in ("on_hand_qty", "annual_qty")})
    parts = in_bom.join(stated, how="outer")
    parts = parts.rename_axis("part_no").sort_index(kind="stable").reset_index()
    parts["part_no"] = parts["part_no"].astype("str")
    for name in ("on_hand_qty", "annual_qty"):
        parts[name] = parts[f"{name}_std"].fillna(parts[name])
    parts["kind"] = parts["kind"].fillna("not in BOM").astype("str")
    for name in _FIRSTS:
        parts[name] = parts[name].fillna("").astype("str")
    parts["estimated"] = parts["estimate"].notna()
    parts["today_cost"] = parts["estimate"].fillna(parts["booked_cost"]).fillna(parts["standard_cost"])
    order = [
        *("part_no", "kind", *_FIRSTS, "qty_per", "on_hand_qty", "annual_qty", "standard_cost", "set_on"),
        *("booked_cost", "basis_date", "last_purchase_price", "last_purchase_date", "contract_price"),
        *("estimate", "estimate_low", "estimate_high", "drift", "p_stale", "today_cost", "estimated", *WALK),
    ]
    return parts[order]


def with_newest_purchase(parts: pd.DataFrame, paid: pd.DataFrame) -> pd.DataFrame:
    """Parts with the newest price paid, whether the standards or the quotes know of it.

    Parameters
    ----------
    parts : DataFrame
        From :func:`part_costs`.
    paid : DataFrame
        From :func:`bomaudit.finance.variance.prices_paid`.

    Returns
    -------
    DataFrame
        ``parts`` with ``last_purchase_price`` and ``last_purchase_date`` of the newest; a price without a date stays
        where nothing else is known.
    """
    newest = paid.drop_duplicates("part_no", keep="last").set_index("part_no")
    known = parts["part_no"].isin(newest.index)
    dates = pd.Series(newest["date"].reindex(parts["part_no"]).to_numpy(), index=parts.index)
    return parts.assign(
        last_purchase_price=looked_up(parts["part_no"], newest["price"]).fillna(parts["last_purchase_price"]),
        last_purchase_date=dates.where(known, parts["last_purchase_date"]),
    )


def about_parts(parts: pd.DataFrame, lines: pd.DataFrame, *, file: str) -> list[Finding]:
    """Findings on what the parts lack: ``K003``, ``K004``, ``K005``, ``K007``."""
    bought = parts["kind"] == "part"
    cases = (
        (parts["standard_cost"].isna() & bought, note, "K003", "every part needs a standard cost to be reconciled",
         "the booked cost stands for it"),
        (parts["kind"] == "not in BOM", note, "K004", "standards should be of parts the BOM holds",
         "left as they are: kept in parts, not in the roll-up"),
        (bought & ~parts["estimated"], warning, "K007", "every part should have an estimate of today's price",
         "the booked cost stands for it, or where there is none the standard"),
    )  # fmt: skip
    findings = [
        make(code, message, file=file, found=_named(parts.loc[mask, "part_no"]), assumed=assumed)
        for mask, make, code, message, assumed in cases
        if mask.any()
    ]
    built = lines[lines["row_kind"].isin(["part"]) & (lines["part_no"] != "") & (lines["qty_per"] != 0)]
    spread = built.groupby("part_no")["booked_cost"].agg(["min", "max"])
    several = spread.index[(spread["max"] - spread["min"]) > _SAME_COST * spread["max"].abs()]
    if len(several):
        findings.append(
            warning("K005", "a part should be booked at one cost", file=file, column="unit_cost",
                    found=_named(pd.Series(several)), assumed="mean weighted by quantity",
                    advice="correct the BOM or split the part number")
        )  # fmt: skip
    return findings


def _by_part(lines: pd.DataFrame, audited: pd.DataFrame) -> pd.DataFrame:
    """Rows of the BOM gathered by part number, in the order of the part numbers; of one also made, those bought."""
    frame = audited.assign(
        on_hand_qty=lines["on_hand_qty"], kind=lines["row_kind"].where(lines["row_kind"] == "assembly", "part")
    )
    frame = frame[
        (frame["part_no"] != "") & frame["row_kind"].isin(["part", "assembly", "charge"]) & (frame["qty_per"] != 0)
    ]
    on_hand = frame["on_hand_qty"].groupby(frame["part_no"]).first()
    bought = frame["kind"] == "part"  # what is made counts in the parts that go into it
    frame = frame[bought | ~bought.groupby(frame["part_no"]).transform("any")]
    needed = frame["qty_per"] * frame["annual_volume"]
    weight = frame["qty_per"].abs()
    by = frame["part_no"]
    means = {}
    for name in _MEANS:
        known = weight.where(frame[name].notna())
        means[name] = (frame[name] * known).groupby(by).sum(min_count=1) / known.groupby(by).sum(min_count=1)
    firsts = frame.groupby("part_no", sort=True)[["kind", *_FIRSTS, "basis_date"]].first()
    sums = pd.DataFrame(
        {
            "qty_per": frame["qty_per"].groupby(by).sum(min_count=1),
            "annual_qty": needed.groupby(by).sum(min_count=1),
            "on_hand_qty": on_hand,
        }
    )
    return firsts.join(sums).join(pd.DataFrame(means))


def _about_standards(rows: pd.DataFrame, *, usable: pd.Series, known: pd.Series, today: pd.Timestamp) -> list[Finding]:
    wrong = rows.loc[usable & ~known, ["source_file", "source_sheet", "source_row", "currency"]]
    findings = [
        error("K006", "a standard cost needs a currency with exchange rates", file=file, sheet=sheet, row=int(row),
              column="currency", found=repr(code), assumed="standard left out", advice="add the rate to the fx table")
        for file, sheet, row, code in zip(*(wrong[c] for c in wrong.columns), strict=True)
    ]  # fmt: skip
    kept = rows[usable & known]
    twice = kept.loc[kept["part_no"].duplicated(), "part_no"].drop_duplicates()
    file = str(rows["source_file"].iloc[0]) if len(rows) else ""
    if len(twice):
        findings.append(
            warning("K001", "a part should have one standard cost", file=file, column="part_no", found=_named(twice),
                    assumed=f"the one set last up to {today:%Y-%m-%d}")
        )  # fmt: skip
    later = int((kept["last_purchase_date"] > today).sum())
    if later:
        findings.append(
            note("K014", f"{later} last purchases are later than {today:%Y-%m-%d}", file=file,
                 column="last_purchase_date", assumed="not used: they were not paid yet")
        )  # fmt: skip
    undated = int(kept["set_on"].isna().sum())
    if undated:
        findings.append(
            note("K002", "a standard should say when it was set", file=file, column="set_on",
                 found=f"{undated} without", assumed="another currency is converted at the as-of date's rate")
        )  # fmt: skip
    return findings


def _named(parts: pd.Series, most: int = 5) -> str:
    shown = ", ".join(parts.astype(str).head(most))
    return shown + (f" and {len(parts) - most} more" if len(parts) > most else "")


def looked_up(part_no: pd.Series, by_part: pd.Series | Mapping[str, float]) -> pd.Series:
    """Amount of each part by part number, as floats whatever is in the table; NaN where it has none.

    Parameters
    ----------
    part_no : Series of str, shape (rows,)
    by_part : Series with unique index, or mapping
        By part number.

    Returns
    -------
    Series of float, index as ``part_no``
    """
    amounts = pd.Series(by_part, dtype="float64")
    amounts = amounts[amounts.index != ""]
    return pd.Series(amounts.reindex(part_no).to_numpy(np.float64), index=part_no.index)
