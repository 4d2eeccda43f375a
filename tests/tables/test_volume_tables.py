"""Tables of volumes and of series: how clients write how much was made, and when."""

import numpy as np
import pytest

from bomaudit.glossary import VOLUMES
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
