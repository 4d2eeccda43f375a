"""Purchase price variance of the year: realised at what was paid, expected at what will be."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from finance_case import AS_OF, quotes_frame

from bomaudit.finance.variance import financial_year, prices_paid, purchase_variance
from bomaudit.prepare.quotes import committed_prices
from bomaudit.settings import FinanceSection


def parts_frame(**columns):
    base = {
        "part_no": ["P"], "standard_cost": [5.0], "annual_qty": [3650.0], "last_purchase_price": [np.nan],
        "last_purchase_date": [pd.NaT], "contract_price": [np.nan], "estimate": [4.0], "status": ["stale"],
    }  # fmt: skip
    return pd.DataFrame(base | columns).astype({"last_purchase_date": "datetime64[us]"})


def ppv(fx, rows=(), as_of=AS_OF, finance=FinanceSection(), **columns):  # noqa: B008  (frozen)
    parts, quotes = parts_frame(**columns), quotes_frame(rows)
    paid = prices_paid(parts, quotes, fx=fx, as_of=as_of)
    committed = committed_prices(quotes, fx=fx, as_of=as_of)
    return purchase_variance(parts, paid=paid, committed=committed, as_of=as_of, finance=finance).iloc[0]


def bought(day, price, currency="EUR"):
    return ("P", day, price, currency, 0.0, "purchase", None)


def test_financial_year_may_start_in_any_month():
    assert financial_year(date(2026, 6, 30), starts=1) == (pd.Timestamp("2026-01-01"), pd.Timestamp("2027-01-01"))
    assert financial_year(date(2026, 6, 30), starts=7) == (pd.Timestamp("2025-07-01"), pd.Timestamp("2026-07-01"))
    assert financial_year(date(2026, 6, 30), starts=6) == (pd.Timestamp("2026-06-01"), pd.Timestamp("2027-06-01"))


def test_never_updated_standard_accumulates(fx):
    """PPV of a year = volume × (price - standard), split at the as-of date: 180 of 365 days are gone."""
    got = ppv(fx, [bought("2025-11-30", 4.5)])
    assert got["ppv_realised"] == pytest.approx(3650 * 180 / 365 * -0.5)
    assert got["ppv_year"] == pytest.approx(3650 * -0.5)
    assert (got["expected_price"], got["expected_basis"]) == (4.5, "last purchase")
    assert got["ppv_at_estimate"] == pytest.approx(3650 * 185 / 365 * -1.0)


def test_a_firm_quote_still_valid_is_what_the_rest_of_the_year_will_cost(fx):
    """As it is the new standard: bought at 4.5 in November, offered firm at 4.2 until December."""
    rows = [bought("2025-11-30", 4.5), ("P", "2026-05-01", 4.2, "EUR", 0.0, "firm", "2026-12-31")]
    got = ppv(fx, rows)
    assert (got["expected_price"], got["expected_basis"]) == (4.2, "firm quote")
    assert got["ppv_expected"] == pytest.approx(3650 * 185 / 365 * -0.8)
    thawed = ppv(fx, rows, finance=FinanceSection(freeze_firm=False))
    assert (thawed["expected_price"], thawed["expected_basis"]) == (4.5, "last purchase")


def test_price_is_in_force_until_the_next_one(fx):
    got = ppv(fx, [bought("2025-11-30", 4.0), bought("2026-04-01", 6.0)])
    assert got["paid_price"] == pytest.approx((90 * 4.0 + 90 * 6.0) / 180)


def test_first_price_of_the_year_is_taken_back_to_its_start(fx):
    assert ppv(fx, [bought("2026-04-01", 6.0)])["paid_price"] == 6.0


def test_first_day_of_the_year_has_the_newest_price(fx):
    rows = [bought("2025-11-30", 4.0), bought("2026-01-01", 6.0)]
    assert ppv(fx, rows, as_of=date(2026, 1, 1))["paid_price"] == 6.0


def test_old_purchase_does_not_tell_what_is_paid(fx):
    got = ppv(fx, [bought("2024-01-15", 4.5)])
    assert np.isnan(got["ppv_realised"])
    assert (got["expected_price"], got["expected_basis"]) == (4.0, "estimate")


def test_contract_comes_before_last_purchase_and_estimate(fx):
    got = ppv(fx, [bought("2026-04-01", 6.0)], contract_price=[4.2])
    assert (got["expected_price"], got["expected_basis"]) == (4.2, "contract")


def test_nothing_is_known_of_a_part_without_price_or_market(fx):
    got = ppv(fx, status=["unknown"])
    assert got["expected_basis"] == ""
    assert np.isnan(got["ppv_year"])


def test_purchase_in_another_currency_counts_at_its_day(fx):
    got = ppv(fx, [bought("2026-04-01", 6.0, "USD")])
    assert got["paid_price"] == pytest.approx(6.0 * fx.rate(["USD"], ["2026-04-01"])[0])


def test_run_on_one_side_of_the_standard_is_counted(fx):
    rows = [bought("2025-01-15", 5.5), bought("2025-06-15", 4.5), bought("2025-11-30", 4.4), bought("2026-04-01", 4.3)]
    assert ppv(fx, rows)["one_sided"] == 3
    assert ppv(fx, [bought("2026-04-01", 5.0)])["one_sided"] == 0


def test_later_purchases_do_not_exist_yet(fx):
    assert ppv(fx, [bought("2026-04-01", 6.0), bought("2026-07-01", 1.0)])["paid_price"] == 6.0
