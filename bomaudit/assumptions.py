"""Everything that was assumed rather than read, as one table for every report."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
from pydantic import BaseModel

from bomaudit.curves.fitted import Curves
from bomaudit.prepare.currency import Fx
from bomaudit.settings import Settings

_SECTIONS = ("audit", "read", "model", "decide", "finance")
_COLUMNS = ["name", "value", "stated", "source"]


def list_assumptions(settings: Settings, prepared: pd.DataFrame, curves: Curves, fx: Fx) -> pd.DataFrame:
    """List every setting with its value and reason, the sources of rates and curves, and what was filled in.

    Parameters
    ----------
    settings : Settings
    prepared : DataFrame
        Prepared lines.
    curves : Curves
    fx : Fx

    Returns
    -------
    DataFrame, columns name, value, stated ("audit.toml", "default" or "data"), source
    """
    rows = [*_of_settings(settings), ("exchange rates", fx.currency, "data", fx.source)]
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
