"""Margins and concentration against the Cournot identities.

K. Cowling and M. Waterson, "Price-Cost Margins and Market Structure", Economica 43, 1976; J. Tirole, The Theory of
Industrial Organization, 1988, chapter 5 (identities from memory; the values are exact arithmetic).
"""

import pytest

from bomaudit.curves.markup import cournot_markup

CASES = [
    # Herfindahl index, elasticity, price over marginal cost
    (0.3000, 2.0, 1.17647),  # four makers 40/30/20/10
    (0.1000, 2.0, 1.05263),  # ten equal makers
    (0.2500, 1.5, 1.2),
    (0.5000, 1.5, 1.5),  # two equal makers
    (0.3333, 3.0, 1.125),
]


@pytest.mark.parametrize(("herfindahl", "elasticity", "ratio"), CASES)
def test_price_over_cost(herfindahl, elasticity, ratio):
    assert float(cournot_markup(herfindahl, elasticity)) == pytest.approx(ratio, abs=5e-5)


def test_entry_alone_lowers_the_price():
    """From 40/30/20/10 to ten equal makers at equal cost: 10.53 %."""
    fall = 1 - float(cournot_markup(0.1, 2.0)) / float(cournot_markup(0.3, 2.0))
    assert fall == pytest.approx(0.1053, abs=5e-5)
