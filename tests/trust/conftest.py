"""The hostile folder and what is written of it, once for all tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from hostile_case import write_hostile

from bomaudit.audit import audit
from bomaudit.finance.reconcile import reconcile_audit
from bomaudit.report.files import write
from bomaudit.report.finance_files import write_reconciled


@pytest.fixture(scope="session")
def hostile_folder(tmp_path_factory) -> Path:
    return write_hostile(tmp_path_factory.mktemp("hostile") / "audit")


@pytest.fixture(scope="session")
def hostile_report(hostile_folder, tmp_path_factory) -> Path:
    """Files of the report and of the reconciliation of the hostile folder."""
    out = tmp_path_factory.mktemp("hostile-out") / "out"
    result = audit(hostile_folder)
    write(result, out)
    write_reconciled(reconcile_audit(result), out / "standards", finance=result.settings.finance)
    return out
