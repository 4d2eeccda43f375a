"""Hand-made lines and estimates, so that each test states the market it is about."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse

from bomaudit.decide.case import Case, build_case
from bomaudit.decide.elements import find_sources, lines_needed
from bomaudit.decide.judged import Decided, judge_case
from bomaudit.decide.pricing import Prices, prices_of
from bomaudit.decide.register import read_register
from bomaudit.frames import conform
from bomaudit.glossary import DECISIONS, LINES, VARIANCE_PARTS, WALK_STEPS
from bomaudit.prepare.currency import Fx, reference_rates
from bomaudit.settings import Settings, from_dict

AS_OF = date(2026, 6, 30)


@dataclass(frozen=True)
class Market:
    """Prepared lines, their estimates, and the settings of an audit."""

    lines: pd.DataFrame
    estimates: Any
    settings: Settings
    fx: Fx

    def with_settings(self, **decide: Any) -> Market:
        """The same market under other rules."""
        raw = {"files": {"bom": "bom.csv"}, "audit": {"currency": "EUR"}, "decide": decide}
        return Market(self.lines, self.estimates, from_dict(raw), self.fx)

    @property
    def audited(self) -> pd.DataFrame:
        """Lines as judged, as far as decisions look at them."""
        frame = pd.concat([self.lines, self.estimates.frame], axis=1)
        drift = frame["estimate"] / frame["booked_cost"] - 1
        exposure = (frame["booked_cost"] - frame["estimate"]) * frame["qty_per"] * frame["annual_volume"]
        return conform(frame.assign(drift=drift, exposure_per_year=exposure), LINES)

    def case(self, rows: Sequence[Mapping[str, Any]]) -> Case:
        """The case of a register given as rows."""
        register = read_register(pd.DataFrame(rows), settings=self.settings, as_of=AS_OF)
        sources = find_sources(register, self.lines)
        prices = prices_of(self.lines, self.estimates, lines_needed(sources, self.lines))
        return build_case(
            register,
            sources,
            lines=self.lines,
            prices=prices,
            growth=np.zeros(len(sources.elements)),
            fx=self.fx,
            rules=self.settings.decide,
            as_of=AS_OF,
        )

    def decide(self, rows: Sequence[Mapping[str, Any]], prices_at: Callable[[date], Prices] | None = None) -> Decided:
        """The whole judgement; prices stay as they are unless told otherwise."""
        case = self.case(rows)
        return judge_case(
            case,
            prices_at or (lambda _: case.costed.prices),
            lines=self.lines,
            audited=self.audited,
            findings=case.register.findings,
            settings=self.settings,
            currency="EUR",
            as_of=AS_OF,
        )


def market_of(parts: Sequence[Mapping[str, Any]], **decide: Any) -> Market:
    """Market of parts: part_no, booked, today, sd, and optionally dof, factors ({name: loading}) and line columns."""
    n = len(parts)
    defaults: dict[str, Any] = {
        "line_id": [f"L{i:04d}" for i in range(1, n + 1)], "source_file": "bom.csv", "source_sheet": "",
        "source_row": np.arange(2.0, n + 2), "row_kind": "part", "description": "", "supplier": "",
        "commodity": "motor",
        "commodity_basis": "stated", "commodity_confidence": 1.0, "sourcing": "standard", "safety_relevant": False,
        "qty_per": 1.0, "uom": "pc", "annual_volume": np.nan, "currency": "EUR", "booked_currency": "EUR",
        "price_currency": "EUR", "basis_date": pd.Timestamp(2016, 6, 30), "basis": "cost_date", "age_years": 10.0,
        "parent_row": -1, "auditable": True, "why_not": "",
    }  # fmt: skip
    lines = pd.DataFrame({k: pd.Series(v, index=range(n)) if np.ndim(v) == 0 else v for k, v in defaults.items()})
    own_columns = {k for p in parts for k in p} - {"booked", "today", "sd", "dof", "factors"}
    for name in sorted(own_columns):
        lines[name] = [p.get(name, defaults.get(name, [""] * n if name == "part_no" else None)) for p in parts]
    lines["booked_cost"] = [float(p.get("booked", np.nan)) for p in parts]
    lines["booked_price"], lines["booked_extended"] = lines["booked_cost"], lines["booked_cost"] * lines["qty_per"]
    lines.loc[lines["row_kind"].isin(["assembly", "charge"]), "auditable"] = False
    if "qty_in_parent" not in lines:
        above = lines["qty_per"].reindex(lines["parent_row"]).fillna(1.0).to_numpy()
        lines["qty_in_parent"] = lines["qty_per"] / above
    today = np.array([float(p.get("today", np.nan)) for p in parts])
    sd = np.array([float(p.get("sd", 0.0)) for p in parts])
    names = tuple(dict.fromkeys(f for p in parts for f in p.get("factors", {})))
    loadings = np.array([[p.get("factors", {}).get(f, 0.0) for f in names] for p in parts]).reshape(n, len(names))
    moved = today - lines["booked_cost"].to_numpy()
    frame = pd.DataFrame(
        {
            "estimate": today, "estimate_low": today * np.exp(-1.2816 * sd),
            "estimate_high": today * np.exp(1.2816 * sd),
            "contract_price": np.nan, "sd_log": sd, "dof": [float(p.get("dof", np.inf)) for p in parts], "stage": "",
            **{f"walk_{s}": moved if s == "experience" else 0.0 for s in WALK_STEPS},
            **{f"var_{v}": 0.0 for v in VARIANCE_PARTS},
        }
    )  # fmt: skip
    own = np.sqrt(np.maximum(sd**2 - (loadings**2).sum(axis=1), 0.0))
    estimates = SimpleNamespace(frame=frame, factors=names, loadings=sparse.csr_array(loadings), sd_own=own)
    return Market(lines, estimates, None, reference_rates("EUR")).with_settings(**decide)  # type: ignore[arg-type]


def row(decision: str, option: str, element: str, **more: Any) -> dict[str, Any]:
    """A row of the register; ``chosen`` follows from the option's name, ``old`` being the one in production."""
    given = {
        "decision": decision, "option": option, "element": element, "kind": "part", "basis": "per_unit",
        "currency": "EUR",
        "chosen": option == "old", "annual_volume": 10_000.0, "years_left": 5.0, "change_cost": 0.0,
        "decided_on": pd.Timestamp(2016, 6, 30), "source_file": "decisions.csv", "source_sheet": "", "source_row": 2,
    }  # fmt: skip
    unknown = set(more) - set(DECISIONS.names)
    assert not unknown, unknown
    return given | more
