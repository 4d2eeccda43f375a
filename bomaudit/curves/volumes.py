"""Volume indices: cumulative volume of each market at any date, with what is known of its maturity."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.diffusion import MIN_PERIODS, DiffusionFit, Volumes, fit_diffusion
from bomaudit.curves.histories import History, read_histories
from bomaudit.curves.maturity import FALLING, logistic_share, stage_of
from bomaudit.curves.pooling import Floats
from bomaudit.curves.timelines import Codes, Timelines, years_of
from bomaudit.findings import Finding

HORIZONS = np.concatenate([np.arange(1, 5) / 4, np.arange(2, 21)]).astype(float)
"""Years after the last period for which volumes are forecast; beyond, growth stops at the last rate. [year]"""

_STOCK_SD = float(np.log(2.0))  # the guessed stock may be half or twice as much
_EARLY_SD, _LATE_SD = 0.15, 0.15  # ln growth per year that backcasts and short indices may be wrong by
NO_PEAK = "no peak yet: the ultimate market rests on a prior"

_HALF = 0.5  # of the volume it levels off at: where growth is fastest
_RECENT = 4  # years that the present trend of volumes is taken from
_ROUNDED = 0.01  # of an equal share: 33 % of three makers
_STEADY = 1e-9  # ln/year; slower growth is none


@dataclass(frozen=True)
class VolumeIndices:
    """Cumulative volume over time of every commodity with an index.

    Attributes
    ----------
    lines : Timelines
        ln cumulative volume at period ends and forecast dates. [ln]
    stock_effect, forecast_sd, share : array, shape (points,)
        Change of ln cumulative volume per standard deviation of the guessed stock before the first period, standard
        deviation of the forecast (0 within the data), share of the ultimate market. [ln, ln, -]
    concentration : Timelines
        Herfindahl index of the makers, where their count is known. [-]
    maturity : DataFrame
        One row a commodity (index): model, p, q, m, m_sd, noise, share, stage, volume_trend, years_to_peak,
        last_period [years since 2000], periods, unit, stock_guessed, notes.
    """

    lines: Timelines
    stock_effect: Floats
    forecast_sd: Floats
    share: Floats
    concentration: Timelines
    maturity: pd.DataFrame

    def log_cumulative(self, commodity: npt.ArrayLike, dates: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Ln cumulative volume and its standard deviation at each date; NaN where there is no index.

        Parameters
        ----------
        commodity : array of str, shape (n,)
        dates : array of datetime64, shape (n,)

        Returns
        -------
        mean, sd : array, shape (n,)
            [ln]
        """
        mean, stock, ahead, _ = self.at(self.lines.codes(commodity), years_of(dates))
        return mean, np.hypot(stock, ahead)

    def at(self, codes: Codes, time: npt.ArrayLike) -> tuple[Floats, Floats, Floats, Floats]:
        """Read all four columns at once.

        Parameters
        ----------
        codes : array of int, shape (n,)
            Positions in ``lines.names``, -1 for no index.
        time : array, shape (n,) or scalar
            [years since 2000]

        Returns
        -------
        log_cumulative, stock_effect, forecast_sd, share : array, shape (n,)
            ``forecast_sd`` with a minus sign before the first period: it is a backcast's there.
        """
        if not len(self.lines.names):
            none = np.full(codes.shape, np.nan)
            return none, none, none, none
        place, flat = self.lines.locate(codes, time), np.zeros(len(self.lines.names))
        mean = self.lines.read(place, self.lines.value, self.lines.before, self.lines.after)
        stock = self.lines.read(place, self.stock_effect, flat, flat)
        ahead = self.lines.read(place, self.forecast_sd, flat + _EARLY_SD, flat + _LATE_SD)
        share = self.lines.read(place, self.share, flat, flat) * np.exp(
            np.where(place.codes >= 0, self.lines.before[np.maximum(place.codes, 0)] * place.early, 0.0)
        )
        return mean, stock, ahead, share

    def growth(self, commodity: str, then: date, now: date) -> float:
        """Growth of ln cumulative volume of one market between two days. [ln]"""  # noqa: D400  (unit last)
        early, late = self.log_cumulative([commodity] * 2, np.array([then, now], dtype="datetime64[D]"))[0]
        return float(late - early)

    def stage(self, commodity: npt.ArrayLike, dates: npt.ArrayLike) -> npt.NDArray[np.str_]:
        """Stage of each market at each date; "" where there is no index.

        Parameters
        ----------
        commodity : array of str, shape (n,)
        dates : array of datetime64, shape (n,)

        Returns
        -------
        array of str, shape (n,)
        """
        codes, time = self.lines.codes(commodity), years_of(dates)
        return stage_of(self.at(codes, time)[3], self.declining(codes))

    def declining(self, codes: Codes) -> npt.NDArray[np.bool_]:
        """Whether the yearly volume of each market falls."""
        if not len(self.lines.names):
            return np.zeros(codes.shape, dtype=bool)
        falls = self.maturity["volume_trend"].to_numpy(dtype=float) < FALLING
        return np.asarray(falls[np.maximum(codes, 0)] & (codes >= 0))


