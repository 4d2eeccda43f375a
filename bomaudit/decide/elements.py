"""Elements hang on parts: which BOM line, assembly or outside part prices each one, and at what it was booked.

Findings: ``D010`` no price · ``D012`` a currency without rates · ``D013`` duty cycle incomplete · ``D016`` an
assembly holds lines without a price · ``D017`` a part outside the BOM stated at several prices · ``D018`` dated
amounts carried to today · ``D019`` a dated amount without an index · ``D026`` a part on lines at several costs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

from bomaudit.decide.pricing import WALK, Bools, Floats, Ints, Prices, made_of_lines, rolled_into
from bomaudit.decide.register import Register, at, records
from bomaudit.decide.time_value import energy_in_use, rate_of
from bomaudit.findings import Finding, error, note, warning
from bomaudit.frames import conform
from bomaudit.glossary import BOM
from bomaudit.prepare.currency import Fx
from bomaudit.settings import DecideSection

_DUTY = ["power", "hours_per_year", "price_per_kwh"]
_PLACE = ["source_file", "source_sheet", "source_row"]
_SAME = [
    "part_no", "supplier", "commodity", "sourcing", "price_currency", "booked_cost", "basis_date", "auditable",
]  # fmt: skip
"""Lines alike in these are bought as one part, at one price."""


@dataclass(frozen=True)
class Sources:
    """Where each element's price comes from, before any outside part is estimated.

    Attributes
    ----------
    elements : DataFrame
        The register's elements with qty filled; ``key`` (part number, or a name made for a part without one);
        ``origin``: line, assembly, fixed, outside, stated or none; ``line`` (position in the prepared lines, -1:
        none); ``whole`` (bool: priced by all lines of its part, each at its own cost).
    outside : DataFrame
        One row a part that the BOM does not hold, columns of glossary ``BOM`` and places: ready to be prepared.
    findings : tuple of Finding
    """

    elements: pd.DataFrame
    outside: pd.DataFrame
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Costed:
    """Every element with its price as booked and today.

    Attributes
    ----------
    elements : DataFrame
        As in ``Sources``, and per ONE unit of the element in audit currency: booked, mode, low, high, sd (stated
        elements today; NaN where a part prices the element), constant (what hangs on no estimate), priced (bool).
    coefficients : csr array, shape (elements, parts)
        Quantity of each part of ``prices`` in one unit of the element.
    prices : Prices
    findings : tuple of Finding
    """

    elements: pd.DataFrame
    coefficients: sparse.csr_array
    prices: Prices
    findings: tuple[Finding, ...]

    @cached_property
    def once(self) -> Bools:
        """Elements that cost once."""
        return (self.elements["basis"] == "once").to_numpy(dtype=bool)

    @cached_property
    def per_year(self) -> Bools:
        """Elements that cost so much a year."""
        return (self.elements["basis"] == "per_year").to_numpy(dtype=bool)

    @property
    def today(self) -> Floats:
        """Price of one unit of each element today: median estimate or most likely amount. [currency]."""
        return self.priced_at(self.prices.median)

    def priced_at(self, median: Floats) -> Floats:
        """Price of one unit of each element at other part prices, shape (parts,). [currency]."""
        stated = self.elements["mode"].to_numpy()
        by_part = self.elements["constant"].to_numpy() + self.coefficients @ median
        return np.asarray(np.where(np.isnan(stated), by_part, stated))


def find_sources(register: Register, lines: pd.DataFrame) -> Sources:
    """Decide what prices each element.

    An element with a part number and a quantity, and every element of kind part that names a part or a market, is
    priced by the part's estimate: a line of the BOM, the roll-up of an assembly, or a part that the BOM does not
    hold. All others are stated amounts. A part without a quantity counts as often as the product holds it, on all its
    lines.

    Parameters
    ----------
    register : Register
    lines : DataFrame
        Prepared lines.

    Returns
    -------
    Sources
    """
    elements = register.elements.copy()
    is_part = elements["kind"] == "part"
    named = elements["part_no"] != ""
    by_part = (named & (is_part | elements["qty"].notna())) | (is_part & (elements["commodity"] != ""))
    option = register.options["option"].to_numpy()[elements["o"]]
    made_up = elements["decision"] + "/" + option + "/" + elements["element"]
    elements["key"] = elements["part_no"].where(named, made_up).where(by_part, "")
    row, origin = _in_bom(elements["key"], lines)
    row, origin = np.where(by_part, row, -1), np.where(by_part, origin, "stated")
    stated_price = elements["amount"].notna() & (elements["amount"] > 0)
    origin = np.where(by_part & (origin == "none") & stated_price, "outside", origin)
    built_in = elements["key"].map(lines["qty_per"].groupby(lines["part_no"]).sum()).to_numpy(dtype=float)
    by_bom = is_part & (row >= 0) & (built_in > 0)
    of_bom = np.where(by_bom, built_in, 1.0)
    whole = by_bom & elements["qty"].isna() & (origin == "line") & elements["key"].isin(_at_several_costs(lines))
    elements["qty"] = elements["qty"].fillna(pd.Series(of_bom, index=elements.index))
    elements = elements.assign(line=row, origin=pd.Series(origin, index=elements.index, dtype="str"), whole=whole)
    outside, findings = _outside(elements, register)
    return Sources(elements, outside, (*findings, *_taken_at(elements, lines)))


def _at_several_costs(lines: pd.DataFrame) -> pd.Index:
    """Parts that stand on several lines at several costs."""
    costs = lines.loc[lines["qty_per"] > 0].groupby("part_no")["booked_cost"].nunique()
    return costs.index[costs > 1]


def _taken_at(elements: pd.DataFrame, lines: pd.DataFrame) -> list[Finding]:
    """``D026``: parts on lines at several costs, and which of them an element follows."""
    rows = (elements["origin"] == "line") & elements["key"].isin(_at_several_costs(lines))
    several = elements[rows].drop_duplicates(["key", "whole"])
    cost = lines["booked_cost"].to_numpy(dtype=float)
    several = several.assign(
        first=cost[several["line"].to_numpy(dtype=np.int64)],
        mean=line_shares(several, lines) @ np.nan_to_num(cost),
    )
    return [
        at(r, warning, "D026", f"part {r['key']} should be booked at one cost",
           found="lines at several costs in the BOM",
           assumed=f"each line at its own, {r['mean']:,.4g} on average" if r["whole"]
           else f"all of it at {r['first']:,.4g}, as on its first line",
           advice="correct the BOM, split the part number, or state the amount") for r in records(several)
    ]  # fmt: skip


def line_shares(elements: pd.DataFrame, lines: pd.DataFrame) -> sparse.csr_array:
    """Share of each line in the price of the elements that lines price, shape (elements, lines).

    All of it its one line, or what the product holds on each line where the register says no quantity of a part that
    stands on lines at several costs.
    """
    whole = elements["whole"].to_numpy(dtype=bool)
    single = np.flatnonzero(elements["origin"].isin(["line", "fixed"]).to_numpy() & ~whole)
    usable = np.flatnonzero(lines["auditable"] & ~made_of_lines(lines) & (lines["qty_per"] > 0))
    held = lines.iloc[usable]
    of_part = pd.DataFrame({"key": held["part_no"].to_numpy(), "j": usable, "qty": held["qty_per"].to_numpy()})
    several = pd.DataFrame({"i": np.flatnonzero(whole), "key": elements["key"].to_numpy()[whole]}).merge(of_part)
    share = several["qty"] / several.groupby("i")["qty"].transform("sum")
    i = np.concatenate([single, several["i"]]).astype(np.int64)
    j = np.concatenate([elements["line"].to_numpy()[single], several["j"]]).astype(np.int64)
    return sparse.csr_array((np.concatenate([np.ones(len(single)), share]), (i, j)), shape=(len(elements), len(lines)))


def _in_bom(part_no: pd.Series, lines: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Line that prices each part number, and how: an audited line, an assembly, a booked cost without a market."""
    has_rows = made_of_lines(lines)
    how = np.select(
        [lines["auditable"] & ~has_rows, has_rows, lines["booked_cost"].notna()],
        ["line", "assembly", "fixed"],
        default="none",
    )
    rank = pd.Series(how).map({"line": 0, "assembly": 1, "fixed": 2, "none": 3}).to_numpy()
    spare = ~(lines["qty_per"] > 0).to_numpy()  # a row that the product does not hold, where there is one that it does
    frame = pd.DataFrame(
        {"part_no": lines["part_no"].to_numpy(), "row": np.arange(len(lines)), "how": how, "rank": rank, "spare": spare}
    )
    best = frame.sort_values(["rank", "spare", "row"], kind="stable").drop_duplicates("part_no").set_index("part_no")
    row = part_no.map(best["row"]).fillna(-1).to_numpy(dtype=np.int64)
    origin = part_no.map(best["how"]).fillna("none").to_numpy(dtype=object)
    return np.where(origin == "none", -1, row), origin


