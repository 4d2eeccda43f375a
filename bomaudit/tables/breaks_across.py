"""Price breaks of a table of quotes in columns beside each other: one quote a price, each for its own quantity."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, note, warning
from bomaudit.tables.cells import amounts
from bomaudit.tables.columns import LEAST
from bomaudit.tables.headers import Header
from bomaudit.tables.lines import Lines
from bomaudit.tables.locate import Block
from bomaudit.tables.sheets import letter

_LEVEL = re.compile(
    r"(?P<mark>@|[≥>]=?|\b(?:for|ab|at|from|pour|bei|qty|menge|moq)\b)?"
    r"\s*(?<![\d.,])(?P<n>\d{1,3}(?:[.,' ]?\d{3})*|\d+)"
    r"\s*(?P<end>\+|(?:-|–|\bto\b|\bbis\b)\s*\d[\d.,' ]*|\b(?:pcs?|pieces|units|stk|stück|st)\b\.?)?"
    r"\s*(?=$|[)\]€$£]|[A-Z]{3}\b)",
    re.IGNORECASE,
)
"""A quantity at the end of the header of a price: "Price 1-99", "Price 1,000+", "Unit price @ 250"."""
_YEARS = range(1990, 2050)


def break_columns(block: Block) -> dict[int, float]:
    """Columns of prices and the smallest quantity of each, where there are several; empty where there are not."""
    taken = {m.column for m in block.mapped.values() if m.name != "unit_price"}
    found = {c: _quantity(h) for c, h in enumerate(block.headers)
             if c >= block.left and c not in taken and is_price(h)}  # fmt: skip
    levels = {c: n for c, n in found.items() if np.isfinite(n)}
    numbered = sorted(levels.values()) == list(range(1, len(levels) + 1))  # Price 1, Price 2: counted, not quantities
    if len(levels) < 2 or numbered or len(set(levels.values())) < len(levels):  # noqa: PLR2004
        return {}
    return levels if block.mapped["unit_price"].column in levels else {}


def is_price(header: Header) -> bool:
    """Whether a column of quotes is headed as a price of one piece."""
    return max(header.score("unit_price"), header.score("~price_break")) > LEAST


def _quantity(header: Header) -> float:
    match = _LEVEL.search(header.text)
    if match is None or np.isfinite(header.per):
        return float("nan")
    n = float(re.sub(r"\D", "", match["n"]))
    return float("nan") if n in _YEARS and not match["mark"] and not match["end"] else n


def unfolded(block: Block, levels: dict[int, float], read: Callable[[Block], Lines]) -> Lines:
    """Read a block once for each column of prices: a row becomes as many quotes as it states prices.

    Parameters
    ----------
    block : Block
    levels : dict column → smallest quantity
        From :func:`break_columns`.
    read : function Block → Lines
        Reads the block with one column of prices.

    Notes
    -----
    No less than a stated smallest quantity is sold, so a price that ends below it is none.
    """
    parts, findings = list[pd.DataFrame](), list[Finding]()
    for column, quantity in sorted(levels.items(), key=lambda item: item[1]):
        price = replace(block.mapped["unit_price"], column=column, header=block.headers[column].text)
        one = read(replace(block, mapped={**block.mapped, "unit_price": price}))
        least = one.frame["min_qty"].fillna(0.0)
        parts.append(one.frame.assign(min_qty=np.maximum(least, quantity)))
        findings += one.findings
    frame = pd.concat(parts, ignore_index=True)
    stated = frame["unit_price"].notna()
    bare = ~frame["source_row"].isin(frame.loc[stated, "source_row"])
    frame = frame[stated | (bare & ~frame.duplicated("source_row"))]
    frame = frame.drop_duplicates(["source_row", "min_qty"], keep="last").sort_values("source_row", kind="stable")
    said = note("T109", "prices beside each other are quotes for quantities of their own", file=block.sheet.file,
                sheet=block.sheet.name, column=letter(min(levels)),
                found=f"{len(frame)} prices in {len(levels)} columns",
                assumed="from " + ", ".join(f"{n:,.12g}" for n in sorted(levels.values())) + " pieces on")  # fmt: skip
    return replace(one, frame=frame.reset_index(drop=True), findings=(*dict.fromkeys(findings), said))


def unread_prices(block: Block) -> list[Finding]:
    """``T102``: further columns of prices that are not read."""
    taken = {m.column for m in block.mapped.values()}
    more = [h.text for c, h in enumerate(block.headers) if c >= block.left and c not in taken and is_price(h)
            and np.isfinite(amounts(block.sheet.columns[c][block.first : block.last]).value).any()]  # fmt: skip
    if not more or "unit_price" not in block.mapped:
        return []
    price = block.mapped["unit_price"]
    return [
        warning("T102", "a row of quotes must state one price, or the quantity of each in its header",
                file=block.sheet.file, sheet=block.sheet.name, column=letter(price.column),
                found=", ".join(repr(h[:40]) for h in more) + " beside it",
                assumed=f"{price.header[:40]!r} is the price, the others are not read",
                advice="give each price a row of its own")
    ]  # fmt: skip
