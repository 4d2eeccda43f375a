"""An assembly that is broken down once is the same at all its places: as if it were broken down at each."""

import numpy as np
import pytest

from bomaudit.audit import audit
from bomaudit.decide.pricing import contents, rolled_into
from bomaudit.finance.reconcile import reconcile_audit

HEADER = "level,part_no,description,qty,scrap_rate,unit_cost,currency,cost_date,commodity\n"
TOP = "0,P,product,1,,,,,\n1,A100,first,1,,,,,\n"
BARE = "2,S200,sub,2,0.02,{},,{},\n"
BETWEEN = "2,C9,screw,4,,0.10,EUR,2024-01-01,fastener\n1,A200,second,1,,,,,\n2,S200,sub,1,,,,,\n"
BROKEN_DOWN = (
    "3,C1,bearing,2,0.1,5,EUR,2024-01-01,bearing\n3,T300,inner,1,,,,,\n4,C2,bolt,3,,1.50,EUR,2019-01-01,fastener\n"
)
BY_LEVEL = HEADER + TOP + BARE.format("", "") + BETWEEN + BROKEN_DOWN + "1,T300,inner,5,,,,,\n"
OTHER_ORDER = (
    HEADER + "0,P,product,1,,,,,\n1,A200,second,1,,,,,\n2,S200,sub,1,,,,,\n3,T300,inner,1,,,,,\n"
    "4,C2,bolt,3,,1.50,EUR,2019-01-01,fastener\n3,C1,bearing,2,0.1,5,EUR,2024-01-01,bearing\n1,T300,inner,5,,,,,\n"
    "1,A100,first,1,,,,,\n2,C9,screw,4,,0.10,EUR,2024-01-01,fastener\n2,S200,sub,2,0.02,,,,\n"
)
EVERYWHERE = (
    HEADER + TOP + BARE.format("", "") + BROKEN_DOWN + BETWEEN + BROKEN_DOWN
    + "1,T300,inner,5,,,,,\n2,C2,bolt,3,,1.50,EUR,2019-01-01,fastener\n"
)  # fmt: skip
BY_PARENT = (
    "parent_no,part_no,description,qty,scrap_rate,unit_cost,currency,cost_date,commodity\n"
    ",P,product,1,,,,,\nP,A100,first,1,,,,,\nP,A200,second,1,,,,,\nP,T300,inner,5,,,,,\nA100,S200,sub,2,0.02,,,,\n"
    "A100,C9,screw,4,,0.10,EUR,2024-01-01,fastener\nA200,S200,sub,1,,,,,\n"
    "S200,C1,bearing,2,0.1,5,EUR,2024-01-01,bearing\nS200,T300,inner,1,,,,,\n"
    "T300,C2,bolt,3,,1.50,EUR,2019-01-01,fastener\n"
)
STANDARDS = (
    "part_no,standard_cost,currency,set_on,on_hand_qty,last_purchase_price,last_purchase_date\n"
    "A100,31.90,EUR,2024-01-01,10,,\nA200,15.61,EUR,2024-01-01,10,,\nS200,15.61,EUR,2024-01-01,10,,\n"
    "T300,4.50,EUR,2024-01-01,10,,\nC1,5,EUR,2024-01-01,10,8,2026-05-01\nC2,1.50,EUR,2024-01-01,10,3,2026-05-01\n"
    "C9,0.10,EUR,2024-01-01,10,0.1,2026-05-01\n"
)
QUOTES = "part_no,quote_date,unit_price,currency,kind,valid_until\nC1,2026-06-01,8,EUR,firm,2027-01-01\n"
SETTINGS = (
    '[audit]\nas_of = 2026-06-30\ncurrency = "EUR"\nannual_volume = 1000\n'
    '[files]\nbom = "bom.csv"\nstandards = "standards.csv"\nquotes = "quotes.csv"\n'
)


@pytest.fixture(scope="module")
def audited(tmp_path_factory):
    done = {}

    def run(bom):
        if bom not in done:
            folder = tmp_path_factory.mktemp("shared")
            files = {"bom.csv": bom, "standards.csv": STANDARDS, "quotes.csv": QUOTES, "audit.toml": SETTINGS}
            for name, text in files.items():
                (folder / name).write_text(text, encoding="utf-8")
            done[bom] = audit(folder)
        return done[bom]

    return run


def codes(one):
    return {f.code for f in one.findings}


@pytest.mark.parametrize("bom", [BY_LEVEL, OTHER_ORDER, BY_PARENT])
def test_broken_down_once_is_broken_down_everywhere(audited, bom):
    """S200 stands 2 / 0.98 + 1 times in the product, T300 5 times more."""
    once, everywhere = audited(bom), audited(EVERYWHERE)
    needed = once.lines[once.lines["row_kind"] == "part"].groupby("part_no")["qty_per"].sum()
    assert needed["C1"] == pytest.approx((2 / 0.98 + 1) * 2 / 0.9)
    assert needed["C2"] == pytest.approx((2 / 0.98 + 1 + 5) * 3)
    assert "B103" not in codes(once)
    assert "T106" in codes(once)
    assert "T106" not in codes(everywhere)
    for name in ("booked_extended", "exposure_per_year"):
        assert once.lines[name].sum() == pytest.approx(everywhere.lines[name].sum())
    assert set(once.lines.loc[once.lines["part_no"] == "S200", "row_kind"]) == {"assembly"}


