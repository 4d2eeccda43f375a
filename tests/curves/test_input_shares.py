"""Shares of inputs in a price, against the estimate made again with the input's price moved."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_market import AS_OF, flat_inflation, make_curves, make_lines, make_prices

from bomaudit.curves.input_shares import input_shares, no_shares
from bomaudit.curves.library import load_library
from bomaudit.curves.library_rules import parse_basket
from bomaudit.estimate import estimate

COMMODITIES = ("dc_motor", "wire_harness", "sheet_metal_part", "lead_acid_battery", "microcontroller")
METALS = ("copper", "steel", "lead")


def prices(moved: str = "", by: float = 1.0) -> pd.DataFrame:
    """Flat general prices; metals that rose since 2016, one of them moved in the last year."""
    rising = {m: np.linspace(100, 100 + 10 * k, 17) for k, m in enumerate(METALS, start=1)}
    tables = [make_prices(m, 2008, [*v, v[-1] * (by if m == moved else 1.0)]) for m, v in rising.items()]
    return pd.concat([flat_inflation(), *tables], ignore_index=True)


@pytest.mark.parametrize("metal", METALS)
def test_a_moved_input_moves_the_estimate_by_its_share(metal):
    lines = make_lines(len(COMMODITIES), commodity=list(COMMODITIES))
    shares = input_shares(lines, make_curves(lines, input_prices=prices()), as_of=AS_OF)
    share = shares.share.toarray()[:, shares.inputs.index(f"input:{metal}")]
    before, after = (
        estimate(lines, make_curves(lines, input_prices=p), as_of=AS_OF, confidence=0.8).frame["estimate"]
        for p in (prices(), prices(metal, 1.2))
    )
    # the price is linear in the input, so the share holds for a rise of 20 % and not only for a small one
    assert (after / before - 1).to_numpy() == pytest.approx(0.2 * share, abs=1e-12)
    assert share.max() > 0.05


def test_shares_are_those_of_the_basket_where_nothing_moved():
    lines = make_lines(1, basis_date=str(AS_OF))
    shares = input_shares(lines, make_curves(lines, input_prices=flat_inflation()), as_of=AS_OF)
    row = load_library().commodities.set_index("commodity").loc["dc_motor"]
    for material, weight in parse_basket(row["basket"]).items():
        got = shares.share.toarray()[0, shares.inputs.index(f"input:{material}")]
        assert got == pytest.approx(row["materials_share"] * weight)


def test_a_price_that_is_all_materials_follows_them_and_no_more():
    lines = make_lines(3, commodity=["lead_acid_battery", "dc_motor", "copper_wire"], basis_date="1999-06-30")
    shares = input_shares(lines, make_curves(lines), as_of=AS_OF)
    materials = shares.share.toarray()[:, [n.startswith("input:") for n in shares.inputs]]
    assert (materials.sum(axis=1) <= 1 + 1e-12).all()


def test_a_price_in_another_currency_follows_it_whole():
    lines = make_lines(2, price_currency=["USD", "EUR"])
    shares = input_shares(lines, make_curves(lines), as_of=AS_OF)
    assert [n for n in shares.inputs if n.startswith("fx:")] == ["fx:USD"]
    assert shares.share.toarray()[:, shares.inputs.index("fx:USD")].tolist() == [1.0, 0.0]
    assert 0.02 < shares.noise[shares.inputs.index("fx:USD")] < 0.3


def test_other_amounts_name_their_currencies_too():
    lines = make_lines(2, price_currency=["USD", "EUR"])
    shares = input_shares(lines, make_curves(lines), as_of=AS_OF, also_in={"JPY", "USD", "EUR", ""})
    assert [n for n in shares.inputs if n.startswith("fx:")] == ["fx:USD", "fx:JPY"]
    assert not shares.share.toarray()[:, shares.inputs.index("fx:JPY")].any()
    assert 0.02 < shares.noise[shares.inputs.index("fx:JPY")] < 0.3


def test_lines_without_an_estimate_have_no_share():
    lines = make_lines(2, auditable=[False, True])
    shares = input_shares(lines, make_curves(lines), as_of=AS_OF)
    assert shares.share.shape[0] == 2
    assert not shares.share.toarray()[0].any()
    assert no_shares(3).share.shape == (3, 0)