def _outside(elements: pd.DataFrame, register: Register) -> tuple[pd.DataFrame, list[Finding]]:
    """Parts that the BOM does not hold, as BOM rows; the newest statement of a part counts."""
    rows = elements[elements["origin"] == "outside"]
    heads = register.decisions.iloc[rows["d"]].set_index(rows.index)
    rows = rows.assign(
        cost_date=rows["date"].fillna(heads["decided_on"]),
        annual_volume=heads["annual_volume"],
        safety_relevant=heads["safety_relevant"],
    )
    ordered = rows.sort_values("cost_date", kind="stable", na_position="first")
    newest = ordered.drop_duplicates("key", keep="last").sort_index()
    prices = ordered.groupby("key")["amount"].nunique()
    several = newest[newest["key"].map(prices) > 1]
    findings = [
        at(r, warning, "D017", f"part {r['key']} should have one price at one date", found="several in the register",
           assumed="the newest one is followed to today; each decision keeps its own as booked",
           advice="state the date of each price") for r in records(several)
    ]  # fmt: skip
    bom = pd.DataFrame(
        {
            "part_no": newest["key"], "description": newest["element"], "qty": newest["qty"],
            "unit_cost": newest["amount"], "currency": newest["currency"], "cost_date": newest["cost_date"],
            "commodity": newest["commodity"], "sourcing": newest["sourcing"], "annual_volume": newest["annual_volume"],
            "safety_relevant": newest["safety_relevant"],
        }
    )  # fmt: skip
    bom = conform(bom, BOM).assign(**{c: newest[c] for c in _PLACE})
    bom = bom.assign(row_kind="part", parent_row=-1, unit_cost_low=np.nan, unit_cost_high=np.nan)
    return bom.reset_index(drop=True), findings


