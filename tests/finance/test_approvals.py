"""What people approved survives a re-run, however their spreadsheet saved the file."""

from decimal import Decimal

import pytest

from bomaudit.finance.approvals import read_approvals
from bomaudit.finance.reconcile import reconcile
from bomaudit.findings import BadInput


def row(frame, part_no):
    return frame.set_index("part_no").loc[part_no]


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "standards_proposed.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_no_file_no_approvals(tmp_path):
    approvals, findings = read_approvals(tmp_path / "standards_proposed.csv")
    assert approvals.empty
    assert findings == []


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("part_no,proposed,approved,approved_by,approved_on\nS,3.2000,3.25,Jürgen,2026-07-01\n", "utf-8"),
        ("part_no;proposed;approved;approved_by;approved_on\r\nS;3,2000;3,25;Jürgen;01.07.2026\r\n", "cp1252"),
        ("part_no\tproposed\tapproved\tapproved_by\tapproved_on\nS\t3.2000\t3.25\tJürgen\t1 July\n", "utf-8-sig"),
    ],
)
def test_approval_survives_a_re_run(case, tmp_path, text, encoding):
    approvals, findings = read_approvals(written(tmp_path, text, encoding))
    assert findings == []
    got = reconcile(**case, approvals=approvals)
    part = row(got.proposed, "S")
    assert part[["proposed", "approved", "new_standard"]].tolist() == [
        Decimal("3.2000"),
        Decimal("3.25"),
        Decimal("3.25"),
    ]
    assert (part["approved_by"], part["state"]) == ("Jürgen", "approved")
    assert row(got.revalued, "S")["revaluation"] == 1200 * (Decimal("3.25") - Decimal("4.0"))
    assert set(got.journal.set_index("part_no").loc[["S"], "state"]) == {"approved"}
    assert got.totals["revaluation_approved"] == Decimal("-900.00")


def test_parents_follow_the_approved_standard(case, tmp_path):
    approvals, _ = read_approvals(
        written(tmp_path, "part_no,proposed,approved,approved_by,approved_on\nS,3.2,3.6,J,x\n")
    )
    got = reconcile(**case, approvals=approvals)
    assert row(got.proposed, "Q")["proposed"] == Decimal("4.6022")  # 4.78 - 0.4 / 0.9 × 0.40


def test_yes_approves_what_was_proposed(case, tmp_path):
    approvals, _ = read_approvals(
        written(tmp_path, "part_no,proposed,approved,approved_by,approved_on\nS,3.2,yes,J,x\n")
    )
    assert row(reconcile(**case, approvals=approvals).proposed, "S")["new_standard"] == Decimal("3.2")


def test_approval_of_an_older_proposal_is_kept_and_said(case, tmp_path):
    approvals, _ = read_approvals(
        written(tmp_path, "part_no,proposed,approved,approved_by,approved_on\nS,3.9,3.9,J,x\n")
    )
    part = row(reconcile(**case, approvals=approvals).proposed, "S")
    assert part["state"] == "approved before the proposal changed"
    assert (part["proposed_when_approved"], part["new_standard"]) == (Decimal("3.9"), Decimal("3.9"))


def test_approval_of_a_part_that_is_gone_is_kept(case, tmp_path):
    approvals, _ = read_approvals(written(tmp_path, "part_no,proposed,approved,approved_by,approved_on\nX,1,1,J,x\n"))
    got = reconcile(**case, approvals=approvals)
    assert row(got.proposed, "X")["approved"] == Decimal(1)
    assert "K024" in {f.code for f in got.findings}
    assert "X" not in set(got.revalued["part_no"])


def test_what_is_no_approval_is_said(tmp_path):
    text = "part_no,proposed,approved,approved_by,approved_on\nS,3.2,perhaps,J,x\nT,1.5,1.6,,\nQ,4.4,-1,J,x\nR,10,,,\n"
    approvals, findings = read_approvals(written(tmp_path, text))
    assert [(f.code, f.row) for f in findings] == [("K022", 2), ("K023", 3), ("K022", 4)]
    assert approvals["approved"].tolist() == [None, Decimal("1.6"), None, None]


def test_file_without_its_columns_is_said(tmp_path):
    path = written(tmp_path, "a,b\n1,2\n")
    with pytest.raises(BadInput) as refused:
        read_approvals(path)
    assert refused.value.findings[0].code == "K021"
    assert path.read_text() == "a,b\n1,2\n"


def test_columns_that_people_added_are_kept(case, tmp_path):
    text = "part_no;proposed;approved;approved_by;approved_on;Ticket\nS;3,2;;;;77\nX;1;1;J;x;78\n"
    approvals, _ = read_approvals(written(tmp_path, text))
    proposed = reconcile(**case, approvals=approvals).proposed
    assert row(proposed, "S")["ticket"] == "77"
    assert row(proposed, "X")["ticket"] == "78"
    assert row(proposed, "T")["ticket"] == ""


def test_written_file_reads_back_the_same(case, tmp_path):
    """Write, read, reconcile and write again: nothing changes any more."""
    approvals, _ = read_approvals(
        written(tmp_path, "part_no,proposed,approved,approved_by,approved_on\nS,3.9,3.8,J,x\n")
    )
    first = reconcile(**case, approvals=approvals).proposed
    path = tmp_path / "standards_proposed.csv"
    first.to_csv(path, index=False)
    again, findings = read_approvals(path)
    assert findings == []
    second = reconcile(**case, approvals=again).proposed
    assert second.to_csv(index=False) == first.to_csv(index=False)