def read_volumes(own: pd.DataFrame, starter: pd.DataFrame, *, as_of: date) -> tuple[VolumeIndices, list[Finding]]:
    """Volume indices from the audit's own rows and, for commodities they lack, the library's.

    Parameters
    ----------
    own, starter : DataFrame
        Table ``volumes`` of the glossary.
    as_of : date
        Periods that end later are plans, not data, and are left out.

    Returns
    -------
    indices : VolumeIndices
    findings : list of Finding
    """
    rows, histories, findings = read_histories(own, starter, as_of=as_of)
    yearly = [h.by_year() for h in histories.values()]
    long = np.array([k for k, h in enumerate(yearly) if len(h.ends) >= MIN_PERIODS], dtype=np.int64)
    fit = fit_diffusion(_padded([yearly[k] for k in long]), HORIZONS) if len(long) else None
    place = {int(k): row for row, k in enumerate(long)}
    tracks = [_track(h, yearly[k], fit, place.get(k)) for k, h in enumerate(histories.values())]
    names = tuple(histories)
    points = np.array([len(t.time) for t in tracks], dtype=np.int64)
    lines = Timelines(
        names, np.cumsum(points) - points, points, _joined([t.time for t in tracks]),
        _joined([t.log_cumulative for t in tracks]), np.array([t.before for t in tracks]),
        np.array([t.after for t in tracks]),
    )  # fmt: skip
    indices = VolumeIndices(
        lines, _joined([t.stock_effect for t in tracks]), _joined([t.sd for t in tracks]),
        _joined([t.share for t in tracks]), _concentration(rows), _maturity(histories, yearly, fit, long, rows=rows),
    )  # fmt: skip
    return indices, findings


def _padded(histories: list[History]) -> Volumes:
    width = max(len(h.ends) for h in histories)
    ends, volume = np.zeros((len(histories), width)), np.ones((len(histories), width))
    for k, h in enumerate(histories):
        ends[k, : len(h.ends)], volume[k, : len(h.ends)] = h.ends - h.start, h.made
    used = np.arange(width)[None, :] < np.array([len(h.ends) for h in histories])[:, None]
    return Volumes(np.array([h.stock for h in histories]), np.maximum.accumulate(ends, axis=1), volume, used)


@dataclass(frozen=True)
class _Track:
    """One market over time: start of the first period, ends of all, then the forecast."""

    time: Floats
    log_cumulative: Floats
    stock_effect: Floats
    sd: Floats
    share: Floats
    before: float  # slopes of ln cumulative volume outside
    after: float


def _track(history: History, yearly: History, fit: DiffusionFit | None, row: int | None) -> _Track:
    count, ends = len(history.ends), history.ends
    time = np.concatenate([[history.start], ends, ends[-1] + HORIZONS])
    known = np.log(history.stock + np.concatenate([[0.0], np.cumsum(history.made)]))
    if fit is None or row is None:
        ahead, sd = _grow_on(yearly)
        share = np.full(len(time), np.nan)
    else:
        ahead, sd = fit.ahead[row], fit.ahead_sd[row]
        first = fit.share[row, :1]
        if fit.model[row] == "levels_off":  # its share is one of yearly volume, whatever was made before
            begin = logistic_share(yearly.start - yearly.ends[0], fit.rate[row], first)
        else:
            begin = first * yearly.stock / (yearly.stock + yearly.made[0])
        reached = np.concatenate([begin, fit.share[row, : len(yearly.ends)]])
        reached = np.interp(time[: 1 + count], [yearly.start, *yearly.ends], reached)
        share = np.concatenate([reached, fit.share[row, -len(HORIZONS) :]])
    mean = np.concatenate([known, ahead])
    return _Track(
        time, mean, _stock_effect(history, mean), np.concatenate([np.zeros(1 + count), sd]), share,
        float((np.log(yearly.stock + yearly.made[0]) - known[0]) / (yearly.ends[0] - yearly.start)),
        float((ahead[-1] - ahead[-2]) / (HORIZONS[-1] - HORIZONS[-2])),
    )  # fmt: skip


