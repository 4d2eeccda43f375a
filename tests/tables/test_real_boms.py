"""Published bills of materials, where they are at hand: at least nine in ten right in all four, no silent error."""

import importlib.util
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT.parent / "shared" / "real_boms"


@pytest.mark.skipif(not FOLDER.is_dir(), reason="the published bills are not part of the project")
def test_published_bills_read_as_their_key_says(monkeypatch):
    spec = importlib.util.spec_from_file_location("real_boms", ROOT / "tests" / "benchmarks" / "real_boms.py")
    bench = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "real_boms", bench)
    spec.loader.exec_module(bench)
    outcomes = bench.run(FOLDER)
    bills = [o for o in outcomes if "-NEG" not in o.file]
    assert sum(o.right for o in bills) >= 0.9 * len(bills)
    assert not [o for o in outcomes if not o.right and not o.refused and not o.warnings]
    assert all(o.refused for o in outcomes if "-NEG" in o.file)
