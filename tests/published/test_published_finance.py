"""Variances, revaluation and price-volume-mix against worked examples.

* C. S. Warren, J. M. Reeve, J. Duchac, "Managerial Accounting", exercises on direct materials variances (inputs and
  results as printed there; positive here is unfavourable).
* A course exercise on standard costs: inputs as set, answers by arithmetic.
* Revaluation and price-volume-mix: arithmetic of the definitions; common practice, no published source.
"""

import pandas as pd
import pytest

from bomaudit.finance.revalue import revaluation
from bomaudit.finance.variance import price_variance, quantity_variance
from bomaudit.prepare.exact import to_decimal
from bomaudit.settings import FinanceSection


@pytest.mark.parametrize(
    ("actual", "standard", "price", "quantity", "total"),
    [
        ((450, 6.50), (430, 6.90), -180, 138, -42),
        ((183_200, 5.80), (185_000, 6.00), -36_640, -10_800, -47_440),
        ((27_600, 4.70), (27_000, 5.00), -8_280, 3_000, -5_280),
    ],
)
def test_material_variances(actual, standard, price, quantity, total):
    (actual_qty, actual_price), (standard_qty, standard_price) = actual, standard
    of_price = price_variance(quantity=actual_qty, actual_price=actual_price, standard_price=standard_price)
    of_quantity = quantity_variance(actual=actual_qty, standard=standard_qty, standard_price=standard_price)
    assert of_price == pytest.approx(price)
    assert of_quantity == pytest.approx(quantity)
    assert of_price + of_quantity == pytest.approx(total)
    assert total == pytest.approx(actual_qty * actual_price - standard_qty * standard_price)


def test_price_volume_mix():
    """q 10 → 12, p 5 → 4: -10 + 10 - 2 = -2."""
    price = price_variance(quantity=10, actual_price=4, standard_price=5)
    volume = quantity_variance(actual=12, standard=10, standard_price=5)
    mix = (4 - 5) * (12 - 10)
    assert (price, volume, mix) == (-10, 10, -2)
    assert price + volume + mix == 12 * 4 - 10 * 5


def test_revaluation_of_a_part_and_of_what_holds_it():
    """1,200 on hand, 5.00 → 4.20: -960; 80 assemblies that each hold 2 of it: -128 more."""
    parts = pd.DataFrame(
        {"part_no": ["P", "A"], "on_hand_qty": [1200.0, 80.0], "estimate": [4.2, None], "estimate_high": [4.5, None]}
    ).astype({"estimate": float, "estimate_high": float})
    old = [to_decimal(5.00), to_decimal(20.00)]
    new = [to_decimal(4.20), to_decimal(20.00) + 2 * (to_decimal(4.20) - to_decimal(5.00))]
    proposed = pd.DataFrame(
        {
            "part_no": ["P", "A"],
            "kind": ["part", "assembly"],
            "standard_cost": pd.Series(old, dtype=object),
            "new_standard": pd.Series(new, dtype=object),
            "state": "proposed",
        }
    )
    got = revaluation(proposed, parts, finance=FinanceSection())
    assert [str(v) for v in got["revaluation"]] == ["-960.00", "-128.00"]
    assert got["nrv_warning"].tolist() == [True, False]
    assert got["value_at_risk"].tolist() == pytest.approx([960.0, 0.0])
