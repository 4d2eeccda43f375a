"""Partitions as other programs write them: other types, missing columns, dictionaries, nulls."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from pyarrow import parquet

from bomaudit.findings import BadInput
from bomaudit.screen import batches
from bomaudit.screen.batches import distinct, read_batches


def one_batch(table: pa.Table, path):
    parquet.write_table(table, path)
    return next(read_batches(path))


def shown(names):
    return names.names[names.codes].tolist()


def test_types_of_other_programs_are_taken(tmp_path):
    table = pa.table(
        {
            "bom": pa.array(["A", "A", None]).dictionary_encode(),
            "part_no": pa.array([100, 200, None]),
            "supplier": pa.array(["x", None, ""], pa.large_string()),
            "unit_cost": pa.array([Decimal("1.25"), None, Decimal("3.50")]),
            "qty_per": pa.array([1, 2, None], pa.int16()),
            "cost_date": pa.array([pd.Timestamp("2020-05-01").date(), None, None]),
            "unrelated": [1, 2, 3],
        }
    )
    batch = one_batch(table, tmp_path / "p.parquet")
    assert shown(batch.texts("bom")) == ["A", "A", ""]
    assert shown(batch.texts("part_no")) == ["100", "200", ""]
    assert shown(batch.texts("supplier")) == ["x", "", ""]
    np.testing.assert_array_equal(batch.figures("unit_cost"), [1.25, np.nan, 3.5])
    np.testing.assert_array_equal(batch.figures("qty_per"), [1, 2, np.nan])
    assert batch.columns["cost_date"].tolist()[0] == pd.Timestamp("2020-05-01")
    assert np.isnat(batch.columns["cost_date"][1])
    assert np.isnan(batch.figures("agreed_reduction")).all()


@pytest.mark.parametrize(
    ("table", "code"),
    [
        ({"part_no": ["a"], "unit_cost": [1.0]}, "N003"),
        ({"bom": ["a"], "part_no": ["a"], "unit_cost": ["much"]}, "N004"),
        ({"bom": ["a"], "part_no": ["a"], "cost_date": ["some day"]}, "N004"),
    ],
)
def test_what_cannot_be_used_is_named(tmp_path, table, code):
    with pytest.raises(BadInput) as problem:
        one_batch(pa.table(table), tmp_path / "p.parquet")
    assert problem.value.findings[0].code == code
    assert problem.value.findings[0].file == "p.parquet"


def test_lines_are_read_in_batches_and_counted_through(tmp_path, monkeypatch):
    monkeypatch.setattr(batches, "ROWS", 4)
    parquet.write_table(pa.table({"bom": ["A"] * 10, "part_no": list("abcdefghij")}), tmp_path / "p.parquet")
    found = list(read_batches(tmp_path / "p.parquet"))
    assert [(b.first, b.size) for b in found] == [(1, 4), (5, 4), (9, 2)]
    assert [n for b in found for n in shown(b.texts("part_no"))] == list("abcdefghij")


def test_distinct_lines_are_those_of_pandas(tmp_path):
    """Against ``DataFrame.drop_duplicates``."""
    rng = np.random.default_rng(4)
    frame = pd.DataFrame(
        {"bom": "A", "part_no": rng.integers(0, 4, 200).astype(str), "unit_cost": rng.integers(0, 3, 200) * 1.0}
    )
    frame.loc[rng.random(200) < 0.2, "unit_cost"] = np.nan
    batch = one_batch(pa.Table.from_pandas(frame), tmp_path / "p.parquet")
    first, inverse = distinct(batch, ("part_no", "unit_cost"))
    assert first.tolist() == frame.drop_duplicates(["part_no", "unit_cost"]).index.tolist()
    again = frame.iloc[first[inverse]].reset_index(drop=True)
    pd.testing.assert_frame_equal(again, frame)
