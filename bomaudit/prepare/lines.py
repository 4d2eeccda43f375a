"""One row a BOM line, ready to estimate."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, error, note, warning
from bomaudit.prepare.basis import find_basis
from bomaudit.prepare.commodity import classify
from bomaudit.prepare.currency import Fx
from bomaudit.prepare.demand import products_a_year
from bomaudit.prepare.part_graph import (
    Scrap,
    counted_quantity,
    effective,
    exploded_rows,
    gross_quantity,
    negative_quantity,
)
from bomaudit.prepare.rollup import explode
from bomaudit.prepare.safety import said_in_remarks
from bomaudit.settings import Settings
from bomaudit.tables.structure import BOUGHT

_DAYS_PER_YEAR = 365.25
_MADE = "make"
_SOURCINGS = ("custom", "standard")
_PRICED = ("part", "alternative")
_NOT_AUDITED = {
    "assembly": "assembly: audited through its parts",
    "charge": "charge: not a part, no market to follow",
}
CREDIT = "quantity is negative: a credit or a correction, not built in"
"""Why a row of negative quantity is not audited; ``T044`` names it with its place."""


def prepare_lines(
    bom: pd.DataFrame, *, quotes: pd.DataFrame, commodities: pd.DataFrame, fx: Fx, settings: Settings, as_of: date
) -> tuple[pd.DataFrame, list[Finding]]:
    """Join what is known of each BOM row: quantity, basis, currency, commodity, annual quantities.

    Parameters
    ----------
    bom : DataFrame
        Table ``bom`` of the glossary with places, row_kind and parent_row, as the tables were read.
    quotes : DataFrame
        Usable quotes, from :func:`bomaudit.prepare.quotes.prepare_quotes`.
    commodities : DataFrame
        Commodity catalogue; its keywords classify descriptions where the commodity is not stated.
    fx : Fx
    settings : Settings
    as_of : date

    Returns
    -------
    lines : DataFrame, shape (rows of the BOM, …)
        The columns of glossary ``LINES`` up to age_years, and: basis_date_sd [year], basis_kind, basis_noise [ln],
        price_at_basis [price_currency/uom], agreed_reduction [1/year], agreed_until, annual_qty_then and annual_qty_now
        [uom/year], on_hand_qty, parent_row, exploded_row, qty_in_parent (in ONE of its parent, scrap included, 0 where
        not built in; also of what the finished product does not hold, [uom]), auditable, why_not, not_fitted.
    findings : list of Finding
    """
    bom = bom.reset_index(drop=True)
    bom = bom if "exploded_row" in bom else bom.assign(exploded_row=-1)
    own = bom["currency"].str.upper()
    bom = bom.assign(currency=own.where(own != "", settings.read.currency or fx.currency))
    purchased = _purchased(bom)
    bom = bom.assign(row_kind=bom["row_kind"].mask(purchased, "part"))
    built = effective(bom, as_of=as_of)
    why_not = _why_not(bom, fx)
    basis = find_basis(bom, quotes, fx=fx, model=settings.model, as_of=as_of, programme=settings.audit.programme_date)
    market, found = _commodity(bom, quotes, commodities, settings.model.commodity_floor)
    quantity, net = (
        explode(
            bom["parent_row"].to_numpy(),
            counted_quantity(bom),
            lost,
            scrap=settings.read.scrap,
            row_kind=bom["row_kind"].to_numpy(),
            purchased=purchased.to_numpy(),
            built=built,
            exploded_row=exploded_rows(bom),
        )
        for lost in (bom["scrap_rate"].fillna(0.0).to_numpy(), np.zeros(len(bom)))
    )
    volume, told = products_a_year(bom, quantity, net)
    bom = bom.assign(annual_volume=volume)
    lines = _assemble(bom, basis, market, quantity, fx=fx, as_of=as_of, settings=settings)
    in_parent = _in_parent(bom, purchased, built, scrap=settings.read.scrap)
    out = bom["not_fitted"].astype(bool) if "not_fitted" in bom else False
    lines = lines.assign(qty_in_parent=in_parent, why_not=why_not, auditable=why_not == "", not_fitted=out)
    said = _findings(bom, basis, why_not, settings=settings, as_of=as_of)
    return lines, [*said, *_structure_findings(bom, purchased, built, as_of), *told, *_in_words(bom), *found]


def _in_words(bom: pd.DataFrame) -> list[Finding]:
    """Rows that bear on safety by their remark alone (``B110``)."""
    rows = bom[said_in_remarks(bom["safety_relevant"], bom["note"])]
    if rows.empty:
        return []
    first = rows.iloc[0]
    named = ", ".join(rows["part_no"].where(rows["part_no"] != "", rows["description"]).head(5))
    return [
        warning("B110", "parts that bear on safety are best marked in a column of their own",
                file=str(first["source_file"]), sheet=str(first["source_sheet"]), row=int(first["source_row"]),
                column="note", found=f"{len(rows)} said in remarks: {named}", assumed="they bear on safety",
                advice="confirm in the column safety_relevant, yes or no")
    ]  # fmt: skip


def _purchased(bom: pd.DataFrame) -> pd.Series:
    """Assemblies that are bought whole, at a price of their own: what lies beneath them is not bought again."""
    bought = bom["make_buy"].str.strip().str.lower().isin(BOUGHT)
    return (bom["row_kind"] == "assembly") & bought & (bom["unit_cost"] > 0)


def _in_parent(bom: pd.DataFrame, purchased: pd.Series, built: np.ndarray, *, scrap: Scrap) -> np.ndarray:
    """Gross quantity of each row in one of its parent: the roll-up of an assembly that the product does not hold."""
    parent = bom["parent_row"].to_numpy(dtype=np.int64)
    bought = (parent >= 0) & purchased.to_numpy()[np.maximum(parent, 0)]
    counted = built & ~bought & (bom["row_kind"] != "alternative").to_numpy()
    gross = gross_quantity(counted_quantity(bom), bom["scrap_rate"].to_numpy(dtype=float), scrap=scrap)
    return np.where(counted, gross, 0.0)


def _structure_findings(bom: pd.DataFrame, purchased: pd.Series, built: np.ndarray, as_of: date) -> list[Finding]:
    file = str(bom["source_file"].iloc[0]) if len(bom) else ""
    findings = []
    if purchased.any():
        findings.append(
            note("B108", f"{int(purchased.sum())} assemblies are bought whole", file=file, column="make_buy",
                 assumed="each is audited as one part; the rows beneath count no quantity")
        )  # fmt: skip
    made = int(((bom["make_buy"].str.strip().str.lower() == _MADE) & (bom["row_kind"] == "part")).sum())
    if made:
        findings.append(
            note("B111", _counted("{part} made, not bought", made), file=file, column="make_buy",
                 assumed="estimated like bought parts: what the market would ask, not what making them costs",
                 advice="weigh making against buying in a decision")
        )  # fmt: skip
    if not built.all():
        findings.append(
            note("B109", _counted("{row} not in effect on " + str(as_of), int((~built).sum())), file=file,
                 column="effective_from", assumed="they and what lies beneath count no quantity")
        )  # fmt: skip
    return findings


def _assemble(
    bom: pd.DataFrame,
    basis: pd.DataFrame,
    market: pd.DataFrame,
    quantity: np.ndarray,
    *,
    fx: Fx,
    as_of: date,
    settings: Settings,
) -> pd.DataFrame:
    today = pd.Timestamp(as_of)
    in_words = said_in_remarks(bom["safety_relevant"], bom["note"])
    basis_date, rate_date = (basis[c].where(basis[c] <= today, today) for c in ("basis_date", "rate_date"))
    day = basis_date.to_numpy()
    booked_cost = bom["unit_cost"].to_numpy() * fx.rate(bom["currency"].to_numpy(), day)
    agreed = [fx.rate(c.to_numpy(), rate_date.to_numpy()) for c in (bom["currency"], basis["price_currency"])]
    sourcing = bom["sourcing"].str.strip().str.lower()
    annual_volume = bom["annual_volume"].fillna(settings.audit.annual_volume or np.nan)
    needed = pd.Series(quantity, index=bom.index) * annual_volume
    part, digits = bom["part_no"].copy(), max(4, len(str(len(bom))))
    part[part == ""] = bom.index[part == ""].astype(str) + " has no number"
    return pd.DataFrame(
        {
            "line_id": [f"L{k:0{digits}d}" for k in range(1, len(bom) + 1)],
            **{c: bom[c] for c in ("source_file", "source_sheet", "source_row", "row_kind", "part_no", "description")},
            "supplier": bom["supplier"],
            **{c: market[c] for c in ("commodity", "commodity_basis", "commodity_confidence")},
            "sourcing": sourcing.where(sourcing.isin(_SOURCINGS), "standard"),
            "safety_relevant": bom["safety_relevant"].fillna(in_words).astype(bool),
            "qty_per": quantity,
            "uom": bom["uom"],
            "annual_volume": annual_volume,
            "booked_price": bom["unit_cost"],
            "booked_currency": bom["currency"],
            "booked_cost": booked_cost,
            "booked_extended": booked_cost * quantity,
            "currency": fx.currency,
            "price_currency": basis["price_currency"],
            "basis_date": basis_date,
            "basis": basis["basis"],
            "age_years": (today - basis_date).dt.days / _DAYS_PER_YEAR,
            **{c: basis[c] for c in ("basis_date_sd", "basis_kind", "basis_noise", "annual_qty_then")},
            "price_at_basis": bom["unit_cost"].to_numpy() * agreed[0] / agreed[1],
            **{c: bom[c] for c in ("agreed_reduction", "agreed_until", "on_hand_qty", "parent_row", "exploded_row")},
            "annual_qty_now": needed.groupby(part).transform("sum", min_count=1),
        },
        index=bom.index,
    )


def _commodity(
    bom: pd.DataFrame, quotes: pd.DataFrame, commodities: pd.DataFrame, floor: float
) -> tuple[pd.DataFrame, list[Finding]]:
    """Commodity of each row: stated in the BOM, stated with a quote, or by keywords where sure enough."""
    stated = bom["commodity"].str.strip()
    named = quotes[quotes["commodity"] != ""].drop_duplicates("part_no", keep="last").set_index("part_no")["commodity"]
    of_quote = named.reindex(bom["part_no"]).set_axis(bom.index).fillna("")
    open_ = ((stated == "") & (of_quote == "")).to_numpy()
    guess, sure = np.full(len(bom), "", dtype=object), np.zeros(len(bom))
    if open_.any():
        guess[open_], sure[open_] = classify(bom.loc[open_, "description"], commodities)
    enough = (guess != "") & (sure >= floor)
    basis = np.select([stated != "", of_quote != "", enough], ["stated", "quotes", "keywords"], default="unknown")
    commodity = np.select([stated != "", of_quote != "", enough], [stated, of_quote, guess], default="")
    market = pd.DataFrame(
        {
            "commodity": pd.Series(commodity, index=bom.index, dtype="str"),
            "commodity_basis": pd.Series(basis, index=bom.index, dtype="str"),
            "commodity_confidence": np.select(
                [np.isin(basis, ["stated", "quotes"]), basis == "keywords"], [1.0, sure], default=0.0
            ),
        }
    )
    parts = bom["row_kind"].isin(_PRICED) & (bom["unit_cost"] > 0)
    guessed, unknown = int((parts & (basis == "keywords")).sum()), int((parts & (basis == "unknown")).sum())
    file = str(bom["source_file"].iloc[0]) if len(bom) else ""
    findings: list[Finding] = []
    if guessed:
        findings.append(
            note("B101", "commodity is best stated", file=file, column="commodity",
                 found=_counted("{part} without", guessed),
                 assumed="taken from keywords in the description, its doubt widens the interval")
        )  # fmt: skip
    if unknown:
        findings.append(
            warning("B102", "every part needs a commodity to be estimated", file=file, column="commodity",
                    found=_counted("{part} without, and no keyword that is sure enough", unknown),
                    assumed="status unknown; only inflation is followed", advice="fill in the commodity column")
        )  # fmt: skip
    return market, findings


def _counted(text: str, count: int) -> str:
    """Text with its noun in braces counted: ``{line} with neither`` → ``2 lines with neither``."""
    before, _, rest = text.partition("{")
    noun, _, after = rest.partition("}")
    return f"{before}{count} {noun}{'' if count == 1 else 's'}{after}"


def _why_not(bom: pd.DataFrame, fx: Fx) -> pd.Series:
    """Reason why a row is not audited; "" where it is."""
    cost, currency = bom["unit_cost"].to_numpy(), bom["currency"].to_numpy(dtype=object)
    why = bom["row_kind"].map(_NOT_AUDITED).fillna("").to_numpy(dtype=object)
    unknown = ~fx.known(currency)
    for condition, words in (
        *((currency == c, f"no exchange rate for {c}") for c in pd.unique(currency[unknown])),
        (~np.isfinite(cost), "booked cost is not a finite number"),
        (cost < 0, "booked cost is negative: a credit, not a price"),
        (cost == 0, "booked cost is 0: free issue, or missing"),
        (np.isnan(cost), "no booked cost"),
        (negative_quantity(bom), CREDIT),
    ):
        why = np.where(condition & bom["row_kind"].isin(_PRICED).to_numpy(), words, why)
    return pd.Series(why, index=bom.index, dtype="str")


def _findings(
    bom: pd.DataFrame, basis: pd.DataFrame, why_not: pd.Series, *, settings: Settings, as_of: date
) -> list[Finding]:
    file = str(bom["source_file"].iloc[0]) if len(bom) else ""
    priced = why_not == ""
    low, high = settings.model.undated_range_years
    no_volume = bool(bom["annual_volume"].isna().all()) and settings.audit.annual_volume is None
    counted = [
        (priced & (basis["basis"] == "undated"), "B104", "every booked cost needs a date or a quote", "cost_date",
         "{line} with neither", f"age taken as {low:g}-{high:g} years, which widens the interval",
         "fill in cost_date, or programme_date in audit.toml"),
        (priced & (basis["basis_date"] > pd.Timestamp(as_of)), "B105", f"no cost date should be later than {as_of}",
         "cost_date", "{later date}", "taken as of that date", "correct the dates or as_of"),
        (priced & no_volume, "B106", "money a year needs annual_volume", "annual_volume",
         "none for {line}", "exposures are left empty", "set annual_volume under [audit]"),
        (priced & bom["qty"].isna(), "B107", "every part needs a quantity", "qty",
         "{priced part} without", "taken as 1 per parent", "fill in the quantities"),
    ]  # fmt: skip
    return _left_out(bom, why_not) + [
        warning(code, message, file=file, column=column, found=_counted(found, int(rows.sum())), assumed=assumed,
                advice=advice)
        for rows, code, message, column, found, assumed, advice in counted if rows.any()
    ]  # fmt: skip


def _left_out(bom: pd.DataFrame, why_not: pd.Series) -> list[Finding]:
    rows = bom[~why_not.isin(["", CREDIT]) & ~bom["row_kind"].isin(list(_NOT_AUDITED))]
    return [
        error("B103", "a part needs a booked cost > 0 in a known currency", file=file, sheet=sheet, row=int(row),
              column="unit_cost", found=reason, assumed="not audited, kept in lines.csv", advice="fill in the cost")
        for reason, file, sheet, row in zip(
            why_not[rows.index], rows["source_file"], rows["source_sheet"], rows["source_row"], strict=True)
    ]  # fmt: skip
