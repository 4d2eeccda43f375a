"""An audit folder or a loose workbook → its screened lines, sums and decisions, by the same steps as one audit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from bomaudit.audit import Audit, run
from bomaudit.opened import SETTINGS_FILE, open_audit
from bomaudit.screen.partition import as_arrow, figures_of, sums_of
from bomaudit.screen.schema import REOPEN, SCREENED
from bomaudit.screen.shared import Plan, rates_into
from bomaudit.screen.sources import Piece
from bomaudit.screen.sums import Names
from bomaudit.settings import load, overridden
from bomaudit.status import STATUS_CODES

_TEXTS = frozenset({"text", "code"})
_MONEY = ("npv", "npv_low", "npv_high", "npv_counted")


def audit_piece(piece: Piece, plan: Plan) -> Audit:
    """Audit a folder with its own settings and tables, or a loose workbook with the company's.

    Raises
    ------
    BadInput
        As :func:`bomaudit.opened.open_audit`.
    """
    if piece.kind == "folder":
        settings = overridden(load(piece.path / SETTINGS_FILE), list(plan.overrides))
        return run(open_audit(piece.path, settings=settings, as_of=plan.as_of))
    return run(open_audit(piece.path.parent, settings=plan.settings(piece.path.name), as_of=plan.as_of))


def screen_bill(piece: Piece, audit: Audit, plan: Plan) -> tuple[pa.Table, list[pa.Table], tuple[dict[str, Any], ...]]:
    """Screened lines, sums and decisions of one audit.

    Parameters
    ----------
    piece : Piece
    audit : Audit
    plan : Plan

    Returns
    -------
    lines : pyarrow Table
        As :func:`bomaudit.screen.partition.screen_batch`; money in the audit's own currency.
    sums : list of pyarrow Table
        Money in the currency of the screening.
    decisions : tuple of dict
        Rows of table ``reopen``; money in the currency of the screening.
    """
    rate = rate_of(audit.currency, plan)
    lines = audit.lines.assign(
        bom=piece.name, line=np.arange(1, len(audit.lines) + 1), why_not=audit.prepared["why_not"].to_numpy()
    )
    names, numbers = {}, {}
    for column in SCREENED.columns:
        if column.kind in _TEXTS:
            names[column.name] = Names.of(lines[column.name].fillna("").to_numpy(dtype=object))
        else:
            numbers[column.name] = lines[column.name].to_numpy()
    table = as_arrow(numbers, names)
    codes = pd.Index(STATUS_CODES, dtype=object).get_indexer(pd.Index(lines["status"], dtype=object)).astype(np.int8)
    auditable = audit.prepared["auditable"].to_numpy(dtype=bool)
    used = (lines["qty_per"] * lines["annual_volume"]).to_numpy(dtype=float) * rate
    spend = np.where(auditable, lines["booked_cost"].to_numpy(dtype=float) * used, np.nan)
    exposure = lines["exposure_per_year"].to_numpy(dtype=float) * rate
    keys = names | {"commodity_basis": Names.of(lines["commodity_basis"].to_numpy(dtype=object))}
    return table, sums_of(keys, figures_of(codes, auditable, spend, exposure)), _decisions(piece, audit, rate)


def rate_of(currency: str, plan: Plan) -> float:
    """Currency of the screening for one unit of an audit's currency, on the day of the screening."""
    if currency == plan.currency:
        return 1.0
    day = np.array([plan.as_of], dtype="datetime64[D]")
    return float(rates_into(plan).rate(np.array([currency], dtype=object), day)[0])


def _decisions(piece: Piece, audit: Audit, rate: float) -> tuple[dict[str, Any], ...]:
    counted = audit.decided.portfolio.set_index("decision")["npv_counted"]
    frame = audit.decided.decisions
    frame = frame.assign(bom=piece.name, npv_counted=frame["decision"].map(counted).astype(float))[list(REOPEN.names)]
    frame = frame.assign(**{c: frame[c] * rate for c in _MONEY})
    rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return tuple({str(k): v for k, v in row.items()} for row in rows)
