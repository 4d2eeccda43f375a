"""Volumes as stated, made into histories: what was made in each period, and before the first one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.pooling import Floats
from bomaudit.curves.timelines import years_of
from bomaudit.findings import Finding, note, warning
from bomaudit.frames import most_stated
from bomaudit.tables.units import spelling

_USUAL_PERIOD = 1.0  # year; of a single row that does not say how long its period is
_LEAST_GROWTH = 0.03  # per year; keeps the guessed stock before the first period finite
_MOST_NEW = 0.9  # share of a first cumulative volume that may have been made in its own period
_SMALL = 0.01  # of the first period's volume: the stock before a market's very first period, so that its log exists
_APART = 0.25  # of the larger one; rounded and revised figures of one market differ by less
_GAP = 1.5  # periods; a longer step means that periods are missing
_MANY = 8  # names that a finding lists
_HALF_YEAR = 0.5
_DAYS_OFF = 0.02  # year; by so much calendar months and leap days make a year of periods shorter


@dataclass(frozen=True)
class History:
    """Volumes of one market.

    Attributes
    ----------
    start : float
        Start of the first period. [years since 2000]
    ends : array, shape (periods,)
        Ends of the periods. [years since 2000]
    made : array, shape (periods,)
        Units made in each, > 0. [units]
    stock : float
        Units made before the first period, > 0. [units]
    guessed : bool
        The stock is a guess.
    odd, lost, filled : int
        Periods whose cumulative volume falls or stays, rows that could not be used, and missing periods between others.
    apart : tuple of float, optional
        What volumes add up to, and by how much cumulative volume rises meanwhile, where the two disagree. [units]
    """

    start: float
    ends: Floats
    made: Floats
    stock: float
    guessed: bool
    odd: int = 0
    lost: int = 0
    filled: int = 0
    apart: tuple[float, float] | None = None

    @property
    def lengths(self) -> Floats:
        """Lengths of the periods, in whole months, shape (periods,). [year]"""  # noqa: D400  (unit last)
        return np.asarray(np.maximum(np.round(12 * np.diff(self.ends, prepend=self.start)), 1.0) / 12)

    @property
    def rate(self) -> Floats:
        """Units made a year in each period, shape (periods,). [units/year]"""  # noqa: D400  (unit last)
        return self.made / self.lengths

    def growth(self, periods: int) -> float:
        """Yearly growth of ln rate over the last so many periods, from middle to middle; 0 for one. [ln/year]"""  # noqa: D400  (unit last)
        rate, length = self.rate[-periods:], self.lengths[-periods:]
        years = length.sum() - (length[0] + length[-1]) / 2
        return float(np.log(rate[-1] / rate[0]) / years) if len(rate) > 1 else 0.0

    def by_year(self) -> History:
        """Months and quarters put together to years that end with the last period; longer periods stay.

        The course of a market is read off these: seasons, and the noise of single months, say nothing of it. What they
        leave over at the beginning is a period of its own if it is half a year or more, else part of the first one.
        """
        edges = np.concatenate([[self.start], self.ends])
        age = np.floor(edges[-1] - edges + _DAYS_OFF)
        last = np.flatnonzero(np.diff(age, append=-1.0))  # latest edge of each year of age
        short = len(last) > 1 and edges[last[0]] - self.start < _HALF_YEAR - _DAYS_OFF
        kept = np.unique(np.concatenate([[0], last[int(short) :]]))
        return replace(self, ends=edges[kept[1:]], made=np.add.reduceat(self.made, kept[:-1]))


def read_histories(
    own: pd.DataFrame, starter: pd.DataFrame, *, as_of: date
) -> tuple[pd.DataFrame, dict[str, History], list[Finding]]:
    """Histories from the audit's own rows and, for commodities they lack, the library's.

    Parameters
    ----------
    own, starter : DataFrame
        Table ``volumes`` of the glossary.
    as_of : date
        Periods that end later are plans, not data, and are left out.

    Returns
    -------
    rows : DataFrame
        The rows that count, sorted by commodity and period; ``own`` tells the audit's from the library's.
    histories : dict of str to History
        By commodity, sorted.
    findings : list of Finding
    """
    named = own[own["commodity"] != ""]
    counts = (named["period"] <= pd.Timestamp(as_of)) & ((named["volume"] > 0) | (named["cumulative_volume"] > 0))
    kept = starter[~starter["commodity"].isin(named["commodity"][counts].unique())]
    table = pd.concat([named.assign(own=True), kept.assign(own=False)], ignore_index=True)
    table, findings = _usable(table.dropna(subset=["period"]), as_of)
    table, mixed = _in_one_unit(table)
    names, first = np.unique(table["commodity"].to_numpy(dtype=str), return_index=True)
    columns = [years_of(table["period"].to_numpy())]
    columns += [table[c].to_numpy(dtype=float) for c in ("volume", "cumulative_volume")]
    parts = [np.split(c, first[1:]) for c in columns]
    histories = {str(n): make_history(*p) for n, *p in zip(names, *parts, strict=False)}
    return table, histories, [*findings, *mixed, *_notes(table, histories), *_without_makers(table)]


def make_history(time: Floats, volume: Floats, cumulative: Floats) -> History:
    r"""History of one market from its rows.

    Parameters
    ----------
    time : array, shape (rows,)
        Ends of the periods, rising. [years since 2000]
    volume, cumulative : array, shape (rows,)
        Units made in the period and to its end, NaN where not stated; each row states one of them. [units]

    Returns
    -------
    History

    Notes
    -----
    Where cumulative volume is stated throughout it rules, without the fewest rows that make it fall. Else volumes are
    added up; missing periods take the geometric mean of their neighbours, and what was made before the first period
    follows from any stated cumulative volume, that of a row just before the first volume among them, else from
    :math:`q_1 / g`, first yearly volume over mean yearly growth. A period is as long as it is since the row before, or
    as its neighbours if that is longer by half.

    References
    ----------
    .. [1] F. Lafond et al., "How well do experience curves predict technological progress?", Technol. Forecast. Soc.
       Change 128, 2018: initial stock (as restated in published analysis code that cites it).
    """
    return replace(_history(time, volume, cumulative), apart=_apart(time, volume, cumulative))


def _history(time: Floats, volume: Floats, cumulative: Floats) -> History:
    length = _lengths(time)
    step = np.diff(cumulative, prepend=np.nan)
    if np.isfinite(cumulative).all() and (step[1:] < 0).any():
        kept = _never_falling(cumulative)
        history = _history(time[kept], volume[kept], cumulative[kept])
        return replace(history, odd=history.odd + len(time) - len(kept))
    if np.isfinite(cumulative).all():
        odd = int((step[1:] <= 0).sum())
        made = np.maximum(step, _SMALL * cumulative / len(time))
        least = _LEAST_GROWTH * length[0]
        grown = 1 - cumulative[0] / cumulative[1] if len(time) > 1 else least
        guess = cumulative[0] * float(np.clip(grown, least, _MOST_NEW))
        made[0] = volume[0] if volume[0] <= cumulative[0] else guess
        return History(time[0] - length[0], time, made, max(cumulative[0] - made[0], _SMALL * made[0]), False, odd)
    volume = np.where(np.isfinite(volume) | ~(step > 0), volume, step)
    known = np.isfinite(volume)
    opening = cumulative[:1][~known[:1] & (np.diff(time[:2]) < _GAP * length[:1])]
    time, length, volume, cumulative = time[known], length[known], volume[known], cumulative[known]
    missing = np.diff(time, prepend=time[0] - length[0]) / length
    before = np.concatenate([volume[:1], volume[:-1]])
    gaps = np.where(missing > _GAP, missing - 1, 0.0)
    made = volume + np.sqrt(before * volume) * gaps
    added = np.cumsum(made)
    stated = np.concatenate([opening, np.where(cumulative > (1 - _SMALL) * added, cumulative - added, np.nan)])
    stated = np.maximum(stated[np.isfinite(stated)], _SMALL * made[0])
    lost, filled = int((~known).sum()) - len(opening), round(float(gaps.sum()))
    history = History(time[0] - length[0], time, made, 1.0, not len(stated), 0, lost, filled)
    return replace(history, stock=float(stated[0]) if len(stated) else _stock_before(history.by_year()))


def _apart(time: Floats, volume: Floats, cumulative: Floats) -> tuple[float, float] | None:
    """Volumes between stated cumulative volumes, and the rise of these; None where they agree or cannot be compared."""
    gap = ~np.isfinite(volume)
    gap[1:] |= np.diff(time) > _GAP * _lengths(time)[1:]
    holes, added = np.cumsum(gap), np.cumsum(np.nan_to_num(volume))
    at = np.flatnonzero(np.isfinite(cumulative))
    closed = np.diff(holes[at]) == 0
    both = [float(np.diff(v[at])[closed].sum()) for v in (added, cumulative)]
    if len(at) and holes[at[0]] == 0 and cumulative[at[0]] < added[at[0]]:  # more than was ever made
        both = [b + float(v[at[0]]) for b, v in zip(both, (added, cumulative), strict=True)]
    return (both[0], both[1]) if abs(both[0] - both[1]) > _APART * max(both) else None


def _never_falling(cumulative: Floats) -> npt.NDArray[np.int64]:
    """Most rows, in order, over which cumulative volume never falls: of a slip of the pen only its own row is lost."""
    chains: list[list[int]] = []
    for k, reached in enumerate(cumulative.tolist()):
        before = [c for c in chains if cumulative[c[-1]] <= reached]
        chains.append([*max(before, key=len, default=[]), k])
    return np.array(max(chains, key=len), dtype=np.int64)


def _lengths(time: Floats) -> Floats:
    """Lengths of the periods that end then: the usual step around each. [year]"""  # noqa: D400  (unit last)
    if len(time) == 1:
        return np.array([_USUAL_PERIOD])
    step = np.diff(time)
    usual = np.median(step)
    around = np.concatenate([[usual], step, [usual]])
    near = np.median(np.stack([around[:-2], step, around[2:]]), axis=0)
    near = np.minimum(near, max(usual, _USUAL_PERIOD))  # a gap of years beside another one is no period
    return np.concatenate([near[:1], near])


def _stock_before(yearly: History) -> float:
    """Units made before the first period: what steady growth from nothing would have made."""
    return float(yearly.rate[0] / max(np.expm1(yearly.growth(len(yearly.ends))), _LEAST_GROWTH))


def _usable(table: pd.DataFrame, as_of: date) -> tuple[pd.DataFrame, list[Finding]]:
    later = (table["period"] > pd.Timestamp(as_of)).to_numpy(dtype=bool)
    empty = ~((table["volume"] > 0) | (table["cumulative_volume"] > 0)).to_numpy(dtype=bool)
    mine = table["own"].to_numpy(dtype=bool)
    findings = []
    if (later & mine).any():
        findings.append(
            note("V001", f"{int((later & mine).sum())} volumes are of periods that end after {as_of}",
                 file=_file(table), column="period", assumed="left out: plans, not data")
        )  # fmt: skip
    bad = table[empty & ~later & mine]
    stated = bad["volume"].fillna(bad["cumulative_volume"])
    places = zip(bad.get("source_sheet", bad["unit"]), bad.get("source_row", bad["volume"]), stated, strict=True)
    findings += [
        warning("V002", "volume or cumulative_volume must be > 0", file=_file(table), sheet=str(sheet),
                row=None if pd.isna(row) else int(row), column="volume",
                found="nothing" if pd.isna(volume) else f"{volume:.12g}",
                assumed="row left out: not reported rather than none made",
                advice="state the volume; leave out what is not known")
        for sheet, row, volume in places
    ]  # fmt: skip
    positive = table.assign(
        volume=table["volume"].where(table["volume"] > 0),
        cumulative_volume=table["cumulative_volume"].where(table["cumulative_volume"] > 0),
    )[~later & ~empty]
    positive = positive.sort_values(["commodity", "period"], kind="stable")
    twice = positive.duplicated(["commodity", "period"], keep="last")
    findings += [
        warning("V012", f"a period of {name} must stand in one row", file=_file(table), column="period",
                found=f"{count} more", assumed="the last row of it counts",
                advice="add up its volumes, of regions or makers say, to those of the world")
        for name, count in positive.loc[twice & positive["own"], "commodity"].value_counts(sort=False).items()
    ]  # fmt: skip
    return positive[~twice].reset_index(drop=True), findings


def _in_one_unit(table: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Rows of each commodity in the unit that most of them state, and those that state none."""
    words = {str(u): spelling(str(u)) or str(u).strip().casefold() for u in table["unit"].unique()}
    unit = table["unit"].map(words)
    home = most_stated(unit, table["commodity"])
    other = ((unit != "") & (unit != table["commodity"].map(home))).to_numpy(dtype=bool)
    findings = [
        warning("V010", f"volumes of {name} must be in one unit", file=_file(table), column="unit",
                found=", ".join(sorted(rows["unit"].unique())),
                assumed=f"{len(rows)} rows in another unit than {home[str(name)]} left out", advice="convert them")
        for name, rows in table[other].groupby("commodity")
    ]  # fmt: skip
    return table[~other].reset_index(drop=True), findings


