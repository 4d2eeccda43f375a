"""What is known of a commodity before its own quotes: library rows weighed against the pool of their class."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from bomaudit.curves.library import Library
from bomaudit.curves.library_rules import CLASS_MARK
from bomaudit.curves.pooling import Floats

CHANGE_SD = 0.25
"""Standard deviation of how much a learning exponent itself changes between the years a published curve covers and
the years to estimate; from the change between the halves of 70 published series (median absolute change of the
learning rate 0.155, both halves' own errors taken off)."""

UNLISTED = {
    "class": "", "materials_share": 0.0, "basket": "", "labour_share": 0.0, "energy_share": 0.0,
    "process_noise": np.nan, "markup_early": 1.0, "markup_mature": 1.0, "elasticity": 2.0,
    "price_break_slope": -0.10, "price_break_sd": 0.08, "trend": np.nan, "trend_sd": np.nan,
}  # fmt: skip
"""Stand-ins for a commodity that the catalogue does not list: no materials taken off; NaN: the pool of all published
series speaks."""

UNKNOWN = {**UNLISTED, "trend": 0.0, "trend_sd": 0.0}
"""Stand-ins for a line whose commodity is not known: only inflation is followed, the spread is in the
classification."""


@dataclass(frozen=True)
class Catalogue:
    """One row a commodity that the audit meets.

    Attributes
    ----------
    frame : DataFrame
        Index commodity; the catalogue's columns (stand-ins where it lists none) and exponent_mean, exponent_sd,
        trend_mean, trend_sd, process_noise, applies_to, measured_on, price_basis, source, kind, listed.
    """

    frame: pd.DataFrame

    @property
    def names(self) -> tuple[str, ...]:
        """The commodities, "" (not known) first."""
        return tuple(str(n) for n in self.frame.index)


def build_catalogue(library: Library, seen: set[str]) -> Catalogue:
    r"""Catalogue rows and priors of every commodity of the library and of the audit.

    Parameters
    ----------
    library : Library
    seen : set of str
        Commodities named in the BOM, quotes or volumes.

    Returns
    -------
    Catalogue

    Notes
    -----
    A commodity's published rows :math:`a_k \pm s_k` are averaged; their mean is weighed against the class mean
    :math:`\mu \pm \tau` by :math:`w = \tau^2 / (\tau^2 + s^2 + c^2)` with :math:`c` the :data:`CHANGE_SD`. Rows
    measured on the conversion share are first carried over to the whole price by :math:`1 - s_m`; rows in nominal money
    are used only where a commodity has no others, and then they are not pooled.
    """
    listed = library.commodities.set_index("commodity")
    names = ["", *sorted((set(listed.index) | seen) - {""})]
    index = pd.Index(names, name="commodity", dtype="str")
    known = index.isin(listed.index)
    stand_in = pd.DataFrame([UNKNOWN if n == "" else UNLISTED for n in index[~known]], index=index[~known])
    frame = pd.concat([listed[list(UNLISTED)], stand_in]).loc[index].astype(dict.fromkeys(_NUMBERS, float))
    frame = frame.assign(listed=known, trend_mean=frame["trend"])
    curves = _by_commodity(library)
    facts = zip(names, frame["class"], frame["materials_share"], strict=True)
    priors = pd.DataFrame([_prior(curves, *fact) for fact in facts], index=index)
    return Catalogue(_given(pd.concat([frame, priors], axis=1), library))


def _given(frame: pd.DataFrame, library: Library) -> pd.DataFrame:
    """Rates that are given replace what is known, without any doubt: no quote moves them."""
    for rates, what in ((library.exponents, "exponent"), (library.trends, "trend")):
        known = frame.index.isin(list(rates))
        frame[f"{what}_mean"] = frame[f"{what}_mean"].mask(known, pd.Series(rates, dtype=float))
        frame[f"{what}_sd"] = frame[f"{what}_sd"].mask(known, 0.0)
        frame["source"], frame["kind"] = (frame[c].mask(known, "given") for c in ("source", "kind"))
    return frame


_NUMBERS = [name for name, value in UNLISTED.items() if isinstance(value, float)]


@dataclass(frozen=True)
class _Row:
    curve_id: str
    exponent: float
    sd: float
    applies_to: str
    measured_on: str
    price_basis: str
    source: str


def _by_commodity(library: Library) -> dict[str, list[_Row]]:
    """Published rows of each commodity, and the pooled prior of each class as ``class:NAME``."""
    curves = library.curves
    pooled = curves["curve_id"].str.startswith("class_")
    kept = curves[
        (curves["how_obtained"] != "class prior") & (pooled | ~curves["commodity"].str.startswith(CLASS_MARK))
    ]
    columns = ["curve_id", "exponent", "exponent_sd", "applies_to", "measured_on", "price_basis", "source"]
    rows: dict[str, list[_Row]] = {}
    for commodity, *fields in zip(kept["commodity"], *(kept[c].tolist() for c in columns), strict=True):
        rows.setdefault(str(commodity), []).append(_Row(*fields))
    return rows


def _prior(curves: dict[str, list[_Row]], name: str, class_: str, share: float) -> dict[str, object]:
    """Exponent of one commodity: mean, sd, and what it was measured on."""
    if name == "":
        nothing = _Row("", 0.0, 0.0, "whole_price", "price", "real", "commodity not known: only inflation is followed")
        return _stated(0.0, 0.0, nothing, "unknown")
    if not class_:
        anything = _Row("", np.nan, np.nan, "whole_price", "price", "real", "pool of all published series")
        return _stated(np.nan, np.nan, anything, "pool")
    pool, own = curves[CLASS_MARK + class_][0], curves.get(name, [])
    real, class_words = [r for r in own if r.price_basis == "real"], class_.replace("_", " ")
    used = real or own
    mean, sd = (float(v[0]) for v in _whole([pool], share))
    if not used or sd == 0:
        if sd == 0:
            return _stated(mean, sd, pool, "raw material")
        source = f"no published rate: prior of the class {class_words}: {pool.source}"
        return _stated(mean, sd, replace(pool, source=source), "class prior")
    means, sds = _whole(used, share)
    published, error = float(means.mean()), float(np.sqrt((sds**2).mean() / len(sds) + means.var()))
    weight = sd**2 / (sd**2 + error**2 + CHANGE_SD**2) if real else 1.0
    mean = mean + weight * (published - mean)
    sd = float(np.sqrt(weight * (error**2 + CHANGE_SD**2)))
    summary = _Row(
        "", mean, sd, "conversion" if all(r.applies_to == "conversion" for r in used) else "whole_price",
        "cost" if all(r.measured_on == "cost" for r in used) else "price", used[0].price_basis,
        f"curves {', '.join(r.curve_id for r in used)}; pool of the class {class_words}",
    )  # fmt: skip
    return _stated(mean, sd, summary, "published")


def _whole(rows: list[_Row], materials_share: float) -> tuple[Floats, Floats]:
    """Exponents and their sds, carried over to the whole price where they were measured on the conversion share."""
    carried = np.array([1 - materials_share if r.applies_to == "conversion" else 1.0 for r in rows])
    return np.array([r.exponent for r in rows]) * carried, np.array([r.sd for r in rows]) * carried


def _stated(mean: float, sd: float, row: _Row, kind: str) -> dict[str, object]:
    return {
        "exponent_mean": mean, "exponent_sd": sd, "applies_to": row.applies_to, "measured_on": row.measured_on,
        "price_basis": row.price_basis, "source": row.source, "kind": kind,
    }  # fmt: skip


def drift_spread(catalogue: Catalogue) -> Floats:
    """Yearly real price change over the catalogue's commodities: mean and standard deviation.

    Parameters
    ----------
    catalogue : Catalogue

    Returns
    -------
    array, shape (2,)
        [ln/year]
    """
    learned = catalogue.frame[catalogue.frame["listed"]]
    mean = float(learned["trend_mean"].mean())
    return np.array([mean, float(np.sqrt(learned["trend_mean"].var() + (learned["trend_sd"] ** 2).mean()))])
