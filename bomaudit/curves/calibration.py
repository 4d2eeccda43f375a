"""What published price series say about prices in general: the pool that own quotes are weighed against.

The figures stand in ``learning_curves/pooled_priors.csv``, one row a figure, and are estimated by
``tests/benchmarks/estimate_pools.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.resources import data_folder

POOL_FILE = "pooled_priors.csv"


@dataclass(frozen=True, kw_only=True)
class Pool:
    """How prices move over all published series: one set with a volume index, one without.

    Attributes
    ----------
    exponent_mean, exponent_sd : float
        Lasting experience exponent over technologies, positive when price falls. [-]
    exponent_wander, exponent_memory : float
        Standard deviation of a technology's present exponent about its lasting one, and how long it keeps. [-, year]
    drift_mean : float
        Lasting yearly change of ln real price beside experience (all of it, without a volume index). [ln/year]
    drift_sd : float
        Standard deviation over technologies of the lasting yearly change, experience included, of those that grow as is
        typical. [ln/year]
    drift_wander, drift_memory : float
        Standard deviation of the present drift about the lasting one where the noise is the median, in proportion to
        the noise elsewhere; and how long it keeps. [ln/year, year]
    typical_growth : float
        Yearly growth of ln cumulative volume at which the lasting yearly change says nothing of the exponent; 0 without
        a volume index. [ln/year]
    noise, noise_log_sd : float
        Median over technologies of the noise scale, and the standard deviation of its ln. [ln, ln]
    noise_kept : float
        Correlation of a technology's ln noise of the time ahead with that of the past. [-]
    level_share : float
        Share of the squared noise scale that moves the level for good, per year; the rest is passing. [-]
    noise_memory : float
        How long a passing deviation keeps. [year]
    tail_dof : float
        Degrees of freedom that no interval exceeds: prices jump more often than a normal law has it.
    wander_log_sd : float
        Standard deviation over technologies of the ln of how much rates wander. [ln]
    """

    exponent_mean: float
    exponent_sd: float
    exponent_wander: float
    exponent_memory: float
    drift_mean: float
    drift_sd: float
    drift_wander: float
    drift_memory: float
    typical_growth: float
    noise: float
    noise_log_sd: float
    noise_kept: float
    level_share: float
    noise_memory: float
    wander_log_sd: float
    tail_dof: float


@dataclass(frozen=True)
class Pools:
    """The pool for commodities with a volume index and the one for those without."""

    with_volume: Pool
    without_volume: Pool


def read_pools(path: Path) -> Pools:
    """Read a table of pooled figures.

    Parameters
    ----------
    path : Path
        A csv with the columns figure, with_volume, without_volume, unit, meaning.

    Returns
    -------
    Pools

    Raises
    ------
    ValueError
        If a figure is missing, doubled or no number.
    """
    table = pd.read_csv(path, index_col="figure")
    names = [f.name for f in fields(Pool)]
    if sorted(table.index) != sorted(names):
        raise ValueError(f"{path.name} must have one row for each of {', '.join(names)}")
    if not np.isfinite(table[["with_volume", "without_volume"]].to_numpy(dtype=float)).all():
        raise ValueError(f"{path.name} must have a number for every figure")
    both = {c: {str(n): float(v) for n, v in table[c].items()} for c in ("with_volume", "without_volume")}
    return Pools(Pool(**both["with_volume"]), Pool(**both["without_volume"]))


@cache
def bundled_pools() -> Pools:
    """Pooled figures that come with the package."""
    return read_pools(data_folder("learning_curves") / POOL_FILE)
