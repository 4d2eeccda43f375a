"""What is known of a commodity before its own quotes: library rows weighed against the pool of their class."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bomaudit.curves.library import CLASS_MARK, Library
from bomaudit.curves.pooling import Floats

CHANGE_SD = 0.25
"""Standard deviation of how much a learning exponent itself changes between the years a published curve covers and the
years to estimate; from the change between the halves of 70 published series (median absolute change of the learning
rate 0.155, both halves' own errors taken off)."""

UNLISTED = {
    "class": "all", "materials_share": 0.0, "basket": "", "labour_share": 0.0, "energy_share": 0.0,
    "process_noise": 0.10, "markup_early": 1.0, "markup_mature": 1.0, "elasticity": 2.0,
    "price_break_slope": -0.10, "price_break_sd": 0.08, "trend": 0.0, "trend_sd": 0.06,
}  # fmt: skip
"""Stand-ins for a commodity that the catalogue does not list: no materials taken off, no trend, wide. Process noise and
trend spread: medians over published series of all kinds."""

UNKNOWN = {**UNLISTED, "trend_sd": 0.0}
"""Stand-ins for a line whose commodity is not known: only inflation is followed; the spread is in the classification."""


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
    """Catalogue rows and priors of every commodity of the library and of the audit.

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
    A commodity's published rows :math:`a_k \\pm s_k` are averaged; their mean is weighed against the class mean
    :math:`\\mu \\pm \\tau` by :math:`w = \\tau^2 / (\\tau^2 + s^2 + c^2)` with :math:`c` the :data:`CHANGE_SD`. Rows
    measured on the conversion share are first carried over to the whole price by :math:`1 - s_m`; rows in nominal money
    are used only where a commodity has no others, and then they are not pooled.
    """
    listed = library.commodities.set_index("commodity")
    names = ["", *sorted((set(listed.index) | seen) - {""})]
    frame = listed.reindex(pd.Index(names, name="commodity", dtype="str"))
    known = frame.index.isin(listed.index)
    for column, value in UNLISTED.items():
        frame[column] = frame[column].where(known, value)
    frame.loc["", list(UNKNOWN)] = list(UNKNOWN.values())
    frame = frame.assign(listed=known, trend_mean=frame["trend"])
    priors = pd.DataFrame([_prior(library, str(n), frame.loc[n]) for n in names], index=frame.index)
    kept = frame.drop(columns=["source"]).astype({c: float for c in _NUMBERS})
    return Catalogue(pd.concat([kept, priors], axis=1))


_NUMBERS = [
    "materials_share", "labour_share", "energy_share", "process_noise", "markup_early", "markup_mature", "elasticity",
    "price_break_slope", "price_break_sd", "trend", "trend_sd", "trend_mean",
]  # fmt: skip


def _prior(library: Library, name: str, row: pd.Series) -> dict[str, object]:
    """Exponent of one commodity: mean, sd, and what it was measured on."""
    share = float(row["materials_share"])
    if name == "":
        return _stated(
            0.0, 0.0, "whole_price", "price", "real", "commodity not known: only inflation is followed", "none"
        )
    pool = library.curves[library.curves["curve_id"] == f"class_{row['class']}"].iloc[0]
    own = library.curves[(library.curves["commodity"] == name) & (library.curves["how_obtained"] != "class prior")]
    real = own[own["price_basis"] == "real"]
    used = real if len(real) else own
    mean, sd = _whole(float(pool["exponent"]), float(pool["exponent_sd"]), str(pool["applies_to"]), share)
    if used.empty or sd == 0:
        kind = "raw material" if sd == 0 else "class prior"
        return _stated(
            mean,
            sd,
            str(pool["applies_to"]),
            str(pool["measured_on"]),
            str(pool["price_basis"]),
            str(pool["source"]),
            kind,
        )
    carried = used["applies_to"].map({"whole_price": 1.0, "conversion": 1 - share}).to_numpy(dtype=float)
    means, sds = used["exponent"].to_numpy() * carried, used["exponent_sd"].to_numpy() * carried
    published, error = float(means.mean()), float(np.sqrt((sds**2).mean() / len(sds) + means.var()))
    if len(real):
        weight = sd**2 / (sd**2 + error**2 + CHANGE_SD**2)
        mean, sd = mean + weight * (published - mean), float(np.sqrt(weight * (error**2 + CHANGE_SD**2)))
    else:
        mean, sd = published, float(np.hypot(error, CHANGE_SD))
    applies = "conversion" if (used["applies_to"] == "conversion").all() else "whole_price"
    measured = "cost" if (used["measured_on"] == "cost").all() else "price"
    source = ", ".join(used["curve_id"])
    return _stated(
        mean,
        sd,
        applies,
        measured,
        str(used["price_basis"].iloc[0]),
        f"curves {source}; pool {pool['curve_id']}",
        "published",
    )


def _whole(mean: float, sd: float, applies_to: str, materials_share: float) -> tuple[float, float]:
    carried = 1 - materials_share if applies_to == "conversion" else 1.0
    return mean * carried, sd * carried


def _stated(
    mean: float, sd: float, applies_to: str, measured_on: str, price_basis: str, source: str, kind: str
) -> dict[str, object]:
    return {
        "exponent_mean": mean, "exponent_sd": sd, "applies_to": applies_to, "measured_on": measured_on,
        "price_basis": price_basis, "source": source, "kind": kind,
    }  # fmt: skip


def class_names(library: Library) -> tuple[str, ...]:
    """Classes that have a pooled prior."""
    ids = library.curves.loc[library.curves["commodity"].str.startswith(CLASS_MARK), "curve_id"]
    return tuple(sorted(i.removeprefix("class_") for i in ids if i.startswith("class_")))


def drift_spread(catalogue: Catalogue) -> Floats:
    """Spread over the catalogue's commodities of yearly real price change: mean and standard deviation. [ln/year]"""
    learned = catalogue.frame[catalogue.frame["listed"]]
    mean = float(learned["trend_mean"].mean())
    return np.array([mean, float(np.sqrt(learned["trend_mean"].var() + (learned["trend_sd"] ** 2).mean()))])