@pytest.mark.parametrize("bom", [BY_LEVEL, OTHER_ORDER, BY_PARENT])
def test_roll_ups_and_standards_are_those_of_the_whole_structure(audited, bom):
    once, everywhere = (reconcile_audit(audited(b)) for b in (bom, EVERYWHERE))
    pairs = [(r.parts.set_index("part_no"), r.rolled.set_index("part_no")) for r in (once, everywhere)]
    for name in ("qty_per", "annual_qty", "booked_cost", "estimate"):
        of_this, of_all = (p[name] for p, _ in pairs)
        assert of_this.to_numpy(float) == pytest.approx(of_all.reindex(of_this.index).to_numpy(float), nan_ok=True)
    for name in ("rolled_standard", "rolled_booked", "rolled_today", "standard_difference"):
        of_this, of_all = (r[name] for _, r in pairs)
        assert of_this.to_numpy(float) == pytest.approx(of_all.reindex(of_this.index).to_numpy(float), nan_ok=True)
    new = [dict(zip(r.proposed["part_no"], r.proposed["proposed"], strict=True)) for r in (once, everywhere)]
    assert new[0] == new[1]
    assert new[0]["A100"] > once.proposed.set_index("part_no")["standard_cost"]["A100"]
    assert once.totals == everywhere.totals
    of_year = [r.bridge[r.bridge["scope"] == "year"].to_numpy().tolist() for r in (once, everywhere)]
    assert of_year[0] == of_year[1]
    ends = once.bridge[once.bridge["starts_at"] == "standard"].set_index("scope")["end"]
    assert float(ends["year"]) == pytest.approx(1000 * float(ends["product"]), abs=1)


def test_what_a_decision_counts_beneath_an_assembly_is_counted_beneath_its_bare_rows(audited):
    lines = audited(BY_LEVEL).prepared
    at = {n: lines.index[lines["part_no"] == n].to_numpy() for n in ("A100", "S200", "T300", "C1", "C2")}
    quantity = rolled_into(lines).toarray()
    assert np.allclose(quantity[np.ix_(at["S200"], at["C1"])], 2 / 0.9)
    assert np.allclose(quantity[np.ix_(at["A100"], at["C2"])], 2 / 0.98 * 3)
    assert np.allclose(quantity[np.ix_(at["T300"], at["C2"])], 3)
    assert (contents(lines).toarray()[np.ix_(at["S200"], at["C2"])] > 0).all()


def test_an_assembly_beneath_itself_is_cut_and_said(audited):
    bom = HEADER + "0,P,product,1,,,,,\n1,S200,sub,1,,,,,\n2,T300,inner,1,,,,,\n3,S200,sub,1,,,,,\n"
    one = audited(bom + "3,C1,bearing,2,,5,EUR,2024-01-01,bearing\n")
    assert {"T081", "B103"} <= codes(one)
    assert one.lines.set_index("part_no")["qty_per"]["C1"] == 2


def test_a_price_of_its_own_counts_where_it_stands(audited):
    bom = HEADER + TOP + BARE.format("15", "2024-01-01") + BETWEEN + BROKEN_DOWN
    one = audited(bom)
    assert "T107" in codes(one)
    assert list(one.lines.loc[one.lines["part_no"] == "S200", "row_kind"]) == ["part", "assembly"]
    assert one.lines.loc[one.lines["part_no"] == "C1", "qty_per"].sum() == pytest.approx(2 / 0.9)


@pytest.mark.parametrize("first", ["bought", "made"])
def test_a_part_bought_at_one_place_and_made_at_another_is_spent_on_once(audited, first):
    bought = TOP + BARE.format("15", "2024-01-01") + "2,C9,screw,4,,0.10,EUR,2024-01-01,fastener\n"
    made = "1,A200,second,1,,,,,\n2,S200,sub,1,,,,,\n" + BROKEN_DOWN
    top, rest = bought.split("\n", 1)
    bom = HEADER + (bought + made if first == "bought" else top + "\n" + made + rest)
    result = reconcile_audit(audited(bom))
    part = result.parts.set_index("part_no").loc["S200"]
    assert part["kind"] == "part"
    assert part["annual_qty"] == pytest.approx(1000 * 2 / 0.98)
    ends = result.bridge.set_index(["starts_at", "scope"])["end"]
    assert float(ends["booked", "year"]) == pytest.approx(1000 * float(ends["booked", "product"]), abs=1)