def one_price(lines: pd.DataFrame) -> Ints:
    """Position of the line that prices each line: the first of the same part, bought alike at the same cost and date.

    Several lines of one part are one price that nobody knows, not several that make up for each other.
    """
    alike = lines.groupby(_SAME, sort=False, dropna=False).ngroup().to_numpy()
    first = np.unique(alike, return_index=True)[1][alike]
    return np.where((lines["part_no"] != "").to_numpy(), first, np.arange(len(lines))).astype(np.int64)


def lines_needed(sources: Sources, lines: pd.DataFrame) -> np.ndarray:
    """Positions of the audited BOM lines that price an element, alone or beneath an assembly; each price once."""
    rows = sources.elements
    single = line_shares(rows[rows["origin"] == "line"], lines).tocoo().coords[1]
    tops = rows.loc[rows["origin"] == "assembly", "line"].to_numpy(dtype=np.int64)
    beneath = rolled_into(lines)[np.unique(tops)].tocoo().coords[1] if len(tops) else np.empty(0, dtype=np.int64)
    below = beneath[lines["auditable"].to_numpy(dtype=bool)[beneath]]
    return np.unique(one_price(lines)[np.concatenate([single, below]).astype(np.int64)])


def cost_elements(
    sources: Sources,
    lines: pd.DataFrame,
    prices: Prices,
    *,
    fx: Fx,
    decided_on: pd.Series,
    growth: Floats,
    rules: DecideSection,
    as_of: date,
) -> Costed:
    """Price each element as booked and today.

    Parameters
    ----------
    sources : Sources
    lines : DataFrame
        Prepared lines of the BOM.
    prices : Prices
        Of the lines needed and of the outside parts that could be estimated.
    fx : Fx
    decided_on : Series, shape (elements,)
        Day of each element's decision; its amounts without a date of their own are converted at that day's rate.
    growth : array, shape (elements,)
        Growth of each stated amount from its date to today; NaN where no index is known, which leaves it as it is. [ln]
    rules : DecideSection
    as_of : date

    Returns
    -------
    Costed

    Notes
    -----
    Booked: the amount stated when decided, at the rate of its date; a part without an amount at its booked cost.
    Today: the part's estimate; stated amounts grown from their own date (as stated where they have none), at the
    as-of rate.
    """
    e = sources.elements
    currency = e["currency"].where(e["currency"] != "", fx.currency).to_numpy(dtype=object)
    today = np.full(len(e), np.datetime64(as_of))
    then = e["date"].fillna(decided_on).fillna(pd.Timestamp(as_of)).to_numpy().astype("datetime64[D]")
    rate_now, rate_then = fx.rate(currency, today), fx.rate(currency, then)
    amount, duty_findings = _amounts(e, rules)
    coefficients, constant, booked_lines, unpriced_below = _hang(e, lines, prices)
    by_part = (e["origin"] != "stated").to_numpy()
    grown = np.exp(np.nan_to_num(growth))
    booked = np.where(np.isnan(amount) | (by_part & (amount <= 0)), booked_lines, amount * rate_then)
    e = e.assign(booked=booked, constant=constant)
    for name, values in (("mode", amount), ("low", e["low"].fillna(pd.Series(amount, index=e.index))),
                         ("high", e["high"].fillna(pd.Series(amount, index=e.index))), ("sd", e["sd"])):  # fmt: skip
        e[name] = np.where(by_part, np.nan, np.asarray(values, dtype=float) * rate_now * grown)
    reached = np.diff(coefficients.indptr) > 0
    priced = np.where(by_part, (reached | (e["origin"] == "fixed") | (e["origin"] == "assembly")), e["mode"].notna())
    e = e.assign(priced=priced & np.isfinite(e["constant"]))
    findings = [
        *sources.findings,
        *duty_findings,
        *_unpriced(e, fx.known(currency)),
        *_gaps(e, unpriced_below),
        *_grown(e[~by_part], growth[~by_part]),
    ]
    return Costed(e, coefficients, prices, tuple(findings))


