"""A small finished audit made by hand: frames as the glossary has them, figures that add up."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
from scipy.sparse import csr_array

from bomaudit.curves.input_shares import InputShares
from bomaudit.decide.input_prices import COLUMNS as INPUTS
from bomaudit.findings import Finding, error, note, to_frame, warning
from bomaudit.frames import conform
from bomaudit.glossary import DECISIONS_OUT, LINES, REQUOTES, VARIANCE_PARTS, WALK_STEPS
from bomaudit.report.content import Content
from bomaudit.settings import from_dict

COMMODITIES = ("dc_motor", "controller_board", "steel_sheet", "fastener", "battery_pack", "cable_harness")
ELEMENTS = ["decision", "option", "element", "kind", "part_no", "qty", "basis", "spent", "booked_per_unit",
            "today_per_unit", "low", "high", "moved"]  # fmt: skip
OPTIONS = ["decision", "option", "chosen", "cost_booked", "cost_today", "switch_cost", "npv"]
RISKY = '=HYPERLINK("x") <b>Ölfilter & Söhne</b>'


def made_lines(count: int, seed: int = 5) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    i = np.arange(count)
    booked = np.round(np.exp(rng.normal(1.5, 1.3, count)), 4)
    means = (0.01, 0.06, -0.25, -0.05, 0, 0.01)
    walk = {s: booked * rng.normal(m, 0.04, count) for s, m in zip(WALK_STEPS, means, strict=True)}
    walk["experience"] = np.where(i % 3 == 0, 0.0, walk["experience"])
    estimate = booked + sum(walk.values())
    sd = rng.uniform(0.04, 0.3, count)
    qty, volume = rng.integers(1, 9, count).astype(float), np.full(count, 4200.0)
    p_stale = np.clip(np.abs(estimate / booked - 1) / 0.25, 0.01, 0.995)
    status = np.select([i % 11 == 10, p_stale >= 0.8, p_stale >= 0.5], ["unknown", "stale", "drifting"], "current")
    weights = rng.dirichlet(np.ones(len(VARIANCE_PARTS)), count)
    age = rng.uniform(0.5, 12, count)
    frame = pd.DataFrame(
        {
            "line_id": [f"L{k + 1:04d}" for k in i],
            "source_file": "bom.xlsx",
            "source_sheet": "BOM",
            "source_row": i + 6.0,
            "row_kind": "part",
            "part_no": [f"{k:05d}-A" for k in i],
            "description": [RISKY if k == 1 else f"{COMMODITIES[k % 6].replace('_', ' ')} {k}" for k in i],
            "supplier": [f"Supplier {'ABC'[k % 3]}" for k in i],
            "commodity": [COMMODITIES[k % 6] for k in i],
            "commodity_basis": "stated",
            "commodity_confidence": 1.0,
            "sourcing": np.where(i % 2, "custom", "standard"),
            "safety_relevant": pd.array(i % 17 == 3, dtype="boolean"),
            "qty_per": qty,
            "uom": "pc",
            "annual_volume": volume,
            "booked_price": booked,
            "booked_currency": "EUR",
            "booked_cost": booked,
            "booked_extended": booked * qty,
            "currency": "EUR",
            "price_currency": "EUR",
            "basis_date": pd.Timestamp("2026-06-30") - pd.to_timedelta((age * 365.25).round(), unit="D"),
            "basis": np.where(i % 4, "quote", "cost_date"),
            "age_years": age,
            "estimate": estimate,
            "estimate_low": estimate * np.exp(-1.28 * sd),
            "estimate_high": estimate * np.exp(1.28 * sd),
            "drift": estimate / booked - 1,
            "p_stale": p_stale,
            "status": status,
            "exposure_per_year": (booked - estimate) * qty * volume,
            "stage": np.where(i % 3, "mature", "growth"),
            **{f"walk_{s}": v for s, v in walk.items()},
            "sd_log": sd,
            "dof": 12.0,
            **{f"var_{v}": weights[:, k] for k, v in enumerate(VARIANCE_PARTS)},
            "reason": "10 % drift is likely",
        }
    )
    numbers = ["estimate", "estimate_low", "estimate_high", "drift", "p_stale", "exposure_per_year", "sd_log", "dof"]
    numbers += [c for c in frame if c.startswith(("walk_", "var_"))]
    frame.loc[count - 1, [*numbers, "booked_cost", "booked_extended"]] = np.nan
    frame.loc[count - 1, ["status", "row_kind", "reason"]] = ["", "assembly", "assembly: audited through its parts"]
    return conform(frame, LINES)[list(LINES.names)]


def made_decisions() -> pd.DataFrame:
    rows = [
        ("pump", "Gear or membrane pump", "gear", "membrane", 12.4, -9.1, -14.0, -4.2, 0.97, 88_000, "reopen", False),
        ("motor", "Brushed or brushless", "brushed", "brushless", 15.0, -1.2, -9, 7, 0.55, 900, "requote", False),
        ("hood", "Steel or moulded hood", "steel", "steel", 8.0, 3.1, -0.5, 6.0, 0.09, -30_000, "watch", False),
        ("seat", "Bought or own seat", "bought", "bought", 20.0, 18.0, 15.0, 21.0, 0.0002, -150_000, "stands", False),
        ("brake", "Spring brake or disc brake", "spring", "disc", 5.0, -6.0, -8, -3, 0.93, 50_000, "review", True),
    ]  # fmt: skip
    names = ["decision", "title", "chosen", "best_today", "saving_booked", "saving_today", "saving_low", "saving_high",
             "p_flip", "npv", "verdict", "safety_relevant"]  # fmt: skip
    frame = pd.DataFrame(rows, columns=names).assign(
        annual_volume=4200.0, years_left=5.0, change_cost=60_000.0, break_even_part="00001-A", break_even_price=7.7,
        evpi=2500.0, ask_first="00001-A", value_of_asking=900.0, rule="cautious_end", reason="the rule that fired",
    )  # fmt: skip
    years = ((1.08 / 1.02) ** -(np.arange(5) + 0.5)).sum()
    frame["npv"] = -frame["saving_today"] * frame["annual_volume"] * years - frame["change_cost"]
    frame["switch_to"] = ["membrane", "brushless", "moulded", "own", "disc"]
    frame["npv_low"], frame["npv_high"] = frame["npv"] - 40_000, frame["npv"] + 40_000
    frame["p_pays_back"], frame["payback_years"] = frame["p_flip"] * 0.9, [1.6, 11.9, np.nan, np.nan, 2.4]
    frame["tipped_on"] = pd.to_datetime(["2021-05-01", "2026-01-10", None, None, "2020-02-02"])
    frame["tips_on"] = pd.to_datetime([None, None, "2028-09-30", None, None])
    return conform(frame, DECISIONS_OUT)[list(DECISIONS_OUT.names)]


def made_content(count: int = 40, language: str = "en") -> Content:
    lines, decisions = made_lines(count), made_decisions()
    settings = from_dict({"audit": {"invented": True}, "files": {"bom": "bom.xlsx", "quotes": "quotes.csv"},
                          "report": {"language": language}})  # fmt: skip
    sd = lines["sd_log"].fillna(0.0).to_numpy()
    return Content(
        title="Hand-made audit",
        as_of=date(2026, 6, 30),
        currency="EUR",
        settings=settings,
        lines=lines,
        decisions=decisions,
        requotes=made_requotes(lines),
        **made_decision_parts(decisions, lines),
        shares=made_shares(count),
        growth=pd.Series(np.nan, index=decisions["decision"]),
        silent=frozenset(),
        loadings=csr_array(np.column_stack([sd * 0.6, sd * 0])),
        sd_own=sd * 0.8,
        evidence=pd.Series("used: firm quote of Supplier A at 4.10", index=lines["line_id"], dtype="str"),
        findings=to_frame(made_findings()),
        assumptions=made_assumptions(),
        curves=made_fits(),
        markets=made_points(),
        stages=pd.Series("growth", index=list(COMMODITIES)),
        reconciled=None,
        record=None,
        absent=("volumes", "standards"),
        hashes={"bom.xlsx": "ab" * 32},
    )


def made_shares(count: int) -> InputShares:
    """Copper in every third line, dollars in every fourth, nothing of the last line."""
    i = np.arange(count - 1)
    share = np.column_stack([np.where(i % 3 == 0, 0.25, 0.0), np.where(i % 4 == 0, 1.0, 0.0)])
    return InputShares(("input:copper", "fx:USD"), csr_array(np.vstack([share, [0.0, 0.0]])), np.array([0.2, 0.08]))


def made_requotes(lines: pd.DataFrame) -> pd.DataFrame:
    frame = lines.head(12).assign(
        rank=np.arange(1.0, 13), decisions="pump", value_of_asking=np.linspace(4000, 200, 12), cost_of_asking=150.0,
        reason="its price decides pump",
    )  # fmt: skip
    return conform(frame, REQUOTES)[list(REQUOTES.names)]


def made_findings() -> tuple[Finding, ...]:
    return (
        error("B001", "qty must be > 0", file="bom.xlsx", sheet="BOM", row=14, column="F", found="four",
              assumed="line left out", advice="correct the cell"),
        warning("Q003", "a quote must state its currency", file="quotes.csv", row=3, column="C", found="Supplier B",
                assumed="EUR", advice="add the currency"),
        note("M001", "no volumes for steel_sheet", assumed="half the past trend"),
    )  # fmt: skip


def made_assumptions() -> pd.DataFrame:
    return pd.DataFrame(
        [("model.spillover", "0.5", "default", "share of the industry's learning"),
         ("decide.discount_rate", "0.08", "audit.toml", "nominal discount rate a year"),
         ("decide.rate_basis", "nominal", "default", "what discount_rate is"),
         ("decide.inflation", "0.02", "default", "general inflation expected"),
         ("decide.timing", "mid_year", "default", "when a year's cash falls")],
        columns=["name", "value", "stated", "source"],
    )  # fmt: skip


def made_points() -> pd.DataFrame:
    volume = np.geomspace(1e6, 4e7, 12)
    price = (volume / volume[-1]) ** -0.3
    days = pd.date_range("2015-06-30", periods=12, freq="YE")
    curve = {"commodity": "dc_motor", "date": days, "volume": volume, "label": ""}
    parts = [
        pd.DataFrame(curve | {"kind": "curve", "price": price, "low": price * 0.9, "high": price * 1.1}),
        pd.DataFrame(
            curve | {"kind": "quote", "price": price * 1.05, "low": np.nan, "high": np.nan, "label": "00000-A"}
        ),
    ]
    return pd.concat(parts, ignore_index=True)


def made_fits() -> pd.DataFrame:
    count = len(COMMODITIES)
    return pd.DataFrame(
        {"exponent": np.linspace(0.05, 0.4, count), "exponent_sd": 0.05, "trend": -0.02, "trend_sd": 0.01,
         "n_quotes": 12, "n_parts": 4, "data_weight": 0.3, "process_noise": 0.04, "source": "library", "warnings": ""},
        index=pd.Index(COMMODITIES, name="commodity"),
    )  # fmt: skip


def made_decision_parts(decisions: pd.DataFrame, lines: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Elements and options that add up to the decisions; the choice costs 40 a unit."""
    elements, tornado, paths, options = [], [], [], []
    part = lines.iloc[0]
    for d in decisions.itertuples():
        rate, years = 1.08 / 1.02 - 1, np.arange(5)
        products = d.annual_volume * ((1 + rate) ** -(years + 0.5)).sum()
        once = 12_000.0
        for option, booked, today in ((d.chosen, 40.0, 40.0), (d.switch_to, 40 + d.saving_booked, 40 + d.saving_today)):
            rival = option != d.chosen
            rows = [
                ("fitting", "labour", "", 1.0, "per_unit", 8.0, 8.0, 7.0, 9.0, ""),
                ("bracket", "part", part.part_no, 2.0, "per_unit", 2 * part.booked_cost, 2 * part.estimate,
                 2 * part.estimate_low, 2 * part.estimate_high, "experience -1.20"),
                ("mould", "tooling", "", 1.0, "once", once / products * rival, once / products * rival, 0, 0, ""),
            ]  # fmt: skip
            left = (sum(r[5] for r in rows), sum(r[6] for r in rows))
            rows.append(("pump", "part", "P-X", 1.0, "per_unit", booked - left[0], today - left[1], today - left[1] - 2,
                         today - left[1] + 2, "market grew"))  # fmt: skip
            elements += [(d.decision, option, *r[:5], False, *r[5:]) for r in rows]
            dates = pd.date_range("2016-06-30", "2031-06-30", freq="YE")
            paths += [(d.decision, option, t, c) for t, c in zip(dates, np.linspace(booked, today, 15), strict=True)]
            options.append(
                (d.decision, option, not rival, booked, today, d.change_cost * rival, d.npv if rival else np.nan)
            )
        tornado += [
            (d.decision, "00001-A", "part", 3.0, 4.5, d.npv - 30_000, d.npv + 30_000),
            (d.decision, "annual volume", "what_if", 3150.0, 5250.0, d.npv * 0.75, d.npv * 1.25),
        ]  # fmt: skip
    drivers = [(d, f"input:{m}", "factor", s, np.nan, np.nan) for d in decisions["decision"]
               for m, s in (("copper", 0.6), ("steel", 0.4))]  # fmt: skip
    quantiles = np.arange(1, 40) / 40
    savings = [(d.decision, q, d.saving_today + 4 * (q - 0.5)) for d in decisions.itertuples() for q in quantiles]
    inputs = [(d.decision, "input:copper", d.saving_today, -5.0, 5.0 * d.annual_volume, d.saving_today / 5)
              for d in decisions.itertuples()]  # fmt: skip
    portfolio = decisions.loc[decisions["verdict"].isin(["reopen", "review"]), ["decision", "verdict", "npv"]]
    return {
        "elements": pd.DataFrame(elements, columns=ELEMENTS),
        "options": pd.DataFrame(options, columns=OPTIONS),
        "tornado": pd.DataFrame(tornado, columns=["decision", "driver", "kind", "at_low", "at_high", "low", "high"]),
        "drivers": pd.DataFrame(drivers, columns=["decision", "driver", "kind", "variance_share", "evpi", "evsi"]),
        "paths": pd.DataFrame(paths, columns=["decision", "option", "date", "cost_per_unit"]),
        "savings": pd.DataFrame(savings, columns=["decision", "quantile", "saving"]),
        "inputs": pd.DataFrame(inputs, columns=INPUTS),
        "portfolio": portfolio.assign(counted=True, npv_counted=portfolio["npv"], because=""),
    }  # fmt: skip