def _grow_on(history: History) -> tuple[Floats, Floats]:
    """Ln cumulative volume ahead of an index too short for a curve, and its sd: half its growth goes on."""
    reached = history.stock + history.made.sum()
    rate = 0.5 * history.growth(_RECENT)
    yearly = history.made[-1] / (history.ends[-1] - np.concatenate([[history.start], history.ends])[-2])
    grown = np.expm1(rate * HORIZONS) / rate if abs(rate) > _STEADY else HORIZONS
    ahead = np.log(reached + yearly * grown)
    return ahead, (1 - reached / np.exp(ahead)) * _LATE_SD * (1 + HORIZONS)


def _stock_effect(history: History, mean: Floats) -> Floats:
    """Change of ln cumulative volume per standard deviation of the guessed stock."""
    if not history.guessed:
        return np.zeros(len(mean))
    reached = np.exp(mean)
    up, down = history.stock * np.expm1(_STOCK_SD), history.stock * np.expm1(-_STOCK_SD)
    return np.asarray((np.log(reached + up) - np.log(reached + down)) / 2)


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.zeros(0)


def _concentration(table: pd.DataFrame) -> Timelines:
    """Herfindahl index: the largest maker's share squared, the others equal; without its share all equal."""
    makers, top = table["suppliers"].to_numpy(dtype=float), table["top_share"].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        index = np.where(
            (top * makers >= 1 - _ROUNDED) & (top <= 1) & (makers > 1),
            top**2 + (1 - top) ** 2 / (makers - 1),
            1 / makers,
        )
    index = np.where((makers >= 1) & (index <= 1), index, np.nan)
    return Timelines.of(table["commodity"].to_numpy(), years_of(table["period"].to_numpy()), index)


def _maturity(
    histories: dict[str, History],
    yearly: list[History],
    fit: DiffusionFit | None,
    long: npt.NDArray[np.int64],
    *,
    rows: pd.DataFrame,
) -> pd.DataFrame:
    index = pd.Index(list(histories), name="commodity", dtype="str")
    unfitted = dict.fromkeys(("p", "q", "m", "m_sd", "noise", "share", "years_to_peak"), np.nan)
    frame = pd.DataFrame(
        {"model": "", **unfitted, "notes": f"fewer than {MIN_PERIODS} yearly volumes: no diffusion curve"}, index=index
    )
    told = list(histories.values())
    if fit is not None:
        last = np.array([len(yearly[k].ends) - 1 for k in long])
        share = fit.share[np.arange(len(long)), last]
        ahead = np.where(fit.model == "levels_off", share < _HALF, ~(fit.peak_in <= 0))
        fitted = pd.DataFrame(
            {
                "model": fit.model, "p": fit.innovation, "q": fit.rate, "m": fit.ultimate, "m_sd": fit.ultimate_sd,
                "noise": fit.noise, "share": share, "years_to_peak": fit.peak_in,
                "notes": np.where(ahead, NO_PEAK, ""),
            },
            index=index[long],
        )  # fmt: skip
        frame = fitted.combine_first(frame)[list(frame.columns)].loc[index]
    trend = np.array([h.growth(_RECENT) for h in yearly])
    unit = rows.groupby("commodity")["unit"].first() if len(rows) else pd.Series(dtype="str")
    return frame.assign(
        stage=stage_of(frame["share"].to_numpy(dtype=float), trend < FALLING), volume_trend=trend,
        last_period=[h.ends[-1] for h in told], periods=[len(h.ends) for h in told],
        unit=unit.reindex(index).fillna("").to_numpy(), stock_guessed=[h.guessed for h in told],
    )  # fmt: skip
