"""Tables of a screening: the dataset of lines that comes in, the screened lines and the rankings that go out."""

from __future__ import annotations

from bomaudit.glossary import BOM, DECISIONS_OUT, LINES, Column, Table

DATASET = Table(
    "dataset",
    "a part in a finished product",
    (
        Column("bom", "code", "name of the BOM the line belongs to", required=True),
        BOM.column("part_no"),
        BOM.column("description"),
        LINES.column("row_kind"),
        BOM.column("supplier"),
        BOM.column("commodity"),
        BOM.column("sourcing"),
        LINES.column("qty_per"),
        BOM.column("annual_volume"),
        BOM.column("unit_cost"),
        BOM.column("currency"),
        BOM.column("cost_date"),
        BOM.column("agreed_reduction"),
        BOM.column("agreed_until"),
    ),
)
"""Columns of a partitioned Parquet dataset; ``qty_per`` counts per finished product, so that a BOM may be split."""

PRICED_BY = (
    "part_no", "description", "row_kind", "supplier", "commodity", "sourcing", "unit_cost", "currency", "cost_date",
    "agreed_reduction", "agreed_until",
)  # fmt: skip
"""What the estimate of a line depends on: lines that agree in all of these are estimated once."""

_FROM_LINES = (
    "supplier", "commodity", "qty_per", "annual_volume", "booked_cost", "currency", "basis_date", "basis", "age_years",
    "estimate", "estimate_low", "estimate_high", "drift", "p_stale", "status", "exposure_per_year", "stage",
)  # fmt: skip
SCREENED = Table(
    "screened",
    "a line of the input: screened, or the reason why not",
    (
        Column("bom", "code", "name of the BOM: of the dataset, or the path of the workbook or folder"),
        Column("line", "number", "1-based row in its partition or BOM"),
        LINES.column("part_no"),
        LINES.column("description"),
        LINES.column("row_kind"),
        *(LINES.column(name) for name in _FROM_LINES),
        Column("why_not", "text", "why the line was not audited; empty where it was"),
    ),
)

COUNTS = ("lines", "audited", "stale", "drifting", "unknown", "not_added")
"""Counts of a group; ``not_added``: lines whose money is too large to be believed, left out of the sums."""
AMOUNTS = ("spend", "stale_spend", "above", "below")
"""Sums of a group in the currency of the screening a year: booked cost of what is audited, of what is stale; flagged
lines above and below their estimates."""

GROUPS = ("bom", "commodity", "supplier", "part")
"""What lines are ranked by."""

RANKING = Table(
    "ranking",
    "a BOM, commodity, supplier or part",
    (
        Column("rank", "number", "1: most money at stake on lines that are stale or drifting"),
        Column("name", "text", "the BOM, commodity, supplier or part; empty: not stated"),
        Column("description", "text", "what the part is; of parts only"),
        Column("lines", "number", "lines"),
        Column("audited", "number", "lines with a booked cost that could be audited"),
        Column("stale", "number", "lines of status stale"),
        Column("drifting", "number", "lines of status drifting"),
        Column("unknown", "number", "lines of status unknown"),
        Column("spend_per_year", "money", "booked cost of audited lines", "currency/year"),
        Column("stale_spend_per_year", "money", "of which on stale lines", "currency/year"),
        Column("above_per_year", "money", "booked costs above today's estimates, flagged lines", "currency/year"),
        Column("below_per_year", "money", "booked costs below today's estimates, flagged lines", "currency/year"),
        Column("decisions", "number", "decisions of the BOM's register; of BOMs only"),
        Column("reopen", "number", "of which to re-open or to review; of BOMs only"),
        Column(
            "reopen_npv",
            "money",
            "net present value of these together, after the cost of change; of BOMs only",
            "currency",
        ),
    ),
)

REOPEN = Table(
    "reopen",
    "a decision of a register",
    (
        Column("bom", "code", "audit folder"),
        *(
            DECISIONS_OUT.column(name)
            for name in (
                "decision", "title", "chosen", "switch_to", "verdict", "p_flip", "npv", "npv_low", "npv_high", "reason",
            )
        ),
        Column("npv_counted", "money", "what one to re-open or review adds to the total of its BOM: 0 where another "
               "takes out the same part, a shared change is paid once", "currency"),
    ),
)  # fmt: skip
"""Money in the currency of the screening."""
