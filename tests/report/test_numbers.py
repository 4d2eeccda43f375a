"""Numbers as people of each language write them; expected forms are those of CLDR, from memory."""

from __future__ import annotations

import math
from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bomaudit.report.numbers import MISSING, Numbers

EN, DE, FR = Numbers("en"), Numbers("de"), Numbers("fr")


def test_thousands_and_decimals_follow_the_language():
    assert EN.plain(1234567.891, 2) == "1,234,567.89"
    assert DE.plain(1234567.891, 2) == "1.234.567,89"
    assert FR.plain(1234567.891, 2) == "1\u202f234\u202f567,89"


def test_shares_and_days_follow_the_language():
    assert (EN.share(0.123), DE.share(0.123), FR.share(0.123)) == ("12%", "12\u00a0%", "12\u202f%")
    day = date(2026, 6, 30)
    assert (EN.day(day), DE.day(day), FR.day(day)) == ("2026-06-30", "30.06.2026", "30/06/2026")


def test_unknown_is_a_dash_and_nought_is_a_number():
    for write in (EN.plain, EN.price, EN.amount, EN.about, EN.share, EN.chance, EN.years):
        assert write(math.nan) == MISSING
    assert EN.plain(0.0) == "0"
    assert EN.day(pd.NaT) == EN.day(None) == MISSING
    assert EN.span(1.0, math.nan) == MISSING


def test_a_price_keeps_the_figures_that_matter():
    assert [EN.price(v) for v in (12345.6, 12.3, 0.456, 0.0123)] == ["12,346", "12.30", "0.456", "0.0123"]
    assert EN.span(-0.5, 6.0, prices=True, signed=True) == "\u22120.50 to +6.00"


def test_no_chance_is_certain():
    assert (EN.chance(0.0), EN.chance(0.5), EN.chance(1.0)) == ("<1%", "50%", ">99%")


def test_what_rounds_to_nought_has_no_sign():
    assert EN.plain(-0.001, 2, signed=True) == "0.00"


def test_estimated_amounts_have_three_figures():
    assert [EN.about(v) for v in (123456.0, 1234.5, 99.94, 0.0)] == ["123,000", "1,230", "99.9", "0"]
    assert [EN.about(v, figures=2) for v in (181234.0, 1250.0, 99.6, 0.0)] == ["180,000", "1,300", "100", "0"]


def test_exact_halves_are_rounded_up_as_people_and_the_page_round_them():
    assert [EN.price(v) for v in (2.125, -2.125, 0.0625, 1000.5)] == ["2.13", "\u22122.13", "0.0625", "1,001"]
    assert [EN.about(v) for v in (1225.0, -1225.0, 12.125, 0.125)] == ["1,230", "\u22121,230", "12.1", "0.13"]
    assert (EN.share(0.125), EN.chance(0.625), EN.years(2.25)) == ("13%", "63%", "2.3")


def test_prices_below_a_thousandth_keep_three_figures():
    assert [EN.price(v) for v in (0.001, 0.000456, 0.0000123)] == ["0.0010", "0.000456", "0.0000123"]
    assert EN.span(0.0000123, 0.000456, prices=True) == "0.000012 to 0.000456"


def test_a_saving_and_its_interval_have_the_same_decimals():
    assert EN.savings(-22910.456, 51273.0, like=51273.0) == "\u221222,910.46 to +51,273.00"
    assert EN.savings(0.0012, 0.0021, like=0.0021) == "+0.0012 to +0.0021"
    assert EN.savings(math.nan, 1.0, like=1.0) == MISSING


@pytest.mark.parametrize("language", ["en", "de", "fr"])
@given(value=st.floats(-1e12, 1e12), decimals=st.integers(0, 4))
def test_what_is_written_reads_back(language, value, decimals):
    group, point = {"en": (",", "."), "de": (".", ","), "fr": ("\u202f", ",")}[language]
    text = Numbers(language).plain(value, decimals).replace(group, "").replace(point, ".").replace("\u2212", "-")
    assert float(text) == pytest.approx(value, abs=0.500001 * 10**-decimals, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "english"),
    [
        ("worth 1 690 779 EUR, 80 % sure", "worth 1,690,779 EUR, 80% sure"),
        ("come to -2 538 841 EUR", "come to \u22122,538,841 EUR"),
        ("24 V 180 W after 2026-06 12 lines, part 12-345 678", "24 V 180 W after 2026-06 12 lines, part 12-345 678"),
        ("a drift of 10 % or more", "a drift of 10% or more"),
    ],
)  # fmt: skip
def test_sentences_of_the_audit_get_the_figures_of_the_language(text, english):
    assert EN.as_written(text) == english
    assert DE.as_written("1 690 779 EUR, 80 %") == "1.690.779 EUR, 80\u00a0%"
    assert DE.as_written("+32 % after 11.0 years, part 4.5 A") == "+32\u00a0% after 11,0 years, part 4.5 A"
