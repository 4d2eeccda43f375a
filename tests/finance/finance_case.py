"""A three-level product with standards, as finance would hand it over; all figures invented."""

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.frames import conform
from bomaudit.glossary import BOM, LINES, QUOTES, STANDARDS
from bomaudit.prepare.rollup import explode

AS_OF = date(2026, 6, 30)

# row_kind, part_no, parent_row, qty, scrap_rate, unit_cost, estimate, commodity
ROWS = (
    ("assembly", "TOP", -1, 1, np.nan, 37.26, np.nan, ""),
    ("assembly", "Q", 0, 2, 0.05, 4.78, np.nan, ""),
    ("part", "S", 1, 0.4, 0.10, 4.00, 3.20, "resin"),
    ("charge", "", 1, 0.1, np.nan, 30.00, np.nan, ""),
    ("assembly", "R", 0, 1, 0.01, 10.10, np.nan, ""),
    ("part", "T", 4, 3, 0.02, 1.25, 1.50, "fastener"),
    ("assembly", "Q", 4, 1, np.nan, 4.78, np.nan, ""),
    ("part", "S", 6, 0.4, 0.10, 4.00, 3.20, "resin"),
    ("charge", "", 6, 0.1, np.nan, 30.00, np.nan, ""),
    ("charge", "", 4, 0.05, np.nan, 30.00, np.nan, ""),
    ("charge", "", 0, 0.5, np.nan, 30.00, np.nan, ""),
    ("charge", "", 0, 1, np.nan, 2.00, np.nan, ""),
    ("alternative", "S2", 0, 1, np.nan, 9.00, 8.00, "resin"),
)


def bom_frame(rows=ROWS):
    names = ["row_kind", "part_no", "parent_row", "qty", "scrap_rate", "unit_cost", "estimate", "commodity"]
    frame = pd.DataFrame(rows, columns=names)
    bom = conform(frame.drop(columns=["row_kind", "parent_row", "estimate"]), BOM)
    bom = bom.assign(row_kind=frame["row_kind"], parent_row=frame["parent_row"], source_file="bom.csv", source_sheet="")
    return bom.assign(source_row=range(2, len(bom) + 2), currency="EUR"), frame["estimate"].astype(float)


def lines_of(bom, estimate, annual_volume=100.0):
    """Prepared and audited lines with a stated estimate, all of its difference put down to experience."""
    qty = explode(bom["parent_row"], bom["qty"], bom["scrap_rate"], scrap="divide", row_kind=bom["row_kind"])
    booked = bom["unit_cost"].astype(float)
    part = bom["row_kind"].isin(["part", "alternative"])
    lines = bom[["source_file", "source_sheet", "source_row", "row_kind", "part_no", "commodity", "parent_row"]].assign(
        line_id=[f"L{k:04d}" for k in range(1, len(bom) + 1)],
        qty_per=qty,
        annual_volume=annual_volume,
        booked_price=booked,
        booked_currency="EUR",
        booked_cost=booked,
        booked_extended=booked * qty,
        currency="EUR",
        price_currency="EUR",
        basis="cost_date",
        basis_date=pd.Timestamp("2020-06-30"),
        on_hand_qty=np.nan,
        agreed_reduction=np.nan,
    )
    known = estimate.notna()
    audited = conform(
        lines.assign(
            estimate=estimate,
            estimate_low=estimate * 0.9,
            estimate_high=estimate * 1.1,
            drift=estimate / booked - 1,
            status=np.where(known, "stale", np.where(part, "unknown", "")),
            walk_experience=estimate - booked,
            **{
                f"walk_{s}": np.where(known, 0.0, np.nan)
                for s in ("currency", "input_prices", "maturity", "own_volume", "newer_quotes")
            },
        ),
        LINES,
    )[list(LINES.names)]
    return lines, audited


def standards_frame(rows):
    names = [
        "part_no",
        "standard_cost",
        "set_on",
        "on_hand_qty",
        "annual_qty",
        "last_purchase_price",
        "last_purchase_date",
    ]
    frame = pd.DataFrame(rows, columns=names)
    for name in ("set_on", "last_purchase_date"):
        frame[name] = pd.to_datetime(frame[name])
    frame = conform(frame, STANDARDS)
    return frame.assign(source_file="standards.csv", source_sheet="", source_row=range(2, len(frame) + 2))


STANDARD_ROWS = (
    ("S", 4.00, "2025-12-31", 1200, 10_000, 3.90, "2026-03-31"),
    ("T", 1.25, "2025-12-31", 500, 6_000, 1.40, "2025-11-30"),
    ("Q", 4.78, "2025-12-31", 40, None, None, None),
    ("R", 10.10, "2025-12-31", 0, None, None, None),
    ("TOP", 37.26, "2025-12-31", 10, None, None, None),
)


def quotes_frame(rows=()):
    names = ["part_no", "quote_date", "unit_price", "currency", "min_qty", "kind", "valid_until"]
    frame = pd.DataFrame(rows, columns=names)
    for name in ("quote_date", "valid_until"):
        frame[name] = pd.to_datetime(frame[name])
    return conform(frame, QUOTES)
