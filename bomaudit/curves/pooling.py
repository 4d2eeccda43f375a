"""Partial pooling: how much own data count against the pool, in closed form and for all commodities at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]

DAYS_PER_YEAR = 365.25
"""Mean length of a Julian year. [d]"""


@dataclass(frozen=True)
class Changes:
    """Within-part changes between neighbouring quotes, all commodities in one set of flat arrays.

    Attributes
    ----------
    code : array of int, shape (changes,)
        Position of the commodity in ``commodities``.
    commodities : tuple of str
    log_price, log_experience, years : array, shape (changes,)
        Change of ln real price and of ln cumulative volume (NaN: no index), and years between the quotes.
        [ln, ln, year]
    quote_variance : array, shape (changes,)
        Variance that the two quotes themselves add. [ln²]
    """

    code: npt.NDArray[np.int64]
    commodities: tuple[str, ...]
    log_price: Floats
    log_experience: Floats
    years: Floats
    quote_variance: Floats


def within_part_changes(observations: pd.DataFrame, commodities: tuple[str, ...]) -> Changes:
    """Difference the quotes of each part; quotes of one part on one day count as their mean.

    Parameters
    ----------
    observations : DataFrame
        Columns commodity, part_no, date, log_price, log_experience and, if known, noise (sd of one quote).
        [-, -, day, ln, ln, ln]
    commodities : tuple of str
        Commodities to keep, in the order of ``Changes.code``.

    Returns
    -------
    Changes
    """
    known = pd.Categorical(observations["commodity"], categories=list(commodities))
    table = pd.DataFrame(
        {
            "code": known.codes.astype(np.int64),
            "part": pd.factorize(observations["part_no"], sort=True)[0],
            "day": observations["date"].to_numpy().astype("datetime64[D]").astype(np.int64),
            "y": observations["log_price"].to_numpy(dtype=float),
            "x": observations["log_experience"].to_numpy(dtype=float),
            "v": observations.get("noise", pd.Series(0.0, index=observations.index)).to_numpy(dtype=float) ** 2,
        }
    )
    table = table[(table["code"] >= 0) & np.isfinite(table["y"])]
    table = table.groupby(["code", "part", "day"], as_index=False, sort=True).mean()
    same = (table["code"].diff() == 0) & (table["part"].diff() == 0)
    step = table.diff()[same]
    return Changes(
        code=table.loc[same, "code"].to_numpy(),
        commodities=commodities,
        log_price=step["y"].to_numpy(),
        log_experience=step["x"].to_numpy(),
        years=step["day"].to_numpy() / DAYS_PER_YEAR,
        quote_variance=(table["v"] + table["v"].shift())[same].to_numpy(),
    )


def combine(mean: Floats, covariance: Floats, information: Floats, score: Floats) -> tuple[Floats, Floats]:
    r"""Posterior of regression coefficients from a normal prior and weighted least squares, stacked over commodities.

    Parameters
    ----------
    mean : array, shape (commodities, k)
        Prior mean.
    covariance : array, shape (commodities, k, k)
        Prior covariance; zero variance pins a coefficient to its prior mean.
    information : array, shape (commodities, k, k)
        :math:`Z'WZ` of the data.
    score : array, shape (commodities, k)
        :math:`Z'Wy` of the data.

    Returns
    -------
    mean, covariance : array, shapes as given

    Notes
    -----
    :math:`C = P (I + A P)^{-1}`, :math:`m + C (b - A m)`: the usual conjugate update, in the form that
    allows :math:`P = 0`.

    References
    ----------
    .. [1] D. V. Lindley and A. F. M. Smith, "Bayes Estimates for the Linear Model", J. Royal Statistical Society B
       34(1), 1972.
    """
    identity = np.eye(mean.shape[1])
    posterior = covariance @ np.linalg.inv(identity + information @ covariance)
    residual = score - np.einsum("cij,cj->ci", information, mean)
    return mean + np.einsum("cij,cj->ci", posterior, residual), posterior