def _file(table: pd.DataFrame) -> str:
    own = table[table["own"]]
    return str(own["source_file"].iloc[0]) if "source_file" in own and len(own) else ""


def _notes(table: pd.DataFrame, histories: dict[str, History]) -> list[Finding]:
    own = set(table.loc[table["own"], "commodity"])
    return doubts_of({n: h for n, h in histories.items() if n in own}, _file(table))


def _without_makers(table: pd.DataFrame) -> list[Finding]:
    """V014: shares of a largest maker whose market's makers are not counted, or that is smaller than an equal one."""
    top, makers = table["top_share"], table["suppliers"]
    bad = table[table["own"] & top.notna() & ~((makers >= 1) & (top * makers >= 1 - _SMALL) & (top <= 1))]
    return [
        warning("V014", f"top_share of {name} needs suppliers, and is from 1 / suppliers to 1", file=_file(table),
                column="top_share", found=f"{count} {'row' if count == 1 else 'rows'} otherwise",
                assumed="no concentration from top_share there", advice="state how many makers share the market")
        for name, count in bad["commodity"].value_counts(sort=False).items()
    ]  # fmt: skip


def doubts_of(mine: dict[str, History], file: str) -> list[Finding]:
    """What the histories of some markets had to assume, as findings.

    Parameters
    ----------
    mine : dict of str to History
        By commodity.
    file : str
        Where their volumes stand.

    Returns
    -------
    list of Finding
    """
    findings = [
        warning("V003", f"cumulative volume of {name} must rise", file=file, column="cumulative_volume",
                found=f"{h.odd} {'period' if h.odd == 1 else 'periods'}",
                assumed="left out where it falls, taken as nearly unchanged where it stays")
        for name, h in mine.items() if h.odd
    ]  # fmt: skip
    findings += guessed_stocks([n for n, h in mine.items() if h.guessed], file)
    findings += [
        warning("V005", f"{name}: volume and cumulative_volume alternate", file=file, column="volume",
                found=f"{h.lost} periods that neither follows for", assumed="left out")
        for name, h in mine.items() if h.lost
    ]  # fmt: skip
    findings += [
        warning("V013", f"volume and cumulative_volume of {name} must agree", file=file, column="cumulative_volume",
                found=f"volumes of {h.apart[0]:g} where it rises by {h.apart[1]:g}",
                assumed="cumulative_volume counts where every row states it, else its first figure and the volumes",
                advice="state both in one unit, of the same market")
        for name, h in mine.items() if h.apart
    ]  # fmt: skip
    findings += [
        note("V011", f"{name}: periods between others have no volume", file=file, column="volume",
             found=f"{h.filled} missing", assumed="the geometric mean of their neighbours was made in each",
             advice="state their volumes, or cumulative_volume after them")
        for name, h in mine.items() if h.filled
    ]  # fmt: skip
    return findings


def guessed_stocks(names: list[str], file: str = "") -> list[Finding]:
    """V004: markets whose stock before the first period was guessed."""
    found = f"{len(names)} {'commodity' if len(names) == 1 else 'commodities'}: {listed(names)}"
    return [
        note("V004", "what was made before the first period is not stated", file=file, column="cumulative_volume",
             found=found, assumed=f"first volume / mean growth, {100 * _LEAST_GROWTH:.0f} % a year at least; "
             "half to twice as much", advice="state cumulative_volume once per commodity")
    ] if names else []  # fmt: skip


def listed(names: list[str]) -> str:
    """First few names, and how many more there are."""
    return ", ".join(names[:_MANY]) + (f" and {len(names) - _MANY} more" if len(names) > _MANY else "")
