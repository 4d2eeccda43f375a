"""Roll-up and explosion against worked examples printed elsewhere.

* Speaker kit: J. Heizer, B. Render, "Operations Management", chapter on material requirements planning: the structure
  is the book's (from memory), the quantities follow by arithmetic. The low-level code of an item is its deepest level.
* Scrap: both conventions are in use; common practice, no published source for either as the right one.
* Yield chain: rolled throughput yield, the product of the steps' yields; arithmetic.
"""

from datetime import date
from fractions import Fraction
from itertools import pairwise

import networkx as nx
import numpy as np
import pandas as pd
import pytest

from bomaudit.prepare.rollup import part_graph

DAY = date(2026, 6, 30)


def edges(rows):
    return pd.DataFrame(rows, columns=["parent_no", "part_no", "qty", "scrap_rate"])


SPEAKER_KIT = edges(
    [
        *(("A", "B", 2, 0), ("A", "C", 3, 0), ("B", "D", 2, 0), ("B", "E", 2, 0)),
        *(("C", "F", 2, 0), ("C", "E", 2, 0), ("F", "D", 2, 0), ("F", "G", 1, 0)),
    ]
)
THREE_LEVELS = edges(
    [
        *(("Q", "S", 0.4, 0.10), ("Q", "hour", 0.10, 0)),
        *(("R", "T", 3, 0.02), ("R", "Q", 1, 0), ("R", "hour", 0.05, 0)),
        *(("P", "Q", 2, 0.05), ("P", "R", 1, 0.01), ("P", "hour", 0.50, 0), ("P", "other", 1, 0)),
    ]
)


def by_part(graph, values):
    return dict(zip(graph.part_no, values, strict=True))


def test_speaker_kit_requirements():
    graph = part_graph(SPEAKER_KIT, scrap="divide", as_of=DAY)
    needed = np.where(graph.part_no == "A", 50.0, 0.0)
    assert by_part(graph, graph.quantities(needed)) == {
        "A": 50,
        "B": 100,
        "C": 150,
        "D": 800,
        "E": 500,
        "F": 300,
        "G": 300,
    }


def test_speaker_kit_low_level_codes():
    graph = part_graph(SPEAKER_KIT, scrap="divide", as_of=DAY)
    assert by_part(graph, graph.level) == {"A": 0, "B": 1, "C": 1, "E": 2, "F": 2, "D": 3, "G": 3}


@pytest.mark.parametrize(
    ("scrap", "q", "r", "p", "s_per_p"),
    [("divide", 4.777778, 10.104308, 37.264852, 1.384606), ("multiply", 4.760000, 10.085000, 37.181850, 1.368400)],
)
def test_three_levels_with_scrap(scrap, q, r, p, s_per_p):
    """Computed here by hand in exact rationals as well: the printed six digits are the tolerance."""
    graph = part_graph(THREE_LEVELS, scrap=scrap, as_of=DAY)
    price = {"S": 4.00, "T": 1.25, "hour": 30.0, "other": 2.00}
    cost = by_part(graph, graph.roll_up([price.get(n, 0.0) for n in graph.part_no]))
    assert [cost["Q"], cost["R"], cost["P"]] == pytest.approx([q, r, p], abs=5e-7)
    used = graph.where_used("S").set_index("part_no")["qty"]
    assert used["P"] == pytest.approx(s_per_p, abs=5e-7)
    dearer = by_part(graph, graph.roll_up([(price | {"S": 5.00}).get(n, 0.0) for n in graph.part_no]))
    assert dearer["P"] - cost["P"] == pytest.approx(s_per_p, abs=5e-7)


def test_three_levels_by_hand():
    def gross(q, s):
        return Fraction(q) / (1 - Fraction(s))

    q = gross("0.4", "0.1") * 4 + 3
    r = gross(3, "0.02") * Fraction("1.25") + q + Fraction("1.5")
    p = gross(2, "0.05") * q + gross(1, "0.01") * r + 15 + 2
    graph = part_graph(THREE_LEVELS, scrap="divide", as_of=DAY)
    price = {"S": 4.00, "T": 1.25, "hour": 30.0, "other": 2.00}
    assert by_part(graph, graph.roll_up([price.get(n, 0.0) for n in graph.part_no]))["P"] == pytest.approx(
        float(p), rel=1e-14
    )


def test_yield_chain():
    """.95 · .90 · .98 = 0.837900; 1,193.46 starts for 1,000 good pieces."""
    chain = edges([("finished", "machined", 1, 0), ("machined", "cast", 1, 0), ("cast", "blank", 1, 0)])
    yields = pd.Series({"finished": 0.98, "machined": 0.90, "cast": 0.95})
    graph = part_graph(chain, scrap="divide", as_of=DAY, yields=yields)
    used = graph.where_used("blank").set_index("part_no")["qty"]
    assert 1 / used["finished"] == pytest.approx(0.837900, abs=5e-7)
    assert 1000 * used["finished"] == pytest.approx(1193.46, abs=5e-3)


def test_diamond_uses_add_up():
    """A → B → D and A → C → D: 2·3 + 4·5 = 26 D per A."""
    graph = part_graph(
        edges([("A", "B", 2, 0), ("A", "C", 4, 0), ("B", "D", 3, 0), ("C", "D", 5, 0)]), scrap="divide", as_of=DAY
    )
    assert graph.where_used("D").set_index("part_no")["qty"].to_dict() == {"A": 26.0, "B": 3.0, "C": 5.0}


def test_against_a_graph_library():
    """networkx 3: longest path layers and the sum over all simple paths, on random graphs."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        pairs = {(int(a), int(b)) for a, b in rng.integers(0, 12, (30, 2)) if a < b}
        rows = [(f"N{a:02d}", f"N{b:02d}", float(rng.integers(1, 5)), 0.0) for a, b in sorted(pairs)]
        graph = part_graph(edges(rows), scrap="divide", as_of=DAY)
        other = nx.DiGraph()
        other.add_weighted_edges_from([(p, c, q) for p, c, q, _ in rows])
        generations = nx.topological_generations(other)
        assert by_part(graph, graph.level) == {n: k for k, names in enumerate(generations) for n in names}
        bottom = graph.part_no[int(np.argmax(graph.level))]
        want = {
            top: sum(
                np.prod([other[a][b]["weight"] for a, b in pairwise(path)])
                for path in nx.all_simple_paths(other, top, bottom)
            )
            for top in nx.ancestors(other, bottom)
        }
        assert graph.where_used(bottom).set_index("part_no")["qty"].to_dict() == pytest.approx(want)
