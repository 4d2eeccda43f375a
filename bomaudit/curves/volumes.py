"""Volume indices: cumulative volume of each market at any date, with what is known of its maturity."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.maturity import MIN_PERIODS, DiffusionFit, Volumes, fit_diffusion
from bomaudit.curves.pooling import Floats
from bomaudit.curves.timelines import Codes, Timelines, years_of
from bomaudit.findings import Finding, note, warning

HORIZONS = np.concatenate([np.arange(1, 5) / 4, np.arange(2, 21)]).astype(float)
"""Years after the last period for which volumes are forecast; beyond, growth stops at the last rate. [year]"""

_USUAL_PERIOD = 1.0  # year; of a single row that does not say how long its period is
_LEAST_GROWTH = 0.03  # per period; keeps the guessed stock before the first period finite
_STOCK_SD = float(np.log(2.0))  # the guessed stock may be half or twice as much
_EARLY_SD, _LATE_SD = 0.15, 0.15  # ln growth per year that backcasts and short indices may be wrong by
_GAP = 1.5  # periods; a longer step means that periods are missing


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
    growth : array, shape (commodities,)
        Growth of ln cumulative volume at the last period. [ln/year]
    concentration : Timelines
        Herfindahl index of the makers, where their count is known. [-]
    maturity : DataFrame
        One row a commodity (index): model, p, q, m, m_sd, noise, share, stage, years_to_peak, last_period, periods,
        unit, notes.
    """

    lines: Timelines
    stock_effect: Floats
    forecast_sd: Floats
    share: Floats
    growth: Floats
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
        """
        if not len(self.lines.names):
            none = np.full(codes.shape, np.nan)
            return none, none, none, none
        place, flat = self.lines.locate(codes, time), np.zeros(len(self.lines.names))
        mean = self.lines.read(place, self.lines.value, self.lines.before, self.lines.after)
        stock = self.lines.read(place, self.stock_effect, flat, flat)
        ahead = self.lines.read(place, self.forecast_sd, flat - _EARLY_SD, flat + _LATE_SD)
        share = self.lines.read(place, self.share, flat, flat) * np.exp(
            np.where(place.codes >= 0, self.lines.before[np.maximum(place.codes, 0)] * place.early, 0.0)
        )
        return mean, stock, ahead, share

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
        falls = self.maturity["volume_trend"].to_numpy(dtype=float) < _FALLING
        return np.asarray(falls[np.maximum(codes, 0)] & (codes >= 0))


_FALLING = -0.03  # ln per year; less is within the noise of published volumes
_STAGES = ("emerging", "growth", "shake-out", "mature")
_BOUNDS = (0.16, 0.5, 0.84)


def stage_of(share: Floats, declining: npt.NDArray[np.bool_]) -> npt.NDArray[np.str_]:
    """Stage of a market from the share of its ultimate size that is reached.

    Parameters
    ----------
    share : array, shape (n,)
        [-], NaN where unknown.
    declining : array of bool, shape (n,)
        The yearly volume falls.

    Returns
    -------
    array of str, shape (n,)
        emerging below 16 %, growth to half, shake-out to 84 %, mature above; declining where the peak is past and the
        volume falls; "" where unknown.

    References
    ----------
    .. [1] E. M. Rogers, Diffusion of Innovations, 1962: early adopters to 16 %, early majority to 50 %, late majority
       to 84 % (from memory).
    """
    stage = np.select([share < b for b in _BOUNDS] + [share >= _BOUNDS[-1]], list(_STAGES), default="")
    return np.where(declining & (share >= _BOUNDS[1]), "declining", stage).astype(np.str_)


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
    named = own[own["commodity"] != ""]
    kept = starter[~starter["commodity"].isin(named["commodity"])]
    table = pd.concat([named.assign(own=True), kept.assign(own=False)], ignore_index=True)
    table = table.dropna(subset=["period"])
    table, findings = _usable(table, as_of)
    histories, names = _periods(table)
    return _indices(table, histories, names), [*findings, *_notes(table, histories, names)]


def _usable(table: pd.DataFrame, as_of: date) -> tuple[pd.DataFrame, list[Finding]]:
    later = table["period"] > pd.Timestamp(as_of)
    empty = ~((table["volume"] > 0) | (table["cumulative_volume"] > 0))
    findings = []
    if (later & table["own"]).any():
        findings.append(
            note("V001", f"{int((later & table['own']).sum())} volumes are of periods that end after {as_of}",
                 file=_file(table), column="period", assumed="left out: plans, not data")
        )  # fmt: skip
    for row in table.index[empty & ~later & table["own"]]:
        findings.append(
            warning("V002", "volume or cumulative_volume must be > 0", file=_file(table), sheet=str(table.get("source_sheet", pd.Series("", index=table.index))[row]),
                    row=_row(table, row), column="volume", found=repr(table.at[row, "volume"]), assumed="row left out")
        )  # fmt: skip
    table = table[~later & ~empty].sort_values(["commodity", "period"], kind="stable")
    return table.drop_duplicates(["commodity", "period"], keep="last").reset_index(drop=True), findings


def _file(table: pd.DataFrame) -> str:
    own = table[table["own"]]
    return str(own["source_file"].iloc[0]) if "source_file" in own and len(own) else ""


def _row(table: pd.DataFrame, row: object) -> int | None:
    value = table["source_row"].get(row) if "source_row" in table else None
    return None if value is None or pd.isna(value) else int(value)


def _periods(table: pd.DataFrame) -> tuple[list[_History], tuple[str, ...]]:
    """History of each commodity, in the order of ``table``."""
    names, first = np.unique(table["commodity"].to_numpy(dtype=str), return_index=True)
    columns = [years_of(table["period"].to_numpy()), *(table[c].to_numpy(dtype=float) for c in _COUNTED)]
    parts = [np.split(c, first[1:]) for c in columns] if len(names) else [[], [], []]
    return [_history(*p) for p in zip(*parts, strict=True)], tuple(str(n) for n in names)


_COUNTED = ("volume", "cumulative_volume")


@dataclass(frozen=True)
class _History:
    start: float  # of the first period, years since 2000
    ends: Floats  # of the periods, years since 2000
    made: Floats  # units made in each period
    stock: float  # made before the first period
    guessed: bool  # the stock is a guess
    odd: int  # rows whose cumulative volume falls


def _history(t: Floats, volume: Floats, cumulative: Floats) -> _History:
    length = float(np.median(np.diff(t))) if len(t) > 1 else _USUAL_PERIOD
    if np.isfinite(cumulative).all():
        made = np.diff(cumulative, prepend=np.nan)
        odd = int((made[1:] <= 0).sum())
        made = np.maximum(made, _SMALL * cumulative)
        stated = volume[0] if np.isfinite(volume[0]) and volume[0] <= cumulative[0] else np.nan
        grown = 1 - cumulative[0] / cumulative[1] if len(t) > 1 else _LEAST_GROWTH
        made[0] = stated if np.isfinite(stated) else cumulative[0] * float(np.clip(grown, _LEAST_GROWTH, 0.9))
        return _History(t[0] - length, t, made, max(cumulative[0] - made[0], _SMALL * made[0]), False, odd)
    known = np.isfinite(volume)
    t, made, cumulative = t[known], volume[known], cumulative[known]
    missing = np.diff(t, prepend=t[0] - length) / length
    before = np.concatenate([made[:1], made[:-1]])
    whole = made + np.sqrt(before * made) * np.where(missing > _GAP, missing - 1, 0.0)
    stated = cumulative - np.cumsum(whole)
    stated = stated[np.isfinite(stated) & (stated > 0)]
    if len(stated):
        return _History(t[0] - length, t, whole, float(stated[0]), False, 0)
    rise = np.log(made[-1] / made[0]) / max((t[-1] - t[0]) / length, 1.0)
    return _History(t[0] - length, t, whole, float(made[0] / max(np.expm1(rise), _LEAST_GROWTH)), True, 0)


_SMALL = 0.01  # of the first period's volume: the stock before a market's very first period, so that its log exists


def _padded(histories: list[_History]) -> Volumes:
    width = max((len(h.ends) for h in histories), default=0)
    ends, volume = np.zeros((len(histories), width)), np.ones((len(histories), width))
    for k, h in enumerate(histories):
        ends[k, : len(h.ends)], volume[k, : len(h.ends)] = h.ends - h.start, h.made
    used = np.arange(width)[None, :] < np.array([len(h.ends) for h in histories], dtype=int)[:, None]
    return Volumes(np.array([h.stock for h in histories]), np.maximum.accumulate(ends, axis=1), volume, used)


def _forecast(histories: list[_History]) -> tuple[DiffusionFit | None, npt.NDArray[np.int64], Floats, Floats]:
    """Diffusion fits of the long enough, their positions; ln cumulative volume ahead and its sd, of all."""
    long = np.array([k for k, h in enumerate(histories) if len(h.ends) >= MIN_PERIODS], dtype=np.int64)
    data = _padded(histories)
    rate = np.array([_recent_growth(h) for h in histories])
    last = data.volume[np.arange(len(histories)), data.used.sum(axis=1) - 1] if histories else np.zeros(0)
    step = data.ends[:, -1] / np.maximum(data.used.sum(axis=1), 1) if histories else np.zeros(0)
    yearly = (last / np.where(step > 0, step, 1.0))[:, None]
    grown = np.where(np.abs(rate[:, None]) > 1e-9, np.expm1(rate[:, None] * HORIZONS) / rate[:, None], HORIZONS)
    ahead = np.log(data.reached[:, None] + yearly * grown)
    sd = (1 - data.reached[:, None] / np.exp(ahead)) * _LATE_SD * (1 + HORIZONS[None, :])
    if not len(long):
        return None, long, ahead, sd
    fit = fit_diffusion(data.take(long), HORIZONS)
    ahead[long], sd[long] = fit.ahead, fit.ahead_sd
    return fit, long, ahead, sd


def _recent_growth(history: _History) -> float:
    """Growth of ln yearly volume over the last periods, halved: a trend in volumes tires."""
    made, t = history.made[-_RECENT:], history.ends[-_RECENT:]
    return 0.5 * float(np.log(made[-1] / made[0]) / (t[-1] - t[0])) if len(made) > 1 else 0.0


_RECENT = 4  # periods


def _indices(
    table: pd.DataFrame,
    histories: list[_History],
    names: tuple[str, ...],
) -> VolumeIndices:
    fit, long, ahead, sd = _forecast(histories)
    count = [len(h.ends) for h in histories]
    points = [1 + n + len(HORIZONS) for n in count]
    flat_share = [np.full(p, np.nan) for p in points]
    if fit is not None:
        for row, k in enumerate(long):
            of_ends, of_ahead = fit.share[row, : count[k]], fit.share[row, -len(HORIZONS) :]
            begin = of_ends[:1] * histories[k].stock / (histories[k].stock + histories[k].made[0])
            flat_share[k] = np.concatenate([begin, of_ends, of_ahead])
    time = [np.concatenate([[h.start], h.ends, h.ends[-1] + HORIZONS]) for h in histories]
    known = [np.log(h.stock + np.concatenate([[0.0], np.cumsum(h.made)])) for h in histories]
    mean = [np.concatenate([k, a]) for k, a in zip(known, ahead, strict=True)]
    effect = [_stock_effect(h, m) for h, m in zip(histories, mean, strict=True)]
    spread = [np.concatenate([np.zeros(1 + n), s]) for n, s in zip(count, sd, strict=True)]
    before = np.array([(k[1] - k[0]) / (t[1] - t[0]) for k, t in zip(known, time, strict=True)])
    after = np.array([(m[-1] - m[-2]) / (HORIZONS[-1] - HORIZONS[-2]) for m in mean])
    growth = np.array(
        [(k[-1] - k[-2]) / (h.ends[-1] - t[-len(HORIZONS) - 2]) for k, t, h in zip(known, time, histories, strict=True)]
    )
    lines = Timelines(
        names=names, start=np.cumsum([0, *points], dtype=np.int64)[:-1], count=np.array(points, dtype=np.int64),
        time=_joined(time), value=_joined(mean), before=before, after=after,
    )  # fmt: skip
    return VolumeIndices(
        lines, _joined(effect), _joined(spread), _joined(flat_share), growth, _concentration(table),
        _maturity(names, histories, fit, long, table),
    )  # fmt: skip


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.zeros(0)


def _stock_effect(history: _History, mean: Floats) -> Floats:
    """Change of ln cumulative volume per standard deviation of the guessed stock."""
    if not history.guessed:
        return np.zeros(len(mean))
    reached = np.exp(mean)
    up, down = history.stock * np.expm1(_STOCK_SD), history.stock * np.expm1(-_STOCK_SD)
    return np.asarray((np.log(reached + up) - np.log(reached + down)) / 2)


def _concentration(table: pd.DataFrame) -> Timelines:
    """Herfindahl index: the largest maker's share squared, the others equal; without its share all equal."""
    makers, top = table["suppliers"].to_numpy(dtype=float), table["top_share"].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        equal = 1 / makers
        index = np.where(np.isfinite(top) & (makers > 1), top**2 + (1 - top) ** 2 / (makers - 1), equal)
    index = np.where((makers >= 1) & (index <= 1), index, np.nan)
    return Timelines.of(table["commodity"].to_numpy(), years_of(table["period"].to_numpy()), index)


