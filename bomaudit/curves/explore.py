"""Look into learning curves: list the library, fit one to quotes or to any price and volume table, compare the two."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.breaks import SHORT, rate_break
from bomaudit.curves.fitted import Curves
from bomaudit.curves.histories import History, doubts_of, make_history
from bomaudit.curves.library import Library
from bomaudit.curves.pooling import Floats
from bomaudit.curves.priors import CHANGE_SD
from bomaudit.curves.timelines import years_of
from bomaudit.findings import BadInput, Finding, error, warning
from bomaudit.glossary import PRICE_SERIES

FEWEST = 3
"""Observations that a fit needs: a level, a slope and something left over."""

_FEW = 6  # observations under which the interval rests on next to nothing
_HANGS = 0.5  # correlation of neighbouring residuals from which plain standard errors mislead badly
_ROUNDING = 1e-9  # ln; residuals this small are what the arithmetic leaves
_BEYOND = 1.0  # doublings past the data that count as extrapolation
_MANY_PARTS = 10  # parts from which standard errors can be clustered by part
_COVERAGE = 0.95


@dataclass(frozen=True)
class CurveFit:
    """Experience curve fitted to observations, in real or nominal money as these are.

    Attributes
    ----------
    exponent, exponent_se : float
        Slope of ln price on ln cumulative volume within parts, sign turned, and its standard error. [-]
    exponent_low, exponent_high : float
        95 % interval. [-]
    exponent_differences : float
        The same from changes between neighbouring observations, through the origin. [-]
    r_squared : float
        Within parts. [-]
    n, parts : int
    doublings : float
        Of cumulative volume that the observations of one part span, at most.
    errors : str
        How the standard error was found.
    residuals : DataFrame
        part_no, date, log_price, log_experience, fitted, residual. [ln]
    warnings : tuple of str
        When not to trust the fit.
    """

    exponent: float
    exponent_se: float
    exponent_low: float
    exponent_high: float
    exponent_differences: float
    r_squared: float
    n: int
    parts: int
    doublings: float
    errors: str
    residuals: pd.DataFrame
    warnings: tuple[str, ...]

    @property
    def learning_rate(self) -> float:
        """Fall of the price per doubling of cumulative volume."""
        return float(1 - 2**-self.exponent)

    def to_frame(self) -> pd.DataFrame:
        """Summary: one row a figure, with columns figure, value."""
        figures = {
            "exponent": self.exponent, "standard error": self.exponent_se, "exponent, low": self.exponent_low,
            "exponent, high": self.exponent_high, "exponent from differences": self.exponent_differences,
            "learning rate": self.learning_rate, "progress ratio": 1 - self.learning_rate, "R²": self.r_squared,
            "observations": self.n, "parts": self.parts, "doublings": self.doublings,
        }  # fmt: skip
        return pd.DataFrame({"figure": list(figures), "value": np.array(list(figures.values()), dtype=float)})

    def __repr__(self) -> str:
        return f"CurveFit(learning rate {100 * self.learning_rate:.1f} %, R² {self.r_squared:.2f}, n {self.n})"


def list_curves(library: Library, search: str = "") -> pd.DataFrame:
    """Curves of the library, those that hold every word of a search.

    Parameters
    ----------
    library : Library
    search : str
        Words looked for in name, commodity, class, keywords, source and how it was obtained; "" lists all.

    Returns
    -------
    DataFrame
        Columns of :data:`bomaudit.curves.library.CURVES` and class, sorted by commodity and name.
    """
    catalogue = library.commodities.set_index("commodity")
    curves = library.curves.assign(**{"class": library.curves["commodity"].map(catalogue["class"]).fillna("")})
    text = curves["commodity"].map(catalogue["keywords"]).fillna("").astype("str")
    for column in ("curve_id", "commodity", "class", "source", "how_obtained"):
        text = text + " " + curves[column].astype("str")
    kept = np.ones(len(curves), dtype=bool)
    for word in search.casefold().split():
        kept &= text.str.casefold().str.contains(word, regex=False).to_numpy(dtype=bool)
    return curves[kept].sort_values(["commodity", "curve_id"], kind="stable", ignore_index=True)


def observe_table(table: pd.DataFrame) -> pd.DataFrame:
    """Observations from a table of prices and volumes of one market.

    Parameters
    ----------
    table : DataFrame
        period (ends of the periods), price, and volume or cumulative_volume; prices as they are to be fitted, real for
        a real exponent. Rows without a price still count in the volume; of two of one period the last counts.

    Returns
    -------
    DataFrame
        part_no (""), date, log_price, log_experience: as :func:`fit_curve` takes them.

    Raises
    ------
    BadInput
        If a column is missing, fewer than :data:`FEWEST` rows have a price and a volume, or cumulative volume never
        rises.
    """
    ordered, price, history = _history_of(table)
    time = years_of(ordered["period"].to_numpy())
    stock = np.log(history.stock + np.cumsum([0.0, *history.made]))
    found = pd.DataFrame(
        {
            "part_no": "", "date": ordered["period"].to_numpy(), "log_price": np.log(price),
            "log_experience": np.interp(time, [history.start, *history.ends], stock),
        }
    )  # fmt: skip
    return pd.DataFrame(found[np.isfinite(found["log_price"])]).reset_index(drop=True)


def doubts_of_table(table: pd.DataFrame, file: str) -> list[Finding]:
    """What :func:`observe_table` left out of a table, or had to assume.

    Parameters
    ----------
    table : DataFrame
        As there.
    file : str
        Its name.

    Returns
    -------
    list of Finding

    Raises
    ------
    BadInput
        As there.
    """
    _, price, history = _history_of(table)
    periods = table["period"].nunique()
    twice, without = int(table["period"].notna().sum()) - periods, periods - int(np.isfinite(price).sum())
    found = []
    if twice:
        found.append(
            warning("X004", "a period must stand in one row", file=file, column="period", found=f"{twice} more",
                    assumed="the last row of it counts")
        )  # fmt: skip
    if without:
        found.append(
            warning("X005", "a price and a volume must be > 0", file=file, found=f"{without} periods without both",
                    assumed="no observation")
        )  # fmt: skip
    return found + doubts_of({"the market": history}, file)


def _history_of(table: pd.DataFrame) -> tuple[pd.DataFrame, Floats, History]:
    """Rows that state a volume, in order, their prices (NaN where none), and the history of the market."""
    stated = [c for c in PRICE_SERIES.names if c in table and (c == "period" or table[c].notna().any())]
    if not {"period", "price"} <= set(stated) or not {"volume", "cumulative_volume"} & set(stated):
        raise BadInput(
            error("X001", "a price and volume table needs period, price and volume or cumulative_volume",
                  found=", ".join(stated) or "none of them", advice="name its columns so, or with --column NAME=HEADER")
        )  # fmt: skip
    ordered = (
        table.dropna(subset=["period"]).sort_values("period", kind="stable").drop_duplicates("period", keep="last")
    )
    counted = [_positive(ordered, c) for c in ("volume", "cumulative_volume")]
    known = np.isfinite(counted[0]) | np.isfinite(counted[1])
    ordered, counted = ordered[known], [c[known] for c in counted]
    price = _positive(ordered, "price")
    if int(np.isfinite(price).sum()) < FEWEST:
        raise _too_few(int(np.isfinite(price).sum()))
    history = make_history(years_of(ordered["period"].to_numpy()), *counted)
    if (np.diff(counted[1]) <= 0).all():
        raise _no_change()
    return ordered, price, history


def _positive(table: pd.DataFrame, column: str) -> Floats:
    """Values above zero, NaN elsewhere and where the table has no such column."""
    if column not in table:
        return np.full(len(table), np.nan)
    values = table[column].to_numpy(dtype=float)
    return np.where(values > 0, values, np.nan)


def _too_few(count: int) -> BadInput:
    return BadInput(
        error("X002", f"a curve needs {FEWEST} observations with a price and a volume", found=str(count),
              advice="give more quotes, or volumes that reach back to them")
    )  # fmt: skip


def _no_change() -> BadInput:
    return BadInput(error("X003", "cumulative volume must change between the observations", advice="give volumes"))


def observe_quotes(curves: Curves, commodity: str) -> pd.DataFrame:
    """Observations that the audit's own quotes give for a commodity: real prices beside cumulative volume.

    Parameters
    ----------
    curves : Curves
    commodity : str

    Returns
    -------
    DataFrame
        part_no, date, log_price, log_experience; empty where no quote of it falls on a volume index. Quotes of one part
        on one day, price breaks say, are one observation, their mean: as they count in an estimate.
    """
    seen = curves.observations
    seen = seen[(seen["commodity"] == commodity) & np.isfinite(seen["log_experience"])]
    daily = seen.groupby(["part_no", "date"], as_index=False, sort=True)[["log_price", "log_experience"]]
    return pd.DataFrame(daily.mean())


def fit_curve(observations: pd.DataFrame, *, until: float | None = None) -> CurveFit:
    r"""Fit an experience curve.

    Parameters
    ----------
    observations : DataFrame
        part_no, date, log_price, log_experience; every part has its own level.
    until : float, optional
        Cumulative volume the curve is wanted for: further than a doubling past the data is warned of. [units]

    Returns
    -------
    CurveFit

    Raises
    ------
    BadInput
        If fewer than :data:`FEWEST` observations remain of parts with two or more, or their volumes do not differ.

    Notes
    -----
    :math:`\ln p_{it} = a_i - \alpha \ln X_t + e_{it}` by least squares within parts (statsmodels). Standard errors hold
    for residuals that hang together (Newey and West) with one part, are clustered by part with ten or more, and allow
    for unequal variances between. Plain experience-curve regressions state standard errors that are far too small.
    """
    table = observations[np.isfinite(observations["log_price"]) & np.isfinite(observations["log_experience"])]
    table = table[table.groupby("part_no")["part_no"].transform("size") > 1]
    table = table.sort_values(["part_no", "date"], kind="stable").reset_index(drop=True)
    code, names = pd.factorize(table["part_no"])
    if len(table) < max(FEWEST, len(names) + 2):
        raise _too_few(len(table))
    means = table.groupby(code)[["log_price", "log_experience"]].transform("mean")
    y, x = ((table[c] - means[c]).to_numpy(dtype=float) for c in ("log_price", "log_experience"))
    if not x @ x > 0:
        raise _no_change()
    exponent, spread, errors = _regress(y, -x, code, len(names))
    many = len(names) >= _MANY_PARTS
    low, high = _interval(exponent, spread, len(names) - 1 if many else len(table) - len(names) - 1)
    residual = y + exponent * x
    residuals = table[["part_no", "date", "log_price", "log_experience"]].assign(
        fitted=table["log_price"] - residual, residual=residual
    )
    # within a part: parts differ by how much of the market's experience is theirs, and have a level of their own
    span = float(table.groupby(code)["log_experience"].agg(np.ptp).max()) / np.log(2)
    differences = _of_differences(table, code)
    return CurveFit(
        exponent=exponent, exponent_se=spread, exponent_low=low, exponent_high=high, exponent_differences=differences,
        r_squared=float(1 - residual @ residual / (y @ y)) if y @ y > 0 else 1.0, n=len(table), parts=len(names),
        doublings=span, errors=errors, residuals=residuals,
        warnings=tuple(_warn(table, code, residual, span, exponent=exponent, until=until)),
    )  # fmt: skip


def _regress(y: Floats, x: Floats, code: npt.NDArray[np.intp], parts: int) -> tuple[float, float, str]:
    """Slope through the origin of demeaned data, its standard error corrected for the means, and how it was found."""
    from statsmodels.regression.linear_model import OLS  # noqa: PLC0415  (slow to import, needed only here)

    if parts == 1:
        lags = int(np.floor(4 * (len(y) / 100) ** (2 / 9)))
        fit, errors = (
            OLS(y, x).fit(cov_type="HAC", cov_kwds={"maxlags": lags, "use_correction": True}),
            f"Newey-West, {lags} lags",
        )
    elif parts >= _MANY_PARTS:
        fit = OLS(y, x).fit(cov_type="cluster", cov_kwds={"groups": code})
        return float(fit.params[0]), float(fit.bse[0]), "clustered by part"  # the means lie within the clusters
    else:
        fit, errors = OLS(y, x).fit(cov_type="HC1"), "unequal variances"
    means = np.sqrt((len(y) - 1) / max(len(y) - parts - 1, 1))
    return float(fit.params[0]), float(fit.bse[0] * means), errors


def _interval(exponent: float, spread: float, freedom: int) -> tuple[float, float]:
    from scipy.special import stdtrit  # noqa: PLC0415  (needed only here)

    reach = float(stdtrit(max(freedom, 1), 0.5 + _COVERAGE / 2)) * spread
    return exponent - reach, exponent + reach


def _changes(table: pd.DataFrame, code: npt.NDArray[np.intp]) -> tuple[Floats, Floats, Floats, Floats]:
    """Changes of ln price and ln experience between neighbours of a part, their years, and when they end."""
    same = np.diff(code) == 0
    time = years_of(table["date"].to_numpy())
    steps = [np.diff(v)[same] for v in (table["log_price"].to_numpy(), table["log_experience"].to_numpy(), time)]
    return steps[0], steps[1], steps[2], time[1:][same]


def _of_differences(table: pd.DataFrame, code: npt.NDArray[np.intp]) -> float:
    dy, dx, _, _ = _changes(table, code)
    return float(-(dx @ dy) / (dx @ dx)) if dx @ dx > 0 else float("nan")


def _warn(
    table: pd.DataFrame,
    code: npt.NDArray[np.intp],
    residual: Floats,
    doublings: float,
    *,
    exponent: float,
    until: float | None,
) -> list[str]:
    found = []
    if len(table) < _FEW:
        found.append(f"only {len(table)} observations")
    if doublings < SHORT:
        found.append(f"the data span {doublings:.1f} doublings of cumulative volume, under {SHORT:.0f}")
    if exponent < 0:
        found.append("the price rises with experience: something else drives it")
    dy, dx, years, end = _changes(table, code)
    root = np.sqrt(np.maximum(years, np.finfo(float).tiny))
    broke = rate_break(dy / root, dx / root, end)
    if np.isfinite(broke):
        found.append(f"the rate broke about {2000 + int(np.floor(broke))}: fit the years since")
    neighbours = np.diff(code) == 0
    size = max(float(residual @ residual), len(residual) * _ROUNDING**2)
    hangs = float(residual[1:][neighbours] @ residual[:-1][neighbours]) / size
    if hangs > _HANGS:
        found.append(f"residuals hang together (correlation {hangs:.2f}): the fit through the changes is the safer one")
    beyond = (np.log(until) - float(table["log_experience"].max())) / np.log(2) if until else 0.0
    if beyond > _BEYOND:
        found.append(f"the volume that it is read at lies {beyond:.1f} doublings past the data: extrapolation")
    return found


def compare_with_library(fit: CurveFit, library: Library, *, commodity: str = "", most: int = 12) -> pd.DataFrame:
    """Curves of the library beside a fitted one.

    Parameters
    ----------
    fit : CurveFit
    library : Library
    commodity : str
        Only curves of this commodity and of its class; "" compares with all.
    most : int
        Rows to return.

    Returns
    -------
    DataFrame
        curve_id, commodity, learning_rate, exponent, exponent_sd, difference (fitted minus library), distance (in
        standard deviations of the difference, published rates taken to have changed since), source, how_obtained; the
        nearest first.
    """
    curves = library.curves[library.curves["how_obtained"] != "class prior"]
    if commodity:
        of = library.commodities.set_index("commodity")["class"]
        curves = curves[curves["commodity"].isin([commodity, f"class:{of.get(commodity, 'all')}"])]
    difference = fit.exponent - curves["exponent"]
    spread = np.sqrt(curves["exponent_sd"] ** 2 + fit.exponent_se**2 + CHANGE_SD**2)
    beside = curves.assign(difference=difference, distance=difference.abs() / spread)
    columns = [
        "curve_id", "commodity", "learning_rate", "exponent", "exponent_sd", "difference", "distance", "source",
        "how_obtained",
    ]  # fmt: skip
    return beside.sort_values(["distance", "curve_id"], kind="stable")[columns].head(most).reset_index(drop=True)
