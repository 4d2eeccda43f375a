"""Snapshots of two quarters with stated differences; all figures invented."""

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.frames import conform
from bomaudit.glossary import DECISIONS_OUT, LINES, QUOTES, REQUOTES, WALK_STEPS
from bomaudit.history.snapshot import Snapshot
from bomaudit.settings import from_dict

PARTS = ("A-1", "A-2", "B-1", "B-2", "C-1")
OLD_DAY, NEW_DAY = date(2026, 3, 31), date(2026, 6, 30)


def lines_frame(**columns):
    n = len(next(iter(columns.values()))) if columns else len(PARTS)
    base = {
        "line_id": [f"L{k:04d}" for k in range(1, n + 1)],
        "row_kind": ["part"] * n,
        "part_no": list(PARTS[:n]),
        "description": ["pump", "pump", "motor", "motor", "hose"][:n],
        "commodity": ["pump", "pump", "motor", "motor", "hose"][:n],
        "qty_per": [1.0] * n,
        "annual_volume": [1000.0] * n,
        "booked_price": [10.0, 20.0, 5.0, 8.0, 2.0][:n],
        "booked_currency": ["EUR"] * n,
        "booked_cost": [10.0, 20.0, 5.0, 8.0, 2.0][:n],
        "currency": ["EUR"] * n,
        "basis_date": pd.to_datetime(["2018-01-31"] * n),
        "estimate": [8.0, 18.0, 5.1, 7.5, 2.1][:n],
        "sd_log": [0.08] * n,
        "dof": [30.0] * n,
        "status": ["current", "stale", "current", "drifting", "current"][:n],
    }
    frame = pd.DataFrame(base | columns)
    if "walk_experience" not in frame:
        frame["walk_experience"] = frame["estimate"] - frame["booked_cost"]
    for step in WALK_STEPS:
        if f"walk_{step}" not in frame:
            frame[f"walk_{step}"] = 0.0
    if "estimate_low" not in frame:
        frame["estimate_low"], frame["estimate_high"] = frame["estimate"] * 0.9, frame["estimate"] * 1.1
    frame["exposure_per_year"] = (frame["booked_cost"] - frame["estimate"]) * frame["annual_volume"]
    return conform(frame, LINES)[list(LINES.names)]


def decisions_frame(verdicts=("stands", "watch")):
    n = len(verdicts)
    return conform(
        pd.DataFrame(
            {
                "decision": ["pump-kind", "motor-kind"][:n],
                "title": ["which pump", "which motor"][:n],
                "chosen": ["a"] * n,
                "best_today": ["a"] * n,
                "saving_today": [1.0, 0.5][:n],
                "verdict": list(verdicts),
            }
        ),
        DECISIONS_OUT,
    )[list(DECISIONS_OUT.names)]


def quotes_frame(rows=()):
    names = ["part_no", "quote_date", "unit_price", "currency", "min_qty", "kind"]
    frame = pd.DataFrame(rows, columns=names)
    frame["quote_date"] = pd.to_datetime(frame["quote_date"])
    return conform(frame, QUOTES)


def elements_frame():
    return pd.DataFrame(
        {
            "decision": ["pump-kind", "pump-kind", "motor-kind", "motor-kind"],
            "option": ["a", "b", "a", "b"],
            "element": ["pump a", "pump b", "motor a", "motor b"],
            "part_no": ["A-1", "A-2", "B-1", "B-2"],
            "qty": [1.0] * 4,
            "basis": ["per_unit"] * 4,
            "booked_per_unit": [10.0, 20.0, 5.0, 8.0],
        }
    )


def curves_frame(exponents=(0.3, 0.2, 0.0)):
    return pd.DataFrame(
        {"commodity": ["pump", "motor", "hose"], "exponent": exponents, "trend": [np.nan] * 3, "drift": [0.0] * 3}
    )


def settings(**sections):
    return from_dict({"files": {"bom": "bom.csv"}, **sections}).model_dump(mode="json")


def snapshot(as_of=OLD_DAY, *, lines=None, decisions=None, quotes=None, curves=None, inputs=None, **sections):
    return Snapshot(
        title="sample",
        currency="EUR",
        as_of=as_of,
        settings=settings(**sections),
        inputs=inputs or {"bom": "0" * 64},
        library="1" * 64,
        versions={"bomaudit": "0.1.0"},
        tables={
            "lines": lines_frame() if lines is None else lines,
            "decisions": decisions_frame() if decisions is None else decisions,
            "requotes": conform(pd.DataFrame({"part_no": ["A-2"], "rank": [1.0], "reason": ["stale"]}), REQUOTES),
            "elements": elements_frame(),
            "quotes": quotes_frame() if quotes is None else quotes,
            "curves": curves_frame() if curves is None else curves,
            "findings": pd.DataFrame({"code": ["B101"], "severity": ["note"], "message": ["m"]}),
        },
    )
