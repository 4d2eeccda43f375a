"""Sums do not depend on their order; what cannot be believed is left out and counted."""

import numpy as np
import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from bomaudit.screen.sums import FIGURES, LARGEST, Names, group, merge, ticks

AMOUNTS = st.lists(st.tuples(st.sampled_from("abc"), st.floats(-1e10, 1e10, allow_nan=False)), min_size=1, max_size=60)


def table(rows) -> pa.Table:
    amounts, _ = ticks([amount for _, amount in rows])
    return group("bom", Names.of([name for name, _ in rows]), dict.fromkeys(FIGURES, amounts))


@given(AMOUNTS, st.randoms(use_true_random=False), st.integers(1, 7))
def test_any_order_and_any_split_give_the_same(rows, random, parts):
    """Floats would not: 0.1 + 0.2 + 0.3 is not 0.3 + 0.2 + 0.1."""
    mixed = list(rows)
    random.shuffle(mixed)
    split = [mixed[k::parts] for k in range(parts) if mixed[k::parts]]
    assert merge([table(rows)]).equals(merge(table(part) for part in split))


@given(AMOUNTS)
def test_sums_are_those_of_exact_arithmetic(rows):
    """Against Python's own unbounded integers."""
    merged = merge([table(rows)]).to_pydict()
    for name, total in zip(merged["name"], merged["spend"], strict=True):
        assert total == sum(round(amount * 10_000) for n, amount in rows if n == name)


def test_unbelievable_amounts_are_left_out():
    amounts, too_large = ticks([1.0, 2 * LARGEST, np.nan, np.inf])
    assert amounts.tolist() == [10_000, 0, 0, 0]
    assert too_large.tolist() == [False, True, False, True]


def test_no_lines_no_groups():
    assert len(merge([])) == 0
    assert len(group("bom", Names.of([]), {f: np.zeros(0, dtype=np.int64) for f in FIGURES})) == 0
