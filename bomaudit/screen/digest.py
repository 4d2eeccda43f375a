"""What the fit needs to know of a partition: lines of quoted parts, what is used of them, and which markets there are.

Small, and the same whichever way the lines are spread over partitions: distinct rows, whole-number sums, latest dates.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from bomaudit.frames import conform
from bomaudit.glossary import BOM, Table
from bomaudit.screen.batches import Batch, as_bom, distinct, is_credit, quantity_per, read_batches, row_kinds
from bomaudit.screen.schema import DATASET, PRICED_BY
from bomaudit.screen.shared import Company
from bomaudit.screen.sums import LARGEST_QUANTITY, QUANTITY_TICKS, ticks

LINE, NEED, MARKET = "line", "need", "market"
"""Kinds of rows of a digest: a distinct line of a quoted part; what is used of a part; a market and its newest date."""

_COLUMNS = Table("digest", "a fact", tuple(DATASET.column(n) for n in PRICED_BY))
_TYPES = {"code": pa.string(), "text": pa.string(), "date": pa.timestamp("us"), "money": pa.float64(),
          "share": pa.float64()}  # fmt: skip
SCHEMA = pa.schema([("what", pa.string()), *((c.name, _TYPES[c.kind]) for c in _COLUMNS.columns), ("need", pa.int64())])


def digest(path: Path, company: Company) -> pa.Table:
    """Facts about one partition.

    Parameters
    ----------
    path : Path
    company : Company

    Returns
    -------
    pyarrow Table, columns :data:`SCHEMA`

    Raises
    ------
    BadInput
        As :func:`bomaudit.screen.batches.read_batches`.
    """
    quoted = pd.Index(company.quotes["part_no"].unique(), dtype=object)
    columns = ("bom", *PRICED_BY, "qty_per", "annual_volume")
    found = [f for batch in read_batches(path, columns) for f in _facts(batch, quoted, company)]
    return _as_table(merge_facts(found))


def _facts(batch: Batch, quoted: pd.Index, company: Company) -> list[pd.DataFrame]:
    parts = batch.texts("part_no")
    is_quoted = np.isin(parts.codes, np.flatnonzero(quoted.get_indexer(pd.Index(parts.names, dtype=object)) >= 0))
    built = ~is_credit(batch)
    asked = is_quoted & built
    first, _ = distinct(batch, (*PRICED_BY, asked))
    lines = first[asked[first]]
    # what a quoted part's booked cost says is in its own line
    others = ~is_quoted & built & (batch.figures("unit_cost") > 0)
    markets, _ = distinct(batch, (others, "commodity", "currency", "cost_date"))
    markets = markets[others[markets]]
    return [
        as_bom(batch, lines)[list(PRICED_BY)].assign(what=LINE, need=0),
        _needs(batch, asked, company),
        as_bom(batch, markets)[["commodity", "currency", "cost_date"]].assign(what=MARKET, need=0),
    ]


def _needs(batch: Batch, asked: np.ndarray, company: Company) -> pd.DataFrame:
    """Use of the quoted parts a year, in whole ticks; alternatives use nothing."""
    kinds, parts = row_kinds(batch), batch.texts("part_no")
    used = annual_need(batch, company.settings.audit.annual_volume)
    used = np.where((kinds.names == "alternative")[kinds.codes], 0.0, used)
    counted = asked & np.isfinite(used)
    amounts, _ = ticks(used[counted], per_unit=QUANTITY_TICKS, largest=LARGEST_QUANTITY)
    frame = pd.DataFrame({"part_no": parts.codes[counted], "need": amounts})
    summed = frame.groupby("part_no", as_index=False, sort=True)["need"].sum()
    return pd.DataFrame(summed).assign(part_no=parts.names[summed["part_no"].to_numpy(dtype=np.int64)], what=NEED)


def annual_need(batch: Batch, stated: float | None) -> np.ndarray:
    """Quantity a year of each line: what it counts with per product, times products a year. [uom/year]"""  # noqa: D400
    volume = batch.figures("annual_volume")
    volume = np.where(np.isnan(volume), np.nan if stated is None else stated, volume)
    return np.asarray(quantity_per(batch) * volume)


def merge_facts(found: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Facts of several batches or partitions as one, sorted by what they say and by nothing else."""
    frames = [f for f in found if len(f)]
    if not frames:
        return conform(pd.DataFrame({"what": [], "need": []}), _COLUMNS).astype({"what": "str", "need": "int64"})
    whole = conform(pd.concat(frames, ignore_index=True), _COLUMNS)
    market = whole[whole["what"] == MARKET].groupby(["commodity", "currency"], as_index=False, sort=True)["cost_date"]
    need = whole[whole["what"] == NEED].groupby("part_no", as_index=False, sort=True)["need"]
    lines = whole[whole["what"] == LINE].drop_duplicates([*PRICED_BY])
    lines = lines.sort_values([*PRICED_BY], kind="stable")
    parts = [lines, need.sum().assign(what=NEED), market.max().assign(what=MARKET, need=0)]
    return conform(pd.concat([p for p in parts if len(p)], ignore_index=True), _COLUMNS)


def _as_table(facts: pd.DataFrame) -> pa.Table:
    return pa.Table.from_pandas(facts[SCHEMA.names], schema=SCHEMA, preserve_index=False)


def bills_and_need(facts: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series]:
    """Merged facts as what the curves are fitted to.

    Parameters
    ----------
    facts : DataFrame
        From :func:`merge_facts`.

    Returns
    -------
    bills : DataFrame
        Lines of quoted parts, and for each market and currency a line that stands for the others, in the shape of a
        bill.
    need : Series of float
        By part. [uom/year]
    """
    lines, markets = facts[facts["what"] == LINE], facts[facts["what"] == MARKET]
    stand_ins = markets.assign(
        part_no=[f"\x00{c}\x00{m}" for c, m in zip(markets["commodity"], markets["currency"], strict=True)],
        unit_cost=1.0, row_kind="part",
    )  # fmt: skip
    bills = pd.concat([lines, stand_ins], ignore_index=True)[list(PRICED_BY)]
    bare: dict[str, Any] = {
        "unit_cost_low": np.nan, "unit_cost_high": np.nan, "parent_row": -1, "source_file": "", "source_sheet": "",
        "source_row": 0, "qty": 1.0,
    }  # fmt: skip
    bills = conform(bills.assign(**bare), BOM)
    needed = facts[facts["what"] == NEED]
    amounts = needed["need"].to_numpy(dtype=float) / QUANTITY_TICKS
    return bills, pd.Series(np.where(amounts > 0, amounts, np.nan), index=pd.Index(needed["part_no"], dtype=object))
