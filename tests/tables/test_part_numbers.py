"""A column that says it holds part numbers is taken at its word, whatever they look like."""

import pytest

from bomaudit.glossary import BOM
from bomaudit.tables import read_table


@pytest.mark.parametrize(
    "numbers", [("E1", "M1"), ("R10", "C22"), ("007", "0815"), ("1E5", "2E7"), ("2016-06", "2017-01")]
)
def test_part_numbers_are_kept_letter_by_letter(numbers, tmp_path):
    path = tmp_path / "bom.csv"
    rows = [f"{n},motor {k},1,{10 + k}.50,EUR,2016-06-30" for k, n in enumerate(numbers)]
    path.write_text("part_no,description,qty,unit_cost,currency,cost_date\n" + "\n".join(rows) + "\n")
    assert tuple(read_table(path, BOM).frame["part_no"]) == numbers
