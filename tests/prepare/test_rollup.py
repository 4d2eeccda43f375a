"""What holds for quantities down and costs up, whatever the structure."""

from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from bomaudit.findings import BadInput
from bomaudit.prepare.part_graph import effective
from bomaudit.prepare.rollup import explode, gross_quantity, part_graph, roll_up

DAY = date(2026, 6, 30)


def graph(*rows, **more):
    frame = pd.DataFrame(rows, columns=["parent_no", "part_no", "qty"]).assign(scrap_rate=0.0)
    return part_graph(frame, scrap="divide", as_of=DAY, **more)


def test_scrap_conventions_differ():
    assert gross_quantity([1.0], [0.1], scrap="divide")[0] == pytest.approx(1.11111, abs=5e-6)
    assert gross_quantity([1.0], [0.1], scrap="multiply")[0] == pytest.approx(1.10)


def test_missing_scrap_is_no_scrap_and_missing_quantity_stays_unknown():
    assert gross_quantity([2.0, np.nan], [np.nan, 0.1], scrap="divide").tolist()[0] == 2.0
    assert np.isnan(gross_quantity([np.nan], [0.1], scrap="divide")[0])


@pytest.mark.parametrize(
    ("rate", "scrap"), [(1.0, "divide"), (-0.01, "divide"), (-0.01, "multiply"), (np.inf, "multiply")]
)
def test_scrap_rate_out_of_range_is_refused(rate, scrap):
    with pytest.raises(BadInput, match="scrap_rate") as refused:
        gross_quantity([1.0], [rate], scrap=scrap)
    assert refused.value.findings[0].code == "U002"


def test_quantities_compound_down_the_tree_in_any_row_order():
    parent, qty = np.array([-1, 0, 1, 2, 3]), np.array([2.0, 3.0, 5.0, 7.0, 11.0])
    kind = np.full(5, "part", object)
    straight = explode(parent, qty, np.zeros(5), scrap="divide", row_kind=kind)
    assert straight.tolist() == [2, 6, 30, 210, 2310]
    order = np.array([4, 2, 0, 3, 1])
    place = np.argsort(order)
    mixed = explode(
        np.where(parent[order] < 0, -1, place[parent[order]]), qty[order], np.zeros(5), scrap="divide", row_kind=kind
    )
    assert mixed.tolist() == straight[order].tolist()


def test_alternatives_and_what_is_below_them_are_not_built_in():
    got = explode(
        [-1, 0, 1, 0],
        [1, 2, np.nan, 4],
        [0, 0, 0, 0],
        scrap="divide",
        row_kind=["assembly", "alternative", "part", "part"],
    )
    assert got.tolist() == [1, 0, 0, 4]


def test_purchased_assembly_hides_what_goes_into_it():
    rows = {"parent_row": [-1, 0, 1, 0], "qty": [1, 2, 3, 4], "scrap_rate": [0, 0, 0, 0]}
    kind, bought = ["assembly", "assembly", "part", "part"], [False, True, False, False]
    assert explode(**rows, scrap="divide", row_kind=kind, purchased=bought).tolist() == [1, 2, 0, 4]
    assert roll_up(**rows, own_cost=[0, 10, 1, 1], scrap="divide", row_kind=kind, purchased=bought)[0] == 24


def test_rows_out_of_their_effectivity_are_not_built_in():
    rows = pd.DataFrame(
        {
            "part_no": ["a", "b", "c", "d"],
            "effective_from": pd.to_datetime([None, "2026-06-30", "2026-07-01", None]),
            "effective_to": pd.to_datetime([None, None, None, "2026-06-29"]),
        }
    )
    holds = effective(rows, as_of=DAY)
    assert holds.tolist() == [True, True, False, False]
    got = explode([-1] * 4, [1] * 4, [0] * 4, scrap="divide", row_kind=["part"] * 4, built=holds)
    assert got.tolist() == [1, 1, 0, 0]
    with pytest.raises(BadInput, match="effective_to") as refused:
        effective(rows.assign(effective_from=pd.Timestamp("2027-01-01")), as_of=DAY)
    assert refused.value.findings[0].code == "U004"


