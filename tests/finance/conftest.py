"""Arguments of reconcile for the three-level product of finance_case."""

import pytest
from finance_case import AS_OF, STANDARD_ROWS, bom_frame, lines_of, quotes_frame, standards_frame

from bomaudit.prepare.currency import reference_rates
from bomaudit.settings import from_dict


@pytest.fixture
def fx():
    return reference_rates("EUR")


@pytest.fixture
def case(fx):
    """Arguments of reconcile."""
    bom, estimate = bom_frame()
    lines, audited = lines_of(bom, estimate)
    return {
        "standards": standards_frame(STANDARD_ROWS),
        "bom": bom,
        "lines": lines,
        "audited": audited,
        "quotes": quotes_frame(),
        "settings": from_dict({"files": {"bom": "bom.csv"}, "audit": {"currency": "EUR"}}),
        "as_of": AS_OF,
        "fx": fx,
    }
