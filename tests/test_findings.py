"""A finding names file, sheet and cell, what must hold, what was found, what was done and the remedy."""

from bomaudit.findings import BadInput, error, in_order, note, to_frame, warning


def test_a_finding_reads_as_one_line():
    finding = error("B001", "qty must be > 0", file="bom.xlsx", sheet="BOM", row=14, column="F", found="'four'",
                    assumed="line left out", advice="correct the cell")  # fmt: skip
    assert str(finding) == "bom.xlsx:BOM!F14: qty must be > 0, found 'four'; line left out; correct the cell"


def test_worst_comes_first_and_twice_counts_once():
    mild, bad = note("A", "x", file="b"), error("A", "x", file="z")
    assert in_order([mild, bad, mild, warning("A", "y")])[0] is bad
    assert len(in_order([mild, mild])) == 1


def test_an_empty_list_still_has_its_columns():
    assert list(to_frame([]).columns)[:3] == ["code", "severity", "message"]


def test_bad_input_carries_its_findings():
    problem = BadInput(error("A", "first"), error("B", "second"))
    assert [f.code for f in problem.findings] == ["A", "B"]
    assert "first; second" in str(problem)