def _amounts(e: pd.DataFrame, rules: DecideSection) -> tuple[Floats, list[Finding]]:
    """Stated amounts, those of a duty cycle worked out."""
    duty = e["power"].notna() & e["amount"].isna() & (e["origin"] == "stated")
    incomplete = duty & e[_DUTY].isna().any(axis=1)
    findings = [
        at(r, error, "D013", "a duty cycle needs power, hours_per_year and price_per_kwh", found="not all of them",
           assumed="element without a price", advice="fill in the missing columns, or state an amount")
        for r in records(e[incomplete])
    ]  # fmt: skip
    energy = energy_in_use(
        e["power"], e["time_share"].fillna(1.0), e["hours_per_year"], e["price_per_kwh"],
        e["use_years"].fillna(rules.use_years), rate=rate_of(rules), timing=rules.timing,
    )  # fmt: skip
    return np.where(duty, energy, e["amount"].to_numpy(dtype=float)), findings


def _hang(e: pd.DataFrame, lines: pd.DataFrame, prices: Prices) -> tuple[sparse.csr_array, Floats, Floats, np.ndarray]:
    """Coefficients on parts, constants, booked cost by the lines, and whether lines beneath have no price."""
    n, parts = len(e), prices.parts
    origin, row = e["origin"].to_numpy(dtype=object), e["line"].to_numpy(dtype=np.int64)
    tops = np.flatnonzero(origin == "assembly")
    booked_cost = lines["booked_cost"].to_numpy(dtype=float)
    use = sparse.csr_array((n, len(lines)))
    if len(lines):
        beneath = rolled_into(lines)[row[tops]].tocoo()
        i, j = beneath.coords
        use = line_shares(e, lines) + sparse.csr_array((beneath.data, (tops[i], j)), shape=(n, len(lines)))
    known = np.isfinite(booked_cost)
    without = np.asarray(use @ (~known).astype(float)) > 0
    booked = np.asarray(use @ np.where(known, booked_cost, 0.0))
    of_line = pd.Series(np.arange(len(parts)), index=parts["line"])[(parts["line"] >= 0).to_numpy()]
    position = of_line.reindex(one_price(lines)).to_numpy(dtype=float)
    estimated = np.isfinite(position)
    constant = np.asarray(use @ np.where(known & ~estimated, booked_cost, 0.0))
    take = sparse.csr_array(
        (np.ones(int(estimated.sum())), (np.flatnonzero(estimated), position[estimated].astype(np.int64))),
        shape=(len(lines), len(parts)),
    )
    own = pd.Series(np.arange(len(parts)), index=parts["part_no"])[(parts["line"] < 0).to_numpy()]
    of_outside = e["key"].map(own[~own.index.duplicated()]).to_numpy(dtype=float)
    held = np.flatnonzero((origin == "outside") & np.isfinite(of_outside))
    outside = sparse.csr_array((np.ones(len(held)), (held, of_outside[held].astype(np.int64))), shape=(n, len(parts)))
    return sparse.csr_array(use @ take + outside), constant, booked, without


