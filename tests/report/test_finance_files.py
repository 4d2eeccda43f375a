"""Files of a reconciliation: exact, the same each time, and never over approvals that were not read."""

import hashlib
import json
import sys
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "finance"))
from finance_case import AS_OF, STANDARD_ROWS, bom_frame, lines_of, quotes_frame, standards_frame

from bomaudit.finance.approvals import read_approvals
from bomaudit.finance.reconcile import reconcile
from bomaudit.findings import BadInput
from bomaudit.prepare.currency import reference_rates
from bomaudit.report.finance_files import NAMES, PROPOSED, write_reconciled
from bomaudit.settings import from_dict

SETTINGS = from_dict({"files": {"bom": "bom.csv"}})


def reconciled(approvals=None, standards=STANDARD_ROWS):
    bom, estimate = bom_frame()
    lines, audited = lines_of(bom, estimate)
    return reconcile(
        standards=standards_frame(standards), bom=bom, lines=lines, audited=audited, quotes=quotes_frame(),
        settings=SETTINGS, as_of=AS_OF, fx=reference_rates("EUR"), approvals=approvals,
    )  # fmt: skip


def test_same_input_same_bytes(tmp_path):
    digests = []
    for name in ("a", "b"):
        files = write_reconciled(reconciled(), tmp_path / name, finance=SETTINGS.finance)
        digests.append([hashlib.sha256(f.read_bytes()).hexdigest() for f in files])
        assert [f.name for f in files] == list(NAMES)
        assert sorted(p.name for p in (tmp_path / name).iterdir()) == sorted(NAMES)
    assert digests[0] == digests[1]


def test_amounts_are_written_exactly(tmp_path):
    write_reconciled(reconciled(), tmp_path, finance=SETTINGS.finance)
    journal = pd.read_csv(tmp_path / "journal.csv", dtype=str)
    assert journal.loc[0, ["account", "debit", "credit", "part_no"]].tolist() == ["Inventory", "0.00", "960.00", "S"]
    held = json.loads((tmp_path / "reconcile.json").read_text())
    assert held["totals"]["revaluation"] == "-852.57"
    assert held["files"]["journal.csv"] == hashlib.sha256((tmp_path / "journal.csv").read_bytes()).hexdigest()
    assert "not accounting advice" in held["cautions"][0]


def test_approvals_survive_and_edits_meanwhile_are_not_written_over(tmp_path):
    write_reconciled(reconciled(), tmp_path, finance=SETTINGS.finance)
    path = tmp_path / PROPOSED
    text = pd.read_csv(path, dtype=str, keep_default_na=False)
    text.loc[0, ["approved", "approved_by", "approved_on"]] = "3,25", "Jürgen", "01.07.2026"
    path.write_text(text.to_csv(index=False, sep=";"), encoding="cp1252")
    approvals, _ = read_approvals(path)
    write_reconciled(reconciled(approvals), tmp_path, finance=SETTINGS.finance, approvals=approvals)
    kept = pd.read_csv(path, dtype=str).loc[0]
    assert kept[["approved", "approved_by", "approved_on", "state"]].tolist() == [
        "3.25",
        "Jürgen",
        "01.07.2026",
        "approved",
    ]
    before = path.read_bytes()
    with pytest.raises(BadInput) as refused:
        write_reconciled(reconciled(), tmp_path, finance=SETTINGS.finance)
    assert refused.value.findings[0].code == "K025"
    assert path.read_bytes() == before
    again, _ = read_approvals(path)
    write_reconciled(reconciled(again), tmp_path, finance=SETTINGS.finance, approvals=again)
    assert path.read_bytes() == before


def test_part_number_that_looks_like_a_formula_comes_back(tmp_path):
    rows = (("=S", 4.00, "2025-12-31", 10, 100, None, None),)
    write_reconciled(reconciled(standards=rows), tmp_path, finance=SETTINGS.finance)
    assert "\n'=S," in (tmp_path / "parts.csv").read_text()
