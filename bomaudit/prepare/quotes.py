"""Quotes fit to compare: a known currency and kind, a price above zero, not after the as-of date."""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.findings import Finding, error, note, warning
from bomaudit.glossary import QUOTE_KINDS
from bomaudit.prepare.currency import Fx
from bomaudit.tables.pricing import rates

ASSUMED_KIND = "budgetary"
"""A quote that does not say what it is: not binding, but made for this part. Common practice, no published source."""


def prepare_quotes(
    quotes: pd.DataFrame, *, fx: Fx, as_of: date, uom: pd.Series | None = None
) -> tuple[pd.DataFrame, list[Finding]]:
    """Leave out quotes that cannot be used, each with a finding; fill in what is assumed of the others.

    Parameters
    ----------
    quotes : DataFrame
        Table ``quotes`` of the glossary, with places.
    fx : Fx
        Its currency is assumed where a quote states none.
    as_of : date
        Later quotes did not exist yet.
    uom : Series of str, index part_no, optional
        Unit that the BOM counts each part in: a quote for another unit of the same kind is brought to it, one for
        another kind of unit is left out (``Q009``).

    Returns
    -------
    quotes : DataFrame
        Usable quotes, sorted by part and date; ``currency`` and ``kind`` filled, ``min_qty`` 0 where none was stated.
    findings : list of Finding
    """
    currency = quotes["currency"].str.upper()
    kind = quotes["kind"].str.strip().str.lower()
    stated = quotes.assign(
        currency=currency.where(currency != "", fx.currency),
        kind=kind.where(kind.isin(QUOTE_KINDS), ASSUMED_KIND),
        min_qty=quotes["min_qty"].fillna(0.0),
    )
    stated, clash = _in_bom_units(stated, uom)
    later = stated["quote_date"] > pd.Timestamp(as_of)
    reasons: list[tuple[npt.NDArray[np.bool_], str, str, str, str]] = [
        (~(stated["unit_price"] > 0).to_numpy(), "Q001", "unit_price", "unit_price must be > 0", "unit_price"),
        (stated["quote_date"].isna().to_numpy(), "Q002", "quote_date", "quote_date must be a date", "quote_date"),
        (~fx.known(stated["currency"].to_numpy()), "Q003", "currency", "currency must have exchange rates", "currency"),
        (clash, "Q009", "unit_price", "the unit of the price must fit the unit of the part in the BOM", "uom"),
    ]
    bad = np.array(quotes["unit_price"].isna() & quotes["quote_date"].isna(), dtype=bool)
    findings = _unanswered(quotes, bad)
    for mask, code, column, message, shown in reasons:
        rows = quotes[mask & ~bad]
        bad |= mask
        findings += [
            error(code, message, file=file, sheet=sheet, row=int(row), column=column, found=value,
                  assumed="quote left out", advice="correct the cell")
            for file, sheet, row, value in zip(
                rows["source_file"], rows["source_sheet"], rows["source_row"], _as_found(rows[shown]), strict=True)
        ]  # fmt: skip
    findings += _assumed(quotes, ~bad, fx.currency, later.to_numpy(), as_of)
    usable = stated[~bad & ~later.to_numpy()]
    order = ["part_no", "quote_date", "min_qty", "unit_price", "supplier"]  # of the rows of the file none goes first
    return usable.sort_values(order, kind="stable", ignore_index=True), findings


def _in_bom_units(quotes: pd.DataFrame, uom: pd.Series | None) -> tuple[pd.DataFrame, npt.NDArray[np.bool_]]:
    """Price and quantities in the unit that the BOM counts the part in, and which quotes are in no such unit."""
    if uom is None or not (quotes["uom"] != "").any():
        return quotes, np.zeros(len(quotes), dtype=bool)
    of_bom = uom.reindex(quotes["part_no"]).fillna("").to_numpy(dtype=object)
    many = rates(quotes["uom"].to_numpy(dtype=object), of_bom)
    scale = np.where(np.isnan(many), 1.0, many)
    quantities = {c: quotes[c] * scale for c in ("min_qty", "annual_qty")}
    return quotes.assign(unit_price=quotes["unit_price"] / scale, **quantities), np.isnan(many)


def _as_found(values: pd.Series) -> pd.Series:
    return values.astype(str).map(repr).where(values.notna() & values.ne(""), "nothing that can be read")


def _unanswered(quotes: pd.DataFrame, empty: npt.NDArray[np.bool_]) -> list[Finding]:
    """``Q007``: rows of a request for quote that the supplier left empty."""
    if not empty.any():
        return []
    return [note("Q007", f"{int(empty.sum())} quotes have neither a price nor a date", assumed="not answered, left out",
                 file=str(quotes["source_file"][empty].iloc[0]), column="unit_price")]  # fmt: skip


def _assumed(
    quotes: pd.DataFrame, kept: npt.NDArray[np.bool_], currency: str, later: npt.NDArray[np.bool_], as_of: date
) -> list[Finding]:
    file = str(quotes["source_file"].iloc[0]) if len(quotes) else ""
    without = int((kept & (quotes["currency"] == "").to_numpy()).sum())
    kinds = quotes["kind"].str.strip().str.lower()
    odd = kept & ~kinds.isin(QUOTE_KINDS).to_numpy()
    findings = []
    if without:
        findings.append(
            warning("Q004", "every quote should state its currency", file=file, column="currency",
                    found=f"{without} quotes without", assumed=f"taken as {currency}")
        )  # fmt: skip
    if odd.any():
        words = ", ".join(sorted({repr(k) for k in kinds[odd]})[:5])
        findings.append(
            warning("Q005", f"kind should be one of {', '.join(QUOTE_KINDS)}", file=file, column="kind",
                    found=f"{words} in {int(odd.sum())} quotes", assumed=f"taken as {ASSUMED_KIND}")
        )  # fmt: skip
    extra = int((kept & (quotes["one_time_cost"] > 0).to_numpy()).sum())
    if extra:
        findings.append(
            note("Q008", "one-time costs of quotes belong to a decision", file=file, column="one_time_cost",
                 found=f"{extra} stated", assumed="not in the piece price that is estimated",
                 advice="state it in the decision that it belongs to, as tooling, once")
        )  # fmt: skip
    if (kept & later).any():
        findings.append(
            note("Q006", f"{int((kept & later).sum())} quotes are later than {as_of}", file=file, column="quote_date",
                 assumed="not used: they did not exist yet")
        )  # fmt: skip
    return findings


def committed_prices(quotes: pd.DataFrame, *, fx: Fx, as_of: date) -> pd.Series:
    """Price of each part under a firm quote that is still valid, in audit currency at the as-of rate.

    Parameters
    ----------
    quotes : DataFrame
        Usable quotes.
    fx : Fx
    as_of : date

    Returns
    -------
    Series of float, index part_no
        The newest firm quote's; where it has price breaks, that of the smallest quantity, and of several quotes of the
        day the dearest, which is the most one would pay. [currency/uom]
    """
    firm = quotes[(quotes["kind"] == "firm") & (quotes["valid_until"] >= pd.Timestamp(as_of))]
    day = np.full(len(firm), np.datetime64(as_of, "D"))
    firm = firm.assign(price=firm["unit_price"].to_numpy() * fx.rate(firm["currency"].to_numpy(), day))
    order = {"part_no": True, "quote_date": False, "min_qty": True, "price": False}
    firm = firm.sort_values(list(order), ascending=list(order.values()), kind="stable").drop_duplicates("part_no")
    return pd.Series(firm["price"].to_numpy(), index=pd.Index(firm["part_no"].astype("str"), dtype="str"))
