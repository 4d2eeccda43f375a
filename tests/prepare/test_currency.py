"""Exchange rates: published reference rates, own rates first, the last known rate for days without one."""

import numpy as np
import pandas as pd
import pytest

from bomaudit.findings import BadInput
from bomaudit.prepare.currency import reference_rates, usable_rates


def test_rates_are_those_the_central_bank_published():
    """ECB euro reference rates of 2015-01-02, 2020-01-02 and 2024-12-31: USD 1.2043, 1.1193, 1.0389; GBP 0.78000,
    0.84828, 0.82918; JPY 145.21, 121.75, 163.06; CNY 7.4759, 7.7946, 7.5833 (European Central Bank, read from the
    published table)."""
    days = np.array(["2015-01-02", "2020-01-02", "2024-12-31"], dtype="datetime64[D]")
    fx = reference_rates("EUR")
    published = {
        "USD": (1.2043, 1.1193, 1.0389), "GBP": (0.78000, 0.84828, 0.82918),
        "JPY": (145.21, 121.75, 163.06), "CNY": (7.4759, 7.7946, 7.5833),
    }  # fmt: skip
    for currency, rates in published.items():
        assert 1 / fx.rate([currency] * 3, days) == pytest.approx(rates)


def test_cross_rate_through_the_euro():
    """USD per GBP on 2015-01-02 = 1.2043 / 0.78 = 1.54397 (arithmetic on the ECB rates of the day)."""
    assert reference_rates("USD").rate(["GBP"], ["2015-01-02"])[0] == pytest.approx(1.54397, abs=5e-6)


def test_a_day_without_a_rate_takes_the_last_known():
    fx = reference_rates("EUR")
    weekend, friday = fx.rate(["USD", "USD"], ["2015-01-04", "2015-01-02"])
    assert weekend == friday
    assert fx.rate(["USD"], ["2100-01-01"])[0] > 0


def test_unknown_currency_and_missing_day_are_not_numbers():
    fx = reference_rates("EUR")
    assert np.isnan(fx.rate(["XXX"], ["2015-01-02"])[0])
    assert np.isnan(fx.rate(["USD"], ["NaT"])[0])
    assert list(fx.known(["EUR", "USD", "XXX"])) == [True, True, False]


def test_own_rates_go_first_from_their_first_day_on():
    own = pd.DataFrame({"date": pd.to_datetime(["2020-01-01"]), "currency": ["USD"], "per_base": [2.0]})
    fx = reference_rates("EUR", own)
    before, after = fx.rate(["USD", "USD"], ["2015-01-02", "2020-06-01"])
    assert before == pytest.approx(1 / 1.2043)
    assert after == pytest.approx(0.5)
    assert "own rates for USD" in fx.source


def test_rates_for_another_currency_than_the_audit_s_are_refused_and_none_is_divided_by_zero():
    """A table of rates per euro scaled an audit in dollars wrongly, in silence; a rate of 0 made prices infinite."""
    day = pd.to_datetime(["2020-01-01"] * 3)
    own = pd.DataFrame({"date": day, "currency": ["USD", "GBP", "EUR"], "per_base": [1.2, 0.0, 1.0]})
    kept, found = usable_rates(own, "EUR")
    assert list(kept["currency"]) == ["USD", "EUR"]
    assert [f.code for f in found] == ["F002"]
    with pytest.raises(BadInput, match=r"1\.2 USD for one USD"):
        usable_rates(own, "USD")


def test_an_audit_currency_without_rates_needs_own_ones():
    with pytest.raises(ValueError, match="no exchange rates into XAG"):
        reference_rates("XAG")


def test_a_year_of_dollars_moves_by_some_per_cent():
    """EUR/USD moved by 4 to 15 % a year in every decade since 1999 (common practice, no published source)."""
    fx = reference_rates("EUR")
    usd, own = fx.log_sd_per_year(["USD", "EUR"])
    assert 0.04 < usd < 0.15
    assert own == 0