def _unpriced(e: pd.DataFrame, known_currency: Bools) -> list[Finding]:
    foreign = e[~known_currency]
    return [
        at(r, error, "D012", "every amount needs a currency with exchange rates", found=repr(r["currency"]),
           assumed="element without a price", advice="correct the currency or add rates to the fx table")
        for r in records(foreign)
    ] + [
        at(r, error, "D010", "every element needs a price", found=f"none for {r['part_no'] or r['element']}",
           assumed="its decision is not judged beyond asking for it",
           advice="fill in amount, or the booked cost of the part") for r in records(e[~e["priced"] & known_currency])
    ]  # fmt: skip


def _gaps(e: pd.DataFrame, without: Bools) -> list[Finding]:
    return [
        at(r, warning, "D016", f"assembly {r['part_no']} should be priced whole", found="lines beneath without a price",
           assumed="they count 0 in both columns", advice="fill in their booked cost") for r in records(e[without])
    ]  # fmt: skip


def _grown(e: pd.DataFrame, growth: Floats) -> list[Finding]:
    """``D018``, ``D019``: amounts carried from their date to today, and those no index could carry."""
    moved = e[np.isfinite(growth) & (growth != 0)]
    stuck = e[np.isnan(growth)]
    times = moved["d"].value_counts().to_dict()
    return [
        at(r, note, "D018", f"amounts of decision {r['decision']} have a date of their own",
           found=f"{times[r['d']]} before today",
           assumed="carried to today by the labour, energy or general price index",
           advice="leave the date out if an amount is in today's money") for r in records(moved.drop_duplicates("d"))
    ] + [
        at(r, warning, "D019", "a dated amount needs a price index of its currency", found=f"none for {r['currency']}",
           assumed="taken as if it were of today", advice="add general_inflation to the input prices")
        for r in records(stuck)
    ]  # fmt: skip


def walk_of(costed: Costed) -> pd.DataFrame:
    """What moved each element: steps of the cost walk of its parts, per ONE unit of the element. [currency]."""
    walk = costed.prices.parts[WALK].fillna(0.0).to_numpy(dtype=float)
    return pd.DataFrame(costed.coefficients @ walk, columns=WALK, index=costed.elements.index)
