"""One audit of the sample for all tests of the report."""

from __future__ import annotations

from pathlib import Path

import pytest

from bomaudit.audit import Audit, run
from bomaudit.opened import Opened, open_audit

SAMPLE = Path(__file__).parents[2] / "sample_boms" / "floor_scrubber"


@pytest.fixture(scope="session")
def opened() -> Opened:
    return open_audit(SAMPLE)


@pytest.fixture(scope="session")
def audit(opened) -> Audit:
    return run(opened)
