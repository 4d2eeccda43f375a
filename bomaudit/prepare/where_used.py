"""Where a part is used and how far a change of its price reaches: over one BOM, or over several that share parts.

Finding: ``U005`` an assembly that holds other parts in one place than in another.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, warning
from bomaudit.prepare.part_graph import PartGraph, Scrap, counted_quantity, part_graph

_COLUMNS = ["parent_no", "part_no", "qty", "scrap_rate"]
_SOME = 5


def edges_of(bom: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Edges from part to part, from BOM rows in which an assembly may stand several times with all that is in it.

    Parameters
    ----------
    bom : DataFrame
        ``part_no``, ``parent_row``, ``row_kind``, ``qty``, ``scrap_rate``, and ``effective_from`` and ``effective_to``
        where there are any. Rows of several BOMs may be put under each other, ``parent_row`` counted on.

    Returns
    -------
    edges : DataFrame
        As :func:`bomaudit.prepare.part_graph.part_graph` takes them: what goes into an assembly is taken from the
        first place where it stands. Alternatives, charges and rows without a part number are left out.
    findings : list of Finding
        ``U005``.
    """
    parent_row = bom["parent_row"].to_numpy(np.int64)
    above = np.where(parent_row >= 0, parent_row, 0)
    frame = bom.reset_index(drop=True).assign(
        parent_no=np.where(parent_row >= 0, bom["part_no"].to_numpy(object)[above] if len(bom) else "", ""),
        parent_row=parent_row,
    )
    kept = (frame["parent_no"] != "") & (frame["part_no"] != "") & frame["row_kind"].isin(["part", "assembly"])
    frame = frame[kept].assign(qty=counted_quantity(frame[kept]), scrap_rate=frame["scrap_rate"].fillna(0.0))
    first = frame.groupby("parent_no")["parent_row"].transform("min")
    columns = [*_COLUMNS, *(c for c in ("effective_from", "effective_to") if c in frame)]
    edges = frame.loc[frame["parent_row"] == first, columns].reset_index(drop=True)
    return edges, _differing(frame)


def blast_radius(
    graph: PartGraph, part_no: str, *, price_change: float, demand: pd.Series | None = None
) -> pd.DataFrame:
    """What a change of one part's price does to all that it goes into.

    Parameters
    ----------
    graph : PartGraph
    part_no : str
    price_change : float
        Of one unit of the part. [currency/uom]
    demand : Series, optional
        Independent demand a year by part number, mostly of finished products; parts without are made for others only.
        [1/year]

    Returns
    -------
    DataFrame
        The columns of :meth:`~bomaudit.prepare.part_graph.PartGraph.where_used`, and ``cost_change`` of one unit
        [currency/uom], ``made_a_year`` (own demand and that of all above) [1/year] and ``change_a_year`` of what is
        sold as such, so that the column adds up to the whole effect [currency/year].

    Raises
    ------
    KeyError
        If the part is not in the graph.
    """
    used = graph.where_used(part_no)
    own = pd.Series(0.0, index=pd.Index(graph.part_no, dtype="str"))
    if demand is not None:
        own.update(demand[demand.index.isin(own.index)].astype(float))
    made = pd.Series(graph.quantities(own.to_numpy()), index=own.index)
    sold = own.reindex(used["part_no"]).to_numpy()
    cost_change = used["qty"] * price_change
    return used.assign(
        cost_change=cost_change,
        made_a_year=made.reindex(used["part_no"]).to_numpy(),
        change_a_year=cost_change * sold,
    )


def reach_of_part(bom: pd.DataFrame, lines: pd.DataFrame, what: str, *, scrap: Scrap, as_of: date) -> pd.DataFrame:
    """Everything one part of a BOM goes into, and what its move from the booked cost to the estimate does there.

    Parameters
    ----------
    bom : DataFrame
        As read, with ``parent_row``.
    lines : DataFrame
        Audited lines of the same rows.
    what : str
        Line id or part number; anything else gives an empty frame.
    scrap, as_of
        As in :func:`~bomaudit.prepare.part_graph.part_graph`.

    Returns
    -------
    DataFrame
        As :func:`blast_radius`; NaN where the part has no estimate, and money a year where the annual volume is not
        known. A part on several lines moves by their mean, weighted by quantity.
    """
    at = lines[(lines["line_id"] == what) | (lines["part_no"] == what)]
    edges, _ = edges_of(bom)
    if at.empty or at["part_no"].iloc[0] not in set(edges["part_no"]):
        return pd.DataFrame(columns=["part_no", "qty", "cost_change"])
    move, weight = at["estimate"] - at["booked_cost"], at["qty_per"].to_numpy(dtype=float)
    change = float(np.average(move, weights=weight) if weight.sum() > 0 else move.iloc[0])
    top = lines[(bom["parent_row"] < 0).to_numpy() & (lines["part_no"] != "")]
    demand = top.drop_duplicates("part_no").set_index("part_no")["annual_volume"]
    graph = part_graph(edges, scrap=scrap, as_of=as_of)
    reach = blast_radius(graph, str(at["part_no"].iloc[0]), price_change=change, demand=demand)
    return reach if demand.notna().all() else reach.assign(made_a_year=np.nan, change_a_year=np.nan)


def _differing(frame: pd.DataFrame) -> list[Finding]:
    """Name assemblies whose places do not all hold the same parts and quantities."""
    contents = frame.sort_values(["part_no", "qty", "scrap_rate"], kind="stable")
    text = contents["part_no"] + "\x1f" + contents["qty"].astype(str) + "\x1f" + contents["scrap_rate"].astype(str)
    by_place = text.groupby([contents["parent_no"], contents["parent_row"]]).agg("\x1e".join)
    kinds = by_place.groupby("parent_no").nunique()
    names = [str(n) for n in kinds.index[kinds > 1]]
    if not names:
        return []
    file = str(frame["source_file"].iloc[0]) if "source_file" in frame else ""
    shown = ", ".join(names[:_SOME]) + (f" and {len(names) - _SOME} more" if len(names) > _SOME else "")
    return [
        warning("U005", "an assembly must hold the same parts wherever it stands", file=file, column="part_no",
                found=shown, advice="give variants numbers of their own",
                assumed="where parts are used is read from its first place; costs are rolled up place by place")
    ]  # fmt: skip
