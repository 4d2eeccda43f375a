"""Invariants of structures, exact totals and bridges, on whatever structure comes along."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bomaudit.finance.bridge import CAUSES, add_up
from bomaudit.prepare.exact import reconcile_total, round_money, to_decimal
from bomaudit.prepare.rollup import explode, gross_quantity, roll_up

money = st.decimals(min_value=Decimal("0.0001"), max_value=Decimal(9999), places=4).map(float)


@st.composite
def trees(draw, most=25):
    n = draw(st.integers(1, most))
    parent = [-1] + [draw(st.integers(0, k - 1)) for k in range(1, n)]
    return pd.DataFrame(
        {
            "parent_row": parent,
            "qty": draw(st.lists(st.sampled_from([0.5, 1.0, 2.0, 3.0, 0.25]), min_size=n, max_size=n)),
            "scrap_rate": draw(st.lists(st.sampled_from([0.0, 0.02, 0.1]), min_size=n, max_size=n)),
            "unit_cost": draw(st.lists(money, min_size=n, max_size=n)),
            "row_kind": draw(st.lists(st.sampled_from(["part", "part", "alternative"]), min_size=n, max_size=n)),
        }
    )


def leaves(tree):
    built = explode(
        tree["parent_row"], np.ones(len(tree)), np.zeros(len(tree)), scrap="divide", row_kind=tree["row_kind"]
    )
    parents = set(tree.loc[(built > 0) & (tree["parent_row"] >= 0), "parent_row"])
    return (built > 0) & ~tree.index.isin(parents)


@given(trees(), st.sampled_from(["divide", "multiply"]))
def test_cost_up_equals_quantity_down(tree, scrap):
    own = np.where(leaves(tree), tree["unit_cost"], 0.0)
    down = explode(tree["parent_row"], tree["qty"], tree["scrap_rate"], scrap=scrap, row_kind=tree["row_kind"])
    up = roll_up(tree["parent_row"], tree["qty"], tree["scrap_rate"], own, scrap=scrap, row_kind=tree["row_kind"])
    top = down[0] * up[0]
    assert top == pytest.approx((down * own).sum(), rel=1e-12)


@given(trees(), st.sampled_from(["divide", "multiply"]))
def test_exact_total_is_the_float_total_rounded(tree, scrap):
    own = np.where(leaves(tree), tree["unit_cost"], 0.0)
    down = explode(tree["parent_row"], tree["qty"], tree["scrap_rate"], scrap=scrap, row_kind=tree["row_kind"])
    total = float((down * own).sum())
    check = reconcile_total(tree, total, scrap=scrap, places=6)
    assert float(check.rolled) == pytest.approx(total, abs=1e-6, rel=1e-12)
    again = reconcile_total(tree, check.rolled, scrap=scrap, places=6)
    assert (again.difference, again.rounding) == (0, "total")


@given(trees())
def test_order_of_the_rows_does_not_matter(tree):
    order = np.random.default_rng(len(tree)).permutation(len(tree))
    place = np.argsort(order)
    parent = tree["parent_row"].to_numpy()[order]
    mixed = tree.iloc[order].assign(parent_row=np.where(parent >= 0, place[parent], -1)).reset_index(drop=True)
    q = [
        explode(t["parent_row"], t["qty"], t["scrap_rate"], scrap="divide", row_kind=t["row_kind"])
        for t in (tree, mixed)
    ]
    assert q[1] == pytest.approx(q[0][order], rel=1e-12)
    totals = [reconcile_total(t, 0.0, scrap="divide").rolled for t in (tree, mixed)]
    assert totals[0] == totals[1]


@given(st.floats(0, 0.9), st.floats(0.01, 1000))
def test_scrap_only_adds(rate, qty):
    for scrap in ("divide", "multiply"):
        assert gross_quantity([qty], [rate], scrap=scrap)[0] >= qty
    gross = [gross_quantity([qty], [rate], scrap=s)[0] for s in ("divide", "multiply")]
    assert gross[0] >= gross[1] * (1 - 1e-15)


@given(st.lists(st.floats(-1e5, 1e5), min_size=8, max_size=8), st.floats(0.0001, 1e5), st.integers(0, 6))
@settings(max_examples=200)
def test_bridge_adds_up_exactly(amounts, start, places):
    causes = pd.DataFrame([amounts], columns=[c for c in CAUSES if c != "rounding"])
    first = pd.Series([start])
    bridge = add_up(first, first + causes.sum(axis=1), causes, places=places).iloc[0]
    assert bridge["start"] + sum(bridge[c] for c in CAUSES) == bridge["end"]
    assert abs(bridge["rounding"]) <= Decimal(len(CAUSES) + 1) * Decimal(5).scaleb(-places - 1)


@given(st.floats(-1e9, 1e9), st.integers(0, 6))
def test_money_is_rounded_to_the_nearest_place(amount, places):
    rounded = round_money(amount, places)
    assert abs(rounded - to_decimal(amount)) <= Decimal(5).scaleb(-places - 1)
    assert round_money(-amount, places) == -rounded
