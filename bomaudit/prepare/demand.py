"""Finished products a year, where a bill states the yearly demand for each part: by its figures, else by its header."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, Severity

Floats = NDArray[np.float64]
_CLOSE = 0.005
"""Figures within this share are the same: demands are rounded to whole pieces. [-]"""
_MOST = 0.8
"""Share of the lines that must agree: a part may be used elsewhere too. [-]"""
_FEWEST = 3
"""Lines that prove something."""


def products_a_year(bom: pd.DataFrame, gross: Floats, net: Floats) -> tuple[pd.Series, list[Finding]]:
    """Finished products a year of each line, by its annual_volume, else by its annual_qty.

    Parameters
    ----------
    bom : DataFrame
        Table ``bom`` of the glossary with places and row_kind.
    gross, net : array, shape (rows,)
        Quantity per finished product with and without scrap. [uom]

    Returns
    -------
    volume : Series
        NaN where neither is stated. [1/year]
    findings : list
        ``B112``: how figures were taken that may count products or pieces of the part, and why.

    Notes
    -----
    The demand for a part is its quantity × products a year. Where demand / quantity is the same on lines of different
    quantities, it is the products a year; where the demand itself is, the column counts products. Where neither holds,
    the header decides. A part on several lines may state the demand of all of them on each.
    """
    volume, said = _products(bom, "annual_volume", gross, net)
    other, also = _products(bom, "annual_qty", gross, net)
    return volume.fillna(other), [*said, *also]


def _products(bom: pd.DataFrame, name: str, gross: Floats, net: Floats) -> tuple[pd.Series, list[Finding]]:
    stated = bom[name].to_numpy(dtype=float)
    used = np.flatnonzero((stated > 0) & (gross > 0) & (bom["row_kind"] == "part").to_numpy())
    by = {"line": gross, "net": net, "part": _of_part(bom, gross), "net part": _of_part(bom, net)}
    same = {which: _agreeing(stated[used] / quantity[used]) for which, quantity in by.items()}
    own = max(same, key=lambda which: float(same[which].mean()))
    products = _agreeing(stated[used])
    tells = len(used) >= _FEWEST and np.ptp(by[own][used]) > _CLOSE * by[own][used].max()
    share, other = float(same[own].mean()), float(products.mean())
    proved = bool(tells and share != other and max(share, other) >= _MOST)
    of_part = share > other if proved else name == "annual_qty"
    findings = _said(bom, name, used, stated=stated, constant=same[own] if of_part else products, divisor=by[own],
                     of_part=of_part, proved=proved)  # fmt: skip
    if not of_part:
        return pd.Series(stated, index=bom.index), findings
    quantity = by[own if proved else "part" if _repeated(bom, stated, used) else "line"]
    with np.errstate(divide="ignore", invalid="ignore"):
        volume = np.where(quantity > 0, stated / quantity, np.nan)
    if proved:
        each = float(np.median(volume[used]))
        volume[used[same[own]]] = each
        volume[(quantity == 0) & np.isfinite(stated)] = each
    return pd.Series(volume, index=bom.index), findings


def _agreeing(figures: Floats) -> NDArray[np.bool_]:
    """Which figures are the middle one, but for rounding; one that is not where there are none."""
    if not len(figures):
        return np.zeros(1, dtype=bool)
    middle = np.sort(figures)[len(figures) // 2]
    return np.asarray(np.abs(figures - middle) <= _CLOSE * middle)


def _of_part(bom: pd.DataFrame, quantity: Floats) -> Floats:
    """Quantity of a part on all of its lines together. [uom]."""
    numbered = (bom["part_no"] != "").to_numpy()
    total = pd.Series(quantity, index=bom.index).groupby(bom["part_no"]).transform("sum").to_numpy(dtype=float)
    return np.where(numbered, total, quantity)


def _repeated(bom: pd.DataFrame, stated: Floats, used: NDArray[np.intp]) -> bool:
    """Whether parts stand on several lines, each with the same demand: that of the part."""
    demands = pd.Series(stated[used]).groupby(bom["part_no"].to_numpy()[used])
    parts = demands.agg(["count", "nunique"]).drop(index="", errors="ignore")
    several = parts[parts["count"] > 1]
    return bool(len(several)) and bool((several["nunique"] == 1).all())


def _said(
    bom: pd.DataFrame,
    name: str,
    used: NDArray[np.intp],
    *,
    stated: Floats,
    constant: NDArray[np.bool_],
    divisor: Floats,
    of_part: bool,
    proved: bool,
) -> list[Finding]:
    """``B112``; nothing where both readings are one, or the header says products and the figures are one figure."""
    if not len(used) or (divisor[used] == 1).all():
        return []
    if name == "annual_volume" and not of_part and (proved or np.ptp(stated[used]) == 0):
        return []
    figures = stated[used] / divisor[used] if of_part else stated[used]
    of_all = f"on {int(constant.sum())} of {len(used)} lines"
    what = "demand / quantity" if of_part else "the figure"
    found = f"{what} is {np.median(figures):,.12g} {of_all}" if proved else "figures that do not tell which"
    as_headed = of_part == (name == "annual_qty")
    first = bom.iloc[int(used[0])]
    return [
        Finding(
            code="B112", severity=Severity.NOTE if proved and as_headed else Severity.WARNING, column=name,
            file=str(first["source_file"]), sheet=str(first["source_sheet"]), row=int(first["source_row"]),
            message="figures a year must show whether they count products or pieces of the part", found=found,
            assumed="demand for the part itself: products a year = demand / quantity" if of_part
            else "finished products a year",
            advice="" if proved else "name the column as annual_volume in [columns.bom] where it counts products, as "
            "annual_qty where it counts pieces",
        )
    ]  # fmt: skip