def test_tree_roll_up_equals_exploded_sum():
    rng = np.random.default_rng(5)
    parent = np.concatenate([[-1], [rng.integers(0, k) for k in range(1, 300)]])
    qty, scrap = rng.uniform(0.1, 4, 300), rng.uniform(0, 0.2, 300)
    own, kind = rng.uniform(0, 50, 300), np.full(300, "part", object)
    q = explode(parent, qty, scrap, scrap="divide", row_kind=kind)
    c = roll_up(parent, qty, scrap, own, scrap="divide", row_kind=kind)
    assert c[0] * q[0] == pytest.approx((q * own).sum())


def test_unknown_cost_makes_everything_above_unknown():
    c = roll_up([-1, 0, 0], [1, 1, 1], [0, 0, 0], [0, np.nan, 1], scrap="divide", row_kind=["assembly", "part", "part"])
    assert np.isnan(c[0])


def test_none_of_an_unpriced_part_costs_nothing_and_by_products_are_credited():
    g = graph(("A", "free", 0.0), ("A", "swarf", -2.0), ("A", "bar", 1.0))
    own = pd.Series({"free": np.nan, "swarf": 0.5, "bar": 10.0, "A": 0.0})[g.part_no]
    assert dict(zip(g.part_no, g.roll_up(own), strict=True))["A"] == 9.0
    assert g.where_used("free")["part_no"].tolist() == ["A"]


def test_phantom_passes_its_parts_through():
    stocked = graph(("top", "screw", 8.0), ("top", "plate", 2.0))
    phantom = graph(("top", "kit", 2.0), ("kit", "screw", 4.0), ("kit", "plate", 1.0))
    price = {"screw": 0.05, "plate": 1.2}
    tops = [
        dict(zip(g.part_no, g.roll_up([price.get(n, 0.0) for n in g.part_no]), strict=True))["top"]
        for g in (stocked, phantom)
    ]
    assert tops[0] == pytest.approx(tops[1])


@pytest.mark.parametrize(
    ("rows", "path"),
    [
        ([("A", "B", 1.0), ("B", "C", 1.0), ("C", "A", 1.0), ("A", "X", 1.0)], "A → B → C → A"),
        ([("A", "A", 1.0)], "A → A"),
        ([("top", "A", 1.0), ("A", "B", 1.0), ("B", "A", 1.0), ("B", "leaf", 1.0)], "A → B → A"),
    ],
)
def test_cycle_is_refused_and_named(rows, path):
    with pytest.raises(BadInput) as refused:
        graph(*rows)
    (finding,) = refused.value.findings
    assert finding.code == "U001"
    assert sorted(finding.found.split(" → ")[1:]) == sorted(path.split(" → ")[1:])
    steps = finding.found.split(" → ")
    assert all(any(p == a and c == b for p, c, _ in rows) for a, b in pairwise(steps))


def test_cycle_among_rows_is_refused():
    with pytest.raises(BadInput, match="row 0") as refused:
        explode([1, 0, -1], [1, 1, 1], [0, 0, 0], scrap="divide", row_kind=["part"] * 3)
    assert refused.value.findings[0].code == "U001"
    with pytest.raises(BadInput, match="row 0"):
        roll_up([1, 0, -1], [1, 1, 1], [0, 0, 0], [1, 1, 1], scrap="divide", row_kind=["part"] * 3)


def test_a_pair_that_stands_twice_is_added_up():
    g = graph(("A", "B", 2.0), ("A", "B", 3.0))
    assert g.where_used("B")["qty"].tolist() == [5.0]


def test_purchased_part_is_not_followed():
    g = graph(("A", "B", 2.0), ("B", "C", 3.0), purchased=frozenset({"B"}))
    assert g.where_used("C").empty


def test_yield_out_of_range_is_refused():
    with pytest.raises(BadInput, match="yield") as refused:
        graph(("A", "B", 1.0), yields=pd.Series({"A": 0.0}))
    assert refused.value.findings[0].code == "U003"


def test_unknown_part_has_no_position():
    with pytest.raises(KeyError):
        graph(("A", "B", 1.0)).where_used("nowhere")


def test_inputs_are_left_alone():
    parent, qty, scrap = np.array([-1, 0]), np.array([1.0, 2.0]), np.array([0.0, 0.1])
    kept = parent.copy(), qty.copy(), scrap.copy()
    explode(parent, qty, scrap, scrap="divide", row_kind=["assembly", "part"])
    assert all((a == b).all() for a, b in zip(kept, (parent, qty, scrap), strict=True))


def test_empty_structure():
    assert len(explode([], [], [], scrap="divide", row_kind=[])) == 0
