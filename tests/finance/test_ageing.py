"""Ageing like a ledger: every booked amount in one bucket, every bucket of every group shown."""

import pandas as pd
import pytest
from finance_case import AS_OF

from bomaudit.finance.ageing import BUCKETS, ageing, bucket_of


def lines_frame():
    return pd.DataFrame(
        {
            "row_kind": ["part"] * 4 + ["assembly", "alternative"],
            "part_no": ["a", "b", "b", "c", "x", "y"],
            "commodity": ["pump", "pump", "pump", "", "", "pump"],
            "supplier": ["S1", "S2", "S2", "S1", "", "S1"],
            "qty_per": [1.0, 2.0, 1.0, 1.0, 1.0, 0.0],
            "booked_cost": [10.0, 5.0, 5.0, 7.0, 99.0, 3.0],
            "booked_extended": [10.0, 10.0, 5.0, 7.0, 99.0, 0.0],
            "annual_volume": [100.0] * 6,
            "basis": ["quote", "cost_date", "cost_date", "undated", "", "quote"],
            "basis_date": pd.to_datetime(["2026-01-01", "2023-06-30", "2023-06-30", "2020-01-01", None, "2026-01-01"]),
        }
    )


def test_limits_are_calendar_months():
    days = [
        "2026-06-30",
        "2025-12-30",
        "2025-12-29",
        "2025-06-30",
        "2025-06-29",
        "2024-06-30",
        "2023-06-30",
        "2021-06-30",
    ]
    dates = pd.Series(pd.to_datetime([*days, "2021-06-29", None]))
    got = bucket_of(dates, pd.Series([""] * 10), as_of=AS_OF).tolist()
    assert got == ["0-6", "0-6", "6-12", "6-12", "12-24", "12-24", "24-36", "36-60", "> 60", "undated"]


def test_every_amount_is_in_one_bucket_and_groups_add_up():
    got = ageing(lines_frame(), as_of=AS_OF)
    assert set(got["by"]) == {"all", "commodity", "supplier"}
    for _, rows in got.groupby("by"):
        assert rows["booked_value"].sum() == 32.0
        assert rows["annual_spend"].sum() == 3200.0
        assert rows["lines"].sum() == 4
    for _, rows in got.groupby(["by", "group"]):
        assert rows["bucket"].tolist() == list(BUCKETS)
        assert rows["share"].sum() == pytest.approx(1.0)
    whole = got[got["by"] == "all"].set_index("bucket")["booked_value"]
    assert whole.to_dict() == {"0-6": 10, "6-12": 0, "12-24": 0, "24-36": 15, "36-60": 0, "> 60": 0, "undated": 7}


def test_stock_counts_once_for_each_part():
    stock = pd.Series([2.0, 4.0, 4.0, None, 1.0, 1.0])
    got = ageing(lines_frame(), as_of=AS_OF, on_hand_qty=stock, by=())
    assert got.set_index("bucket")["stock_value"].to_dict()["24-36"] == 20.0
    assert got["stock_value"].sum() == 40.0


def test_owner_is_a_grouping_where_it_is_known():
    got = ageing(lines_frame().assign(owner=["Ann", "Ann", "Ben", "", "", ""]), as_of=AS_OF)
    assert got[got["by"] == "owner"].groupby("group")["booked_value"].sum().to_dict() == {
        "": 7.0,
        "Ann": 20.0,
        "Ben": 5.0,
    }


def test_no_lines_no_ageing():
    assert ageing(lines_frame().iloc[:0], as_of=AS_OF).empty
