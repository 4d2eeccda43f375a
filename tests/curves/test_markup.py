"""Mark-ups fall with entry and age."""

import numpy as np

from bomaudit.curves.markup import cournot_markup, stage_markup


def test_mark_up_falls_from_the_early_to_the_mature_one():
    share = np.array([-0.1, 0.0, 0.25, 0.5, 1.0, 1.3])
    found = stage_markup(share, 1.5, 1.1)
    assert (np.diff(found) <= 0).all()
    assert (found[0], found[1], found[-2], found[-1]) == (1.5, 1.5, 1.1, 1.1)


def test_mark_up_grows_with_concentration_and_stays_finite():
    found = cournot_markup(np.array([0.01, 0.25, 0.5, 1.0]), 1.2)
    assert (np.diff(found) > 0).all()
    assert np.isfinite(found).all()
    assert found[-1] == 1 / (1 - 0.6)