def _maturity(
    names: tuple[str, ...],
    histories: list[_History],
    fit: DiffusionFit | None,
    long: npt.NDArray[np.int64],
    table: pd.DataFrame,
) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "model": "", "p": np.nan, "q": np.nan, "m": np.nan, "m_sd": np.nan, "noise": np.nan, "share": np.nan,
            "years_to_peak": np.nan, "notes": f"fewer than {MIN_PERIODS} periods: no diffusion curve fitted",
        },
        index=pd.Index(names, name="commodity", dtype="str"),
    )  # fmt: skip
    if fit is not None:
        rows = frame.index[long]
        columns = {"model": fit.model, "p": fit.innovation, "q": fit.rate, "m": fit.ultimate, "m_sd": fit.ultimate_sd,
                   "noise": fit.noise, "years_to_peak": fit.peak_in}  # fmt: skip
        for column, values in columns.items():
            frame.loc[rows, column] = values
        ends = np.array([len(histories[k].ends) - 1 for k in long])
        frame.loc[rows, "share"] = fit.share[np.arange(len(long)), ends]
        ahead = ~(fit.peak_in <= 0) & (fit.model != "levels_off")
        frame.loc[rows, "notes"] = np.where(ahead, "no peak yet: the ultimate market rests on a prior", "")
    trend = np.array([2 * _recent_growth(h) for h in histories])
    stage = stage_of(frame["share"].to_numpy(dtype=float), trend < _FALLING)
    unit = table.groupby("commodity")["unit"].first() if len(table) else pd.Series(dtype="str")
    return frame.assign(
        stage=stage, volume_trend=trend, last_period=[h.ends[-1] for h in histories],
        periods=[len(h.ends) for h in histories], unit=unit.reindex(frame.index).fillna("").to_numpy(),
        stock_guessed=[h.guessed for h in histories],
    )  # fmt: skip


def _notes(table: pd.DataFrame, histories: list[_History], names: tuple[str, ...]) -> list[Finding]:
    own = set(table.loc[table["own"], "commodity"])
    file, findings = _file(table), []
    for name, history in zip(names, histories, strict=True):
        if name in own and history.odd:
            findings.append(
                warning("V003", f"cumulative volume of {name} must not fall", file=file, column="cumulative_volume",
                        found=f"{history.odd} periods", assumed="taken as nearly unchanged there")
            )  # fmt: skip
    guessed = [n for n, h in zip(names, histories, strict=True) if h.guessed and n in own]
    if guessed:
        findings.append(
            note("V004", "what was made before the first period is not stated", file=file, column="cumulative_volume",
                 found=f"{len(guessed)} commodities: {_listed(guessed)}",
                 assumed="first volume / mean growth, half to twice as much", advice="state cumulative_volume once per commodity")
        )  # fmt: skip
    return findings


def _listed(names: list[str], most: int = 8) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
