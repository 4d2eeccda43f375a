"""A partition of lines and the fitted curves → the screened partition and its sums: a pure function of the two."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from bomaudit.estimate import estimate
from bomaudit.prepare.lines import prepare_lines
from bomaudit.screen.batches import Batch, Codes, as_bom, distinct, is_credit, quantity_per, row_kinds
from bomaudit.screen.digest import annual_need
from bomaudit.screen.schema import PRICED_BY, SCREENED
from bomaudit.screen.shared import Fitted
from bomaudit.screen.sums import FIGURES, Names, Ticks, group, ticks
from bomaudit.status import STATUS_CODES, find_status, much_at_stake, probability_of_drift

_BLOCK = 50_000  # distinct lines estimated at a time: what one processor does, so that a worker uses one
_TYPES = {
    "text": pa.dictionary(pa.int32(), pa.string()), "code": pa.dictionary(pa.int32(), pa.string()),
    "number": pa.float64(), "money": pa.float64(), "share": pa.float64(), "date": pa.timestamp("us"),
}  # fmt: skip
ARROW = pa.schema([(c.name, pa.int64() if c.name == "line" else _TYPES[c.kind]) for c in SCREENED.columns])
"""Columns of a screened partition as they are stored."""

FLAGGED = tuple(STATUS_CODES.index(s) for s in ("stale", "drifting"))
_TEXTS_OF_PRICE = ("commodity", "basis", "stage", "why_not", "commodity_basis")
_FIGURES_OF_PRICE = ("booked_cost", "age_years", "estimate", "estimate_low", "estimate_high", "drift", "p_stale")

Floats = npt.NDArray[np.float64]


def screen_batch(batch: Batch, fitted: Fitted) -> tuple[pa.Table, list[pa.Table]]:
    """Screen some lines.

    Parameters
    ----------
    batch : Batch
    fitted : Fitted

    Returns
    -------
    lines : pyarrow Table, columns :data:`ARROW`
    sums : list of pyarrow Table
        Grouped sums, see :func:`bomaudit.screen.sums.group`.
    """
    first, inverse = distinct(batch, (*PRICED_BY, is_credit(batch)))
    priced = _price(as_bom(batch, first), fitted)
    rules = fitted.company.settings.audit
    kinds = row_kinds(batch)
    each = {n: priced[n].to_numpy(dtype=float)[inverse] for n in _FIGURES_OF_PRICE}
    no_part = ~np.isin(kinds.names.astype(str), ["part", "alternative"])[kinds.codes]
    used = np.where((kinds.names == "alternative")[kinds.codes], 0.0, annual_need(batch, rules.annual_volume))
    exposure = (each["booked_cost"] - each["estimate"]) * used + 0.0  # no quantity times a loss is 0, not -0
    auditable = priced["auditable"].to_numpy(dtype=bool)
    much = much_at_stake(each["booked_cost"], each["estimate_low"], each["estimate_high"], exposure, rules=rules)
    known = (auditable & (priced["commodity"] != "").to_numpy(dtype=bool))[inverse]
    status = find_status(
        no_part=no_part, known=known, p_stale=each["p_stale"], much=much, confidence=rules.confidence
    )  # fmt: skip
    each |= {"exposure_per_year": exposure, "spend": np.where(auditable[inverse], each["booked_cost"] * used, np.nan)}
    names = _names(batch, priced, inverse, kinds, fitted) | {"status": Names(status.astype(np.int64), _STATUSES)}
    basis_date = priced["basis_date"].to_numpy(dtype="datetime64[us]")[inverse]
    lines = _as_table(batch, each, names, basis_date, fitted)
    return lines, sums_of(names, figures_of(status, auditable[inverse], each["spend"], exposure))


_STATUSES = np.array(STATUS_CODES, dtype=object)


def _price(bills: pd.DataFrame, fitted: Fitted) -> pd.DataFrame:
    """Prepare and estimate distinct lines; as for one BOM, but the annual need is that of all BOMs."""
    company = fitted.company
    quotes = company.quotes[company.quotes["part_no"].isin(set(bills["part_no"]))]
    lines, _ = prepare_lines(
        bills, quotes=quotes, commodities=company.library.commodities, fx=company.fx, settings=company.settings,
        as_of=company.as_of,
    )  # fmt: skip
    at = fitted.parts.get_indexer(pd.Index(lines["part_no"].to_numpy(dtype=object), dtype=object))
    need = np.append(fitted.need, np.nan)[at]
    lines = lines.assign(annual_qty_now=need)
    confidence = company.settings.audit.confidence
    frames = [
        estimate(lines.iloc[k : k + _BLOCK], fitted.curves, as_of=company.as_of, confidence=confidence).frame
        for k in range(0, max(len(lines), 1), _BLOCK)
    ]
    taken = ["estimate", "estimate_low", "estimate_high", "sd_log", "dof", "stage"]
    lines = (
        lines.join(pd.concat([f[taken] for f in frames])) if frames else lines.assign(**dict.fromkeys(taken, np.nan))
    )
    booked, middle = (lines[n].to_numpy(dtype=float) for n in ("booked_cost", "estimate"))
    likely = probability_of_drift(
        booked, middle, lines["sd_log"], lines["dof"], materiality=company.settings.audit.materiality
    )
    return lines.assign(
        drift=middle / booked - 1.0, p_stale=np.where(lines["auditable"], likely, np.nan),
        stage=lines["stage"].fillna("").astype("str"),
    )  # fmt: skip


def _names(batch: Batch, priced: pd.DataFrame, inverse: Codes, kinds: Names, fitted: Fitted) -> dict[str, Names]:
    found = {n: batch.texts(n) for n in ("bom", "part_no", "description", "supplier")} | {"row_kind": kinds}
    for name in _TEXTS_OF_PRICE:
        of_price = Names.of(priced[name].to_numpy(dtype=object))
        found[name] = Names(of_price.codes[inverse], of_price.names)
    none = np.zeros(batch.size, dtype=np.int64)
    return found | {"currency": Names(none, np.array([fitted.company.fx.currency], dtype=object)),
                    "assumed": _assumed(batch, fitted.company.settings.audit.annual_volume)}  # fmt: skip


def _assumed(batch: Batch, stated: float | None) -> Names:
    """What a line leaves open beside its date and market, the first that applies."""
    words = np.array(["", "no qty_per", "no annual_volume", "no currency"], dtype=object)
    currency = batch.texts("currency")
    conditions = [
        np.isnan(batch.figures("qty_per")),
        np.isnan(batch.figures("annual_volume")) & (stated is None),
        (currency.names == "")[currency.codes],
    ]
    return Names(np.select(conditions, [1, 2, 3], default=0).astype(np.int64), words)


def _as_table(
    batch: Batch,
    each: Mapping[str, Floats],
    names: Mapping[str, Names],
    basis_date: np.ndarray,
    fitted: Fitted,
) -> pa.Table:
    rules = fitted.company.settings.audit
    volume = batch.figures("annual_volume")
    volume = np.where(np.isnan(volume), np.nan if rules.annual_volume is None else rules.annual_volume, volume)
    numbers = {**each, "qty_per": quantity_per(batch), "annual_volume": volume}
    line = np.arange(batch.first, batch.first + batch.size, dtype=np.int64)
    return as_arrow({**numbers, "line": line, "basis_date": basis_date}, names)


def as_arrow(numbers: Mapping[str, np.ndarray], names: Mapping[str, Names]) -> pa.Table:
    """Columns of a screened partition as a table; NaN and NaT become missing values."""
    arrays = []
    for field in ARROW:
        if field.name in names:
            told = names[field.name]
            codes = pa.array(told.codes.astype(np.int32))
            arrays.append(pa.DictionaryArray.from_arrays(codes, pa.array(told.names, pa.string())))
        else:
            arrays.append(pa.array(numbers[field.name], type=field.type, from_pandas=True))
    return pa.Table.from_arrays(arrays, schema=ARROW)


def figures_of(
    status: npt.NDArray[np.int8], auditable: npt.NDArray[np.bool_], spend: Floats, exposure: Floats
) -> dict[str, Ticks]:
    """Figures of lines that are summed by group: see :data:`bomaudit.screen.sums.FIGURES`.

    Parameters
    ----------
    status : array of int8, shape (lines,)
        Positions in ``status.STATUS_CODES``.
    auditable : bool array, shape (lines,)
    spend, exposure : array, shape (lines,)
        Booked cost a year, and how far it stands above the estimate. [currency of the screening/year]

    Returns
    -------
    dict of str to array of int64, shape (lines,)
    """
    money, large = ticks(spend)
    gap, also_large = ticks(exposure)
    flagged = np.isin(status, FLAGGED)
    of = {s: (status == STATUS_CODES.index(s)) for s in STATUS_CODES}
    counted = {
        "lines": np.ones(len(status), dtype=bool), "audited": auditable, "stale": of["stale"],
        "drifting": of["drifting"], "unknown": of["unknown"], "not_added": large | also_large,
        "spend": money, "stale_spend": np.where(of["stale"], money, 0),
        "above": np.where(flagged & (gap > 0), gap, 0), "below": np.where(flagged & (gap < 0), -gap, 0),
    }  # fmt: skip
    return {name: np.asarray(counted[name], dtype=np.int64) for name in FIGURES}


def sums_of(names: Mapping[str, Names], figures: Mapping[str, Ticks]) -> list[pa.Table]:
    """Sums of lines by everything they are ranked by, and by what was assumed of them."""
    keys = {
        "bom": names["bom"], "commodity": names["commodity"], "supplier": names["supplier"],
        "part": names["part_no"].beside(names["description"]),
        **{n: names[n] for n in ("why_not", "basis", "commodity_basis", "assumed") if n in names},
    }  # fmt: skip
    return [group(by, key, figures) for by, key in keys.items()]
