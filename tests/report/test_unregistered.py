"""Without a register the report names candidates, and says that they are to be confirmed."""

from __future__ import annotations

import dataclasses
from io import StringIO

import openpyxl
import pandas as pd
import pytest
from made_content import made_content
from rich.console import Console

from bomaudit.decide.candidates import HEADROOM, LOOK_ALIKES
from bomaudit.report import page, terminal, words, workbook

ALIKE = ["L0001", "00001-A", "<b>Pump</b> of Supplier A", "pump", "electronic_pump", "pump", 2.5, 1.4, 4.0, 120_000.0]
WIDE = ["L0002", "00002-A", "Frame", "sheet_metal_part", 0.4, 3.25, 1.0, 5.0, 13_650.0]


DECISION_PARTS = ("decisions", "elements", "options", "tornado", "drivers", "paths", "portfolio")


def without_decisions():
    content = made_content()
    return dataclasses.replace(content, **{name: getattr(content, name).iloc[:0] for name in DECISION_PARTS})


@pytest.fixture
def bare():
    return dataclasses.replace(
        without_decisions(),
        candidates=pd.DataFrame([ALIKE], columns=list(LOOK_ALIKES)),
        headroom=pd.DataFrame([WIDE], columns=list(HEADROOM)),
    )  # fmt: skip


def registered(bare):
    """The same with a register: what it holds comes first."""
    content = made_content()
    return dataclasses.replace(content, candidates=bare.candidates, headroom=bare.headroom)


def printed(content):
    out = StringIO()
    terminal.show_summary(content, Console(width=80, no_color=True, highlight=False, file=out))
    return " ".join(out.getvalue().split())


def test_terminal(bare):
    text = printed(bare)
    assert words.CANDIDATES in text
    assert "pump → electronic pump" in text
    assert "2.50 (1.40 to 4.00)" in text
    assert "for it: it got dearer" in text
    assert "3.25" in text
    assert "Candidates to confirm" not in printed(registered(bare))


def test_the_interval_of_a_saving_that_a_fall_undoes_lies_around_it(bare):
    fell = bare.headroom.assign(drift=-0.4, headroom=-3.25, headroom_low=-5.0, headroom_high=1.0, per_year=-13_650.0)
    content = dataclasses.replace(bare, headroom=fell)
    assert "against it: it got cheaper (-1.00 to +5.00)" in printed(content)
    assert "\u22121.00 to +5.00" in page.render(content)


def test_page(bare):
    html = page.render(bare)
    assert words.CANDIDATES in html
    assert "electronic pump" in html
    assert "&lt;b&gt;Pump" in html
    assert "<b>Pump" not in html
    assert "alike-table" not in page.render(registered(bare))


def test_workbook(bare, tmp_path):
    workbook.write(bare, tmp_path / "report.xlsx")
    book = openpyxl.load_workbook(tmp_path / "report.xlsx")
    for name, value in (("Look-alikes", "electronic_pump"), ("Headroom", 3.25)):
        cells = {c.value for row in book[name].iter_rows() for c in row}
        assert value in cells
        assert words.SHEET[name] in cells
        assert "confirm" in words.SHEET[name]


def test_nothing_to_show_is_no_empty_table():
    content = without_decisions()
    assert "Candidates to confirm" not in printed(content)
    assert "Candidates to confirm" not in page.render(content)
