"""Tables of volumes and of series: how clients write how much was made, and when."""

import numpy as np
import openpyxl
import pandas as pd
import pytest

from bomaudit.glossary import INPUT_PRICES, VOLUMES
from bomaudit.tables import read_table


def read(tmp_path, *volumes, unit=""):
    path = tmp_path / "volumes.csv"
    rows = [f"pump;{2015 + k};{volume};{unit}" for k, volume in enumerate(volumes)]
    path.write_text("\n".join(["commodity;period;volume;unit", *rows]), encoding="utf-8")
    return read_table(path, VOLUMES)


def test_a_growth_in_per_cent_is_no_volume(tmp_path):
    """'15 %' a year was a market of 0.15 units made each year, without a word."""
    got = read(tmp_path, "1200", "15 %", "12,5%")
    np.testing.assert_array_equal(got.frame["volume"], [1200, np.nan, np.nan])
    assert [(f.code, f.row, f.found) for f in got.findings] == [("T093", 3, "'15 %'"), ("T093", 4, "'12,5%'")]


@pytest.mark.parametrize(
    "words",
    [
        ("800k", "950 K", "1.2M"),
        ("800 Tsd.", "950 thousand", "1.2 Mio. Stück"),
        ("0.8 mn", "0.95 million", "0.0012 Mrd"),
    ],
)
def test_thousands_and_millions_in_one_column_are_multiplied(tmp_path, words):
    """The number alone was taken: from 950k to 1.2M a market shrank to an eight hundredth."""
    got = read(tmp_path, *words)
    np.testing.assert_allclose(got.frame["volume"], [8e5, 9.5e5, 1.2e6])
    assert {f.code for f in got.findings} == {"T094"}


def test_other_words_after_a_volume_are_passed_over_and_said(tmp_path):
    got = read(tmp_path, "800 m", "950 GWh", "1200")
    np.testing.assert_allclose(got.frame["volume"], [800, 950, 1200])
    assert [f.code for f in got.findings] == ["T033", "T033"]


def series_of(tmp_path, rows):
    path = tmp_path / "input_prices.csv"
    path.write_text("series,period,value\n" + "".join(f"{s},{d},100\n" for s, d in rows), encoding="utf-8")
    got = read_table(path, INPUT_PRICES)
    return got.frame["period"].dt.strftime("%Y-%m-%d").tolist(), [f.code for f in got.findings]


def test_periods_stated_by_their_first_days_end_with_them(tmp_path):
    """As databases write years, quarters and months: figures of 2021 counted as those of the year before."""
    years = [("wages", f"{y}-01-01") for y in (2019, 2020, 2021)]
    halves = [("resin", d) for d in ("2020-01-01", "2020-07-01")]
    quarters = [("tin", d) for d in ("2020-07-01", "2020-10-01", "2021-01-01")]
    months = [("steel", d) for d in ("2020-11-01", "2020-12-01", "2021-01-01")]
    ends, codes = series_of(tmp_path, [*years, *halves, *quarters, *months, ("zinc", "2021-01-01")])
    assert ends == [
        "2019-12-31", "2020-12-31", "2021-12-31", "2020-06-30", "2020-12-31", "2020-09-30", "2020-12-31", "2021-03-31",
        "2020-11-30", "2020-12-31", "2021-01-31", "2021-01-31",
    ]  # fmt: skip
    assert codes == ["T095"]


def test_a_month_of_every_year_is_that_month(tmp_path):
    """'Dec 2020', which spreadsheets keep as 1 December: a year that ends then, not one that begins."""
    ends, _ = series_of(tmp_path, [("wages", f"{y}-12-01") for y in (2019, 2020, 2021)])
    assert ends == ["2019-12-31", "2020-12-31", "2021-12-31"]


@pytest.mark.parametrize("days", [("2020-01-01", "2020-12-31"), ("2020-01-01",), ("2019", "2020")])
def test_other_days_stay_what_they_are(tmp_path, days):
    ends, codes = series_of(tmp_path, [("wages", d) for d in days])
    assert ends == [d if "-" in d else f"{d}-12-31" for d in days]
    assert "T095" not in codes


def test_years_in_a_year_format_are_years(tmp_path):
    """A cell that shows 2020 and holds 1 January 2020."""
    book = openpyxl.Workbook()
    for r, row in enumerate([("commodity", "year", "volume"), *(("pump", y, 100 + y) for y in (2019, 2020))], 1):
        for c, value in enumerate(row, 1):
            cell = book.active.cell(r, c, pd.Timestamp(value, 1, 1).to_pydatetime() if r > 1 and c == 2 else value)
            cell.number_format = "yyyy" if r > 1 and c == 2 else "General"
    book.save(tmp_path / "volumes.xlsx")
    frame = read_table(tmp_path / "volumes.xlsx", VOLUMES).frame
    assert frame["period"].dt.strftime("%Y-%m-%d").tolist() == ["2019-12-31", "2020-12-31"]
