"""Shared by all tests: property tests draw the same examples on every run; no test leans on a machine's clock."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", derandomize=True, deadline=None, max_examples=50, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def sample_folder() -> Path:
    """The floor scrubber, the sample audit that has every status and verdict."""
    return ROOT / "sample_boms" / "floor_scrubber"


@pytest.fixture(scope="session")
def sample_audit(sample_folder):
    """The floor scrubber, audited once for all tests that only look at the result."""
    from bomaudit.audit import audit  # noqa: PLC0415  (only where a test asks for it)

    return audit(sample_folder)
