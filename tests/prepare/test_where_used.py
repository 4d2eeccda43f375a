"""Where a part is used, and how far a change of its price reaches."""

from datetime import date
from io import StringIO

import pandas as pd
import pytest
from rich.console import Console

from bomaudit.audit import audit
from bomaudit.prepare.part_graph import part_graph
from bomaudit.prepare.where_used import blast_radius, edges_of, reach_of_part
from bomaudit.report.terminal_finance import show_where_used

DAY = date(2026, 6, 30)


def bom(*rows):
    frame = pd.DataFrame(rows, columns=["part_no", "parent_row", "qty", "row_kind"])
    return frame.assign(scrap_rate=float("nan"), qty=frame["qty"].astype(float))


SHARED = bom(
    ("top", -1, 1, "assembly"),
    ("left", 0, 2, "assembly"),
    ("screw", 1, 4, "part"),
    ("core", 1, 1, "assembly"),
    ("screw", 3, 3, "part"),
    ("core", 0, 1, "assembly"),
    ("screw", 5, 3, "part"),
    ("labour", 0, 1, "charge"),
    ("other", 0, 1, "alternative"),
)


def test_assembly_that_stands_twice_is_taken_once():
    edges, findings = edges_of(SHARED)
    assert findings == []
    assert edges[["parent_no", "part_no", "qty"]].to_numpy().tolist() == [
        ["top", "left", 2.0], ["left", "screw", 4.0], ["left", "core", 1.0], ["core", "screw", 3.0],
        ["top", "core", 1.0],
    ]  # fmt: skip


def test_change_of_price_reaches_every_product():
    edges, _ = edges_of(SHARED)
    graph = part_graph(edges, scrap="divide", as_of=DAY)
    reach = blast_radius(graph, "screw", price_change=0.10, demand=pd.Series({"top": 1000.0, "core": 50.0}))
    reach = reach.set_index("part_no")
    assert reach["qty"].to_dict() == {"core": 3.0, "left": 7.0, "top": 17.0}
    assert reach["cost_change"].to_dict() == pytest.approx({"core": 0.3, "left": 0.7, "top": 1.7})
    assert reach["made_a_year"].to_dict() == {"core": 3050.0, "left": 2000.0, "top": 1000.0}
    needed = graph.quantities([{"top": 1000.0, "core": 50.0}.get(n, 0.0) for n in graph.part_no])
    screws = dict(zip(graph.part_no, needed, strict=True))["screw"]
    assert reach["change_a_year"].sum() == pytest.approx(0.10 * screws)


def test_without_demand_nothing_is_known_of_a_year():
    graph = part_graph(edges_of(SHARED)[0], scrap="divide", as_of=DAY)
    assert (blast_radius(graph, "screw", price_change=1.0)["change_a_year"] == 0).all()


def test_variants_under_one_number_are_named():
    odd = SHARED.copy()
    odd.loc[6, "qty"] = 5.0
    _, findings = edges_of(odd)
    assert [(f.code, f.found) for f in findings] == [("U005", "core")]


def test_nothing_in_nothing_out():
    edges, findings = edges_of(SHARED.iloc[:0])
    assert edges.empty
    assert findings == []


BOM_ROWS = """\
level,part_no,qty,unit_cost,currency,cost_date
0,Z,1,,EUR,
1,Y,2,,EUR,
2,X,1,10,EUR,2016-06-30
1,X,1,13,EUR,2020-06-30
1,W,3,,EUR,
"""


def test_a_part_on_two_lines_moves_by_both_and_one_without_a_price_by_nobody_knows_what(tmp_path):
    (tmp_path / "audit.toml").write_text('[audit]\nas_of = 2026-06-30\n[files]\nbom = "bom.csv"\n')
    (tmp_path / "bom.csv").write_text(BOM_ROWS)
    made = audit(tmp_path)
    known = {"bom": made.inputs.tables["bom"], "lines": made.lines, "scrap": "divide", "as_of": made.as_of}
    moves = (made.lines["estimate"] - made.lines["booked_cost"]).to_numpy()
    reach = reach_of_part(what="X", **known).set_index("part_no")
    assert reach.loc["Z", "cost_change"] == pytest.approx(2 * moves[2] + 1 * moves[3])
    assert reach["change_a_year"].isna().all(), "no annual volume is known"
    bare = reach_of_part(what="W", **known)
    assert bare["cost_change"].isna().all()
    shown = StringIO()
    show_where_used(bare, "EUR", Console(file=shown, width=80))
    assert "Z          3                –" in shown.getvalue()
