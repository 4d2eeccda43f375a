"""Every assembly and the product, rolled up at each basis: standard, booked, last paid, agreed, today.

Findings: ``K008`` a standard that the roll-up of its parts does not give, ``K009`` the same of a booked assembly cost,
``K010`` a roll-up in several currencies, which is brought to one before it is checked to the cent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.finance.bridge import Start, add_up
from bomaudit.finance.parts import WALK, looked_up
from bomaudit.findings import Finding, note, warning
from bomaudit.prepare.exact import TotalCheck, reconcile_assemblies, round_money, to_decimal
from bomaudit.prepare.part_graph import PartGraph, built_into, counted_quantity, exploded_rows, graph_of
from bomaudit.settings import FinanceSection, ReadSection

Floats = NDArray[np.float64]

ROLLED = ("standard", "booked", "last_purchase", "contract", "today")
PRODUCT = "product"
"""``part_no`` of the row that adds up everything at the top of the BOM."""


@dataclass(frozen=True)
class Structure:
    """The BOM rows as a graph of what goes into what, for one unit of each row.

    Attributes
    ----------
    graph : PartGraph
        Nodes are the rows, in order.
    is_assembly : bool array, shape (rows,)
        Rows with rows built in below them: their cost is that of those rows.
    top_qty : array, shape (rows,)
        Quantity per product of rows at the top, 0 elsewhere. [uom]
    built : bool array, shape (rows,)
        Rows that are in the product.
    """

    graph: PartGraph
    is_assembly: NDArray[np.bool_]
    top_qty: Floats
    built: NDArray[np.bool_]

    def roll_up(self, leaf_cost: Floats) -> Floats:
        """Cost of one unit of each row, from that of the rows that nothing goes into."""
        return self.graph.roll_up(np.where(self.built & ~self.is_assembly, leaf_cost, 0.0))

    def per_product(self, unit_cost: Floats) -> float:
        """Cost of one product, from the unit cost of each row."""
        tops = self.top_qty != 0
        return float(self.top_qty[tops] @ unit_cost[tops])


def structure_of(lines: pd.DataFrame) -> Structure:
    """Structure of prepared lines: quantities per parent are those per product, divided by the parent's at all places.

    Parameters
    ----------
    lines : DataFrame
        ``parent_row``, ``qty_per``, which is 0 for what is not built in, and ``exploded_row`` where there is any.
    """
    parent = lines["parent_row"].to_numpy(np.int64)
    qty = lines["qty_per"].fillna(0.0).to_numpy(np.float64)
    above, rows = built_into(parent, exploded_rows(lines))
    at_all_places = np.bincount(rows, weights=qty[above], minlength=len(lines))
    held = (qty[rows] != 0) & (qty[above] != 0)
    above, rows = above[held], rows[held]
    is_assembly = np.zeros(len(lines), dtype=bool)
    is_assembly[above] = True
    names = np.array([f"row {k}" for k in range(len(lines))], dtype=object)
    graph = graph_of(names, above, rows, qty[rows] / at_all_places[rows])
    return Structure(graph, is_assembly, np.where(parent < 0, qty, 0.0), qty != 0)


def leaf_costs(audited: pd.DataFrame, parts: pd.DataFrame) -> dict[str, Floats]:
    """Cost of one unit of each row by basis; where a basis has none, the booked cost stands for it, else the standard.

    What has neither counts 0 on every basis but those that know it: a cost that is not known is no saving.
    """
    by_part = parts.set_index("part_no")

    def of_part(name: str) -> pd.Series:
        return looked_up(audited["part_no"], by_part[name])

    booked = audited["booked_cost"].fillna(of_part("standard_cost")).fillna(0.0)
    costs = {
        "standard": of_part("standard_cost"),
        "booked": booked,
        "last_purchase": of_part("last_purchase_price"),
        "contract": audited["contract_price"],
        "today": audited["estimate"],
        **{w: audited[w].fillna(0.0).where(audited["estimate"].notna(), 0.0) for w in WALK},
    }
    return {name: values.fillna(booked).to_numpy(np.float64) for name, values in costs.items()}


def rolled_costs(
    *,
    bom: pd.DataFrame,
    audited: pd.DataFrame,
    parts: pd.DataFrame,
    standards: pd.DataFrame,
    structure: Structure,
    finance: FinanceSection,
    read: ReadSection,
) -> tuple[pd.DataFrame, list[Finding]]:
    """Cost of one unit of each assembly and of the product, by basis, and how it agrees with what is stated.

    Parameters
    ----------
    bom : DataFrame
        Table ``bom`` as read.
    audited : DataFrame
        The same rows, columns of glossary ``LINES``.
    parts, standards : DataFrame
        From :mod:`bomaudit.finance.parts`.
    structure : Structure
    finance : FinanceSection
    read : ReadSection
        ``scrap``: the convention.

    Returns
    -------
    DataFrame
        ``part_no`` (an assembly once; the last row is the product), ``line_id``, ``description``, ``standard_stated``,
        ``rolled_standard``, ``standard_difference`` and ``standard_rounding`` (exact, see
        :class:`~bomaudit.prepare.exact.TotalCheck`) in the currency ``standard_checked_in``: the stated one, or the
        audit currency where what goes into the assembly is stated in others; ``booked_stated``, ``rolled_booked``,
        ``booked_difference``, ``booked_rounding``, ``booked_checked_in``, ``rolled_last_purchase``,
        ``rolled_contract``, ``rolled_today``, ``walk_*``. [currency/uom]
    findings : list of Finding
    """
    costs = {name: structure.roll_up(values) for name, values in leaf_costs(audited, parts).items()}
    shown = audited[structure.is_assembly & structure.built]
    shown = shown[(shown["part_no"] == "") | ~shown["part_no"].duplicated()]
    rows = shown.index.to_numpy()
    checks, checked_in, findings = _exact_checks(bom, audited, standards, structure, finance=finance, read=read)
    rolled = pd.DataFrame(
        {
            "part_no": shown["part_no"],
            "line_id": shown["line_id"],
            "description": shown["description"],
            "standard_stated": looked_up(shown["part_no"], parts.set_index("part_no")["standard_cost"]),
            "booked_stated": shown["booked_cost"],
            **{f"rolled_{name}": costs[name][rows] for name in ROLLED},
            **{w: costs[w][rows] for w in WALK},
            **{
                f"{kind}_{what}": [getattr(found[r], what) if r in found else default for r in rows]
                for kind, found in checks.items()
                for what, default in (("difference", None), ("rounding", ""))
            },
            **{
                f"{kind}_checked_in": [checked_in[kind][r] if r in found else "" for r in rows]
                for kind, found in checks.items()
            },
        }
    ).reset_index(drop=True)
    product = {f"rolled_{name}": structure.per_product(costs[name]) for name in ROLLED}
    product |= {w: structure.per_product(costs[w]) for w in WALK}
    last = pd.DataFrame([{"part_no": PRODUCT, "line_id": "", "description": ""} | product])
    for kind in checks:
        last[f"{kind}_difference"], last[f"{kind}_rounding"], last[f"{kind}_checked_in"] = [None], "", ""
    return pd.concat([rolled.astype({"part_no": "str"}), last], ignore_index=True).reindex(columns=rolled.columns), [
        *findings,
        *_differences(shown, checks, checked_in, file=str(bom["source_file"].iloc[0]) if len(bom) else ""),
    ]


def rolled_bridge(rolled: pd.DataFrame, *, start: Start, places: int) -> pd.DataFrame:
    """Bridge of each assembly and of the product, per unit.

    Parameters
    ----------
    rolled : DataFrame
        From :func:`rolled_costs`.
    start : {"standard", "booked"}
        A row without a stated standard starts at the roll-up of its parts' standards.
    places : int

    Returns
    -------
    DataFrame
        ``part_no`` and the columns of :func:`bomaudit.finance.bridge.add_up`. What the stated standard and the roll-up
        of the parts' standards differ by is ``quantity``, unless it is one of the roundings in use.
    """
    walk = rolled[list(WALK)].set_axis([w.removeprefix("walk_") for w in WALK], axis=1)
    if start == "booked":
        first = rolled["rolled_booked"]
        causes = walk
    else:
        first = rolled["standard_stated"].fillna(rolled["rolled_standard"])
        apart = rolled["rolled_standard"] - first
        rounded = rolled["standard_rounding"] != ""
        causes = walk.assign(
            price=rolled["rolled_booked"] - rolled["rolled_standard"],
            quantity=apart.where(~rounded, 0.0),
            rounding=apart.where(rounded, 0.0),
        )
    bridge = add_up(first, rolled["rolled_today"], causes, places=places)
    bridge.insert(0, "part_no", rolled.loc[bridge.index, "part_no"])
    return bridge.reset_index(drop=True)


def _exact_checks(
    bom: pd.DataFrame,
    audited: pd.DataFrame,
    standards: pd.DataFrame,
    structure: Structure,
    *,
    finance: FinanceSection,
    read: ReadSection,
) -> tuple[dict[str, dict[int, TotalCheck]], dict[str, pd.Series], list[Finding]]:
    """Roll-up against stated costs of assemblies, to the last decimal place that is stated; and in which currency."""
    file = str(bom["source_file"].iloc[0]) if len(bom) else ""
    named = [c for c in ("parent_row", "exploded_row", "scrap_rate", "row_kind") if c in bom]
    frame = bom[named].assign(qty=counted_quantity(bom))
    checks: dict[str, dict[int, TotalCheck]] = {}
    checked_in: dict[str, pd.Series] = {}
    findings: list[Finding] = []
    in_one = _stated_costs(bom, audited, standards, converted=True)
    for kind, (unit, stated, currencies) in _stated_costs(bom, audited, standards).items():
        asked = stated.where(structure.is_assembly & structure.built)
        mixed = _of_several_currencies(structure, currencies, priced=unit.notna())
        checks[kind], checked_in[kind] = {}, currencies.mask(mixed, audited["currency"])
        if (asked.notna() & mixed).any():
            counted = currencies[structure.built & unit.notna()].drop_duplicates()
            findings.append(
                note("K010", f"a roll-up of {kind} costs is surest in one currency", file=file,
                     found=", ".join(sorted(counted)),
                     assumed="brought to the audit currency at the rates of the basis dates before it is checked")
            )  # fmt: skip
        shown = asked.map(lambda v: _places(v, finance), na_action="ignore")
        for costs, of in ((unit, ~mixed), (in_one[kind][0], mixed)):
            amounts = asked.where(~mixed, in_one[kind][1]).where(of & asked.notna())
            for places in sorted(set(shown[amounts.notna()].astype(int))):
                # a stated cost that was brought from another currency or quantity has places that nobody stated
                of_these = amounts.where(shown == places).map(
                    lambda v, p=places: float(round_money(v, p)), na_action="ignore"
                )
                checks[kind] |= reconcile_assemblies(
                    frame.assign(unit_cost=costs), of_these, scrap=read.scrap, places=places, built=structure.built
                )
    return checks, checked_in, findings


def _of_several_currencies(structure: Structure, currencies: pd.Series, *, priced: pd.Series) -> pd.Series:
    """Rows into which something goes whose cost is in another currency than their own."""
    mixed = pd.Series(False, index=currencies.index)
    for code in currencies.unique():
        others = structure.roll_up((priced & (currencies != code)).to_numpy(np.float64))
        mixed |= (currencies == code) & (others > 0)
    return mixed


def _stated_costs(
    bom: pd.DataFrame, audited: pd.DataFrame, standards: pd.DataFrame, *, converted: bool = False
) -> dict[str, tuple[pd.Series, pd.Series, pd.Series]]:
    """Cost of each row to roll up, the cost stated for it, and the currency of the first: as stated, or converted."""
    part_no = audited["part_no"]
    standard = looked_up(part_no, standards["standard_cost" if converted else "standard_stated"])
    booked = audited["booked_cost"] if converted else bom["unit_cost"]
    own = part_no.map(standards["standard_currency"]).astype("str")
    of_booked = audited["booked_currency"]
    return {
        "standard": (standard.fillna(booked), standard, own.where(standard.notna(), of_booked)),
        "booked": (booked.fillna(standard), booked, of_booked.where(booked.notna() | standard.isna(), own)),
    }


def _places(amount: float, finance: FinanceSection) -> int:
    """Decimal places that a stated amount shows, at least those of money and at most those of a standard."""
    shown = -int(to_decimal(amount).as_tuple().exponent)
    return min(max(shown, finance.money_places), max(finance.places, finance.money_places))


def _differences(
    shown: pd.DataFrame, checks: dict[str, dict[int, TotalCheck]], checked_in: dict[str, pd.Series], *, file: str
) -> list[Finding]:
    findings = []
    for kind, code, what in (("standard", "K008", "standard"), ("booked", "K009", "booked cost")):
        apart = {r: c for r, c in checks[kind].items() if r in shown.index and c.difference != 0}
        findings += [
            warning(code, f"the {what} of an assembly must be the roll-up of its parts", file=file,
                    column=shown.loc[row, "part_no"],
                    found=f"{check.stated.normalize():f} {checked_in[kind][row]} stated, "
                          f"roll-up differs by {check.difference:f}",
                    assumed="shown as quantity: other quantities or parts, or labour that the BOM does not list",
                    advice="list labour and overhead as charges in the BOM, or correct the structure")
            for row, check in sorted(apart.items())
        ]  # fmt: skip
    return findings
