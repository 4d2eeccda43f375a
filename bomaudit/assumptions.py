"""Everything that was assumed rather than read, as one table for every report."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd
from pydantic import BaseModel

from bomaudit.curves.fitted import Curves
from bomaudit.findings import Finding
from bomaudit.prepare.currency import Fx
from bomaudit.settings import Settings

_SECTIONS = ("audit", "read", "model", "decide", "finance")
_COLUMNS = ["name", "value", "stated", "source"]
_STATED = {"S013": "--set", "S018": "own quotes"}


def list_assumptions(
    settings: Settings, prepared: pd.DataFrame, curves: Curves, fx: Fx, *, given: Iterable[Finding] = ()
) -> pd.DataFrame:
    """List what was given for this run, every setting and its reason, sources of rates and curves, what was filled in.

    Parameters
    ----------
    settings : Settings
    prepared : DataFrame
        Prepared lines.
    curves : Curves
    fx : Fx
    given : iterable of Finding
        Those of code ``S013`` say what was given for this run only, those of ``S018`` what own quotes taught.

    Returns
    -------
    DataFrame, columns name, value, stated ("--set", "audit.toml", "default", "own quotes" or "data"), source
    """
    told = {f.found.partition("=")[0].strip(): f for f in given if f.code in _STATED}
    rows = [(name, f.found.partition("=")[2].strip(), "--set", f.assumed) for name, f in told.items() if ":" in name]
    rows += [(name, value, _STATED[told[name].code] if name in told else stated, why)
             for name, value, stated, why in _of_settings(settings)]  # fmt: skip
    rows.append(("exchange rates", fx.currency, "data", fx.source))
    unstated = int((prepared["auditable"] & (prepared["sourcing"] == "standard")).sum())
    rows.append(("sourcing", f"{unstated} lines standard", "data", "standard unless the BOM says custom"))
    table = pd.DataFrame(rows, columns=_COLUMNS)
    return pd.concat([table, curves.assumptions.reindex(columns=_COLUMNS).fillna("")], ignore_index=True)


def _of_settings(settings: Settings) -> Iterator[tuple[str, str, str, str]]:
    for section in _SECTIONS:
        part: BaseModel = getattr(settings, section)
        for name, field in type(part).model_fields.items():
            value = getattr(part, name)
            stated = "audit.toml" if name in part.model_fields_set else "default"
            yield f"{section}.{name}", _shown(value), stated, field.description or ""


def _shown(value: object) -> str:
    if value is None or value == "":
        return "not set"
    if isinstance(value, dict):
        return ", ".join(f"{k} {v:g}" if isinstance(v, float) else f"{k} {v}" for k, v in value.items())
    if isinstance(value, tuple):
        return " to ".join(str(v) for v in value)
    return str(value)
