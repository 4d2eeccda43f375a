"""What an audit said against the quotes that came in since: the error, whether the interval held, and the record.

Only firm quotes and purchases are prices to be held to; budgetary and catalogue ones are shown and not counted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import betaincinv, stdtr

from bomaudit.history.snapshot import Snapshot
from bomaudit.prepare.currency import Fx

COUNTED = ("firm", "purchase")
RECORD = (
    "as_of", "scored_to", "quotes", "parts", "confidence", "covered", "covered_low", "covered_high", "mean_error",
    "median_abs_error", "booked_abs_error", "closer_than_booked",
)  # fmt: skip


def score(said: Snapshot, quotes: pd.DataFrame, *, fx: Fx, until: pd.Timestamp | None = None) -> pd.DataFrame:
    """Hold the estimates of an audit against later quotes of the same parts.

    Parameters
    ----------
    said : Snapshot
        The audit that made the estimates.
    quotes : DataFrame
        Usable quotes, as known later.
    fx : Fx
        Into the currency of the audit.
    until : Timestamp, optional
        Quotes after this day are left for the next audit to answer for.

    Returns
    -------
    DataFrame, one row a quote, oldest first
        ``part_no``, ``description``, ``commodity``, ``said_on``, ``estimate``, ``estimate_low``, ``estimate_high``,
        ``booked_cost``, ``quote_date``, ``kind``, ``quote`` (audit currency at the quote's day), ``error`` (ln quote
        / estimate), ``booked_error`` (ln quote / booked), ``inside`` (the interval held), ``position`` (share of the
        stated distribution below the quote), ``counted``.

    Notes
    -----
    Of several price breaks of a day the one nearest to the line's annual quantity counts, else the smallest. Estimates
    are for their as-of date; the time to the quote is not added to the interval, so coverage falls a little short when
    quotes come late.
    """
    later = _one_a_day(quotes[quotes["quote_date"] > pd.Timestamp(said.as_of)], said)
    if until is not None:
        later = later[later["quote_date"] <= until]
    lines = said.tables["lines"]
    stated = lines[lines["estimate"].notna() & (lines["part_no"] != "") & (lines["row_kind"] == "part")]
    stated = stated.drop_duplicates("part_no").set_index("part_no")
    later = later[later["part_no"].isin(stated.index)].sort_values(["quote_date", "part_no"], kind="stable")
    about = stated.loc[later["part_no"]].reset_index()
    rate = fx.rate(later["currency"].to_numpy(), later["quote_date"].to_numpy())
    quote = later["unit_price"].to_numpy(np.float64) * rate
    error = np.log(quote / about["estimate"].to_numpy(np.float64))
    out = about[["part_no", "description", "commodity"]].assign(
        said_on=pd.Timestamp(said.as_of),
        **{c: about[c] for c in ("estimate", "estimate_low", "estimate_high", "booked_cost")},
        quote_date=later["quote_date"].to_numpy(),
        kind=later["kind"].to_numpy(object),
        quote=quote,
        error=error,
        booked_error=np.log(quote / about["booked_cost"].to_numpy(np.float64)),
        inside=(quote >= about["estimate_low"].to_numpy()) & (quote <= about["estimate_high"].to_numpy()),
        position=stdtr(about["dof"].to_numpy(np.float64), error / about["sd_log"].to_numpy(np.float64)),
    )
    return out.assign(kind=out["kind"].astype("str"), counted=out["kind"].isin(COUNTED))


def record(scores: pd.DataFrame, *, confidence: float) -> dict[str, float]:
    """Sum up scored estimates.

    Parameters
    ----------
    scores : DataFrame
        From :func:`score`; only counted rows enter.
    confidence : float
        Coverage that was stated. [-]

    Returns
    -------
    dict
        ``quotes``, ``parts``, ``confidence``, ``covered`` (share of quotes inside) with its 90 % limits
        ``covered_low`` and ``covered_high``, ``mean_error`` and ``median_abs_error`` [ln], ``booked_abs_error`` [ln]
        of the booked cost unchanged, ``closer_than_booked`` (share of quotes nearer to the estimate than to the
        booked cost). NaN where there is no quote.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, "The Use of Confidence or Fiducial Limits Illustrated in the Case of the
       Binomial", Biometrika 26 (1934) 404-413: the limits.
    """
    rows = scores[scores["counted"]]
    n, hits = len(rows), int(rows["inside"].sum())
    low, high = binomial_limits(hits, n, confidence=0.90)
    error, booked = rows["error"].abs(), rows["booked_error"].abs()
    return {
        "quotes": n,
        "parts": int(rows["part_no"].nunique()),
        "confidence": confidence,
        "covered": hits / n if n else np.nan,
        "covered_low": low,
        "covered_high": high,
        "mean_error": float(rows["error"].mean()),
        "median_abs_error": float(error.median()),
        "booked_abs_error": float(booked.median()),
        "closer_than_booked": float((error < booked).mean()) if n else np.nan,
    }


def calibration(audits: Sequence[Snapshot], quotes: pd.DataFrame, *, fx: Fx) -> pd.DataFrame:
    """Record of every stored audit, each answering for the quotes up to the next one's as-of date.

    Parameters
    ----------
    audits : sequence of Snapshot
        In any order; of several with one as-of date the last stored counts.
    quotes : DataFrame
        Usable quotes, as known now.
    fx : Fx

    Returns
    -------
    DataFrame, columns :data:`RECORD`
        One row an audit, oldest first, and a last one over all (``as_of`` empty).
    """
    by_day = {a.as_of: a for a in sorted(audits, key=lambda a: (a.as_of, a.stored_at))}
    ordered = [by_day[day] for day in sorted(by_day)]
    ends = [*(pd.Timestamp(a.as_of) for a in ordered[1:]), None][: len(ordered)]
    scored = [score(a, quotes, fx=fx, until=end) for a, end in zip(ordered, ends, strict=True)]
    rows = [
        {"as_of": a.as_of.isoformat(), "scored_to": end.date().isoformat() if end is not None else ""}
        | record(s, confidence=a.confidence)
        for a, end, s in zip(ordered, ends, scored, strict=True)
    ]
    if scored:
        stated = sum(a.confidence * int(s["counted"].sum()) for a, s in zip(ordered, scored, strict=True))
        counted = sum(int(s["counted"].sum()) for s in scored)
        every = pd.concat(scored, ignore_index=True)
        rows.append({"as_of": "", "scored_to": ""} | record(every, confidence=stated / counted if counted else np.nan))
    return pd.DataFrame(rows, columns=list(RECORD))


def binomial_limits(hits: int, trials: int, *, confidence: float) -> tuple[float, float]:
    """Exact limits of a share from hits in trials (Clopper and Pearson); (0, 1) where nothing was tried."""
    if trials == 0:
        return 0.0, 1.0
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, trials - hits + 1, tail))
    high = 1.0 if hits == trials else float(betaincinv(hits + 1, trials - hits, 1 - tail))
    return low, high


def _one_a_day(quotes: pd.DataFrame, said: Snapshot) -> pd.DataFrame:
    """Of the price breaks of a part, day and kind, the highest one not above the line's annual quantity."""
    lines = said.tables["lines"]
    needed = (lines["qty_per"] * lines["annual_volume"]).groupby(lines["part_no"]).sum(min_count=1)
    annual: npt.NDArray[np.float64] = needed.reindex(quotes["part_no"]).to_numpy(np.float64)
    reach = np.where(np.isfinite(annual), annual, 0.0)
    order = np.where(quotes["min_qty"].to_numpy(np.float64) <= reach, -quotes["min_qty"], quotes["min_qty"] + 1e-9)
    fits = quotes.assign(_too_much=quotes["min_qty"].to_numpy(np.float64) > reach, _order=order)
    fits = fits.sort_values(["part_no", "quote_date", "kind", "_too_much", "_order"], kind="stable")
    return fits.drop_duplicates(["part_no", "quote_date", "kind"]).drop(columns=["_too_much", "_order"])
