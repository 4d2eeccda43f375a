"""The workbook: what it shows without recalculation is what an office suite computes, and changes propagate."""

from __future__ import annotations

import dataclasses
import math
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from made_content import RISKY, made_content
from openpyxl.formula.translate import Translator

from bomaudit.report import content, workbook
from bomaudit.report.book import HEAD_ROW, LONGEST, fit
from bomaudit.report.book_decisions import discounted_years

OFFICE = shutil.which("soffice")
needs_office = pytest.mark.skipif(OFFICE is None, reason="no office suite (soffice) to recalculate the workbook with")


@pytest.fixture(scope="module")
def book(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("book") / "report.xlsx"
    workbook.write(made_content(40), path)
    return path


def recalculated(path: Path, out: Path) -> openpyxl.Workbook:
    """Open in a headless office suite, recalculate everything, save, read the results."""
    out.mkdir()
    profile = f"-env:UserInstallation=file://{out}/profile"
    subprocess.run(
        [OFFICE, profile, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", out, path],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    return openpyxl.load_workbook(out / path.name, data_only=True)


def without_results(path: Path, to: Path, changes: dict[tuple[str, str], float] | None = None) -> Path:
    """Copy with cells changed and no stored results: whatever is read later was computed."""
    copy = openpyxl.load_workbook(path)
    for (sheet, cell), value in (changes or {}).items():
        copy[sheet][cell] = value
    copy.save(to)
    return to


def cell_of(sheet, head: str, row: int) -> str:
    heads = {c.value: c.column_letter for c in sheet[HEAD_ROW + 1]}
    return f"{heads[head]}{HEAD_ROW + 1 + row}"


@needs_office
def test_every_stored_result_is_what_an_office_suite_computes(book, tmp_path):
    formulas = openpyxl.load_workbook(book)
    stored = openpyxl.load_workbook(book, data_only=True)
    computed = recalculated(without_results(book, tmp_path / "bare.xlsx"), tmp_path / "office")
    compared = 0
    for sheet in formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                ours, theirs = stored[sheet.title][cell.coordinate].value, computed[sheet.title][cell.coordinate].value
                assert theirs == pytest.approx(ours, rel=1e-6, abs=1e-9), (
                    f"{sheet.title}!{cell.coordinate} {cell.value}"
                )
                compared += 1
    assert compared > 150


def test_figures_are_shown_as_what_they_are(book):
    loaded = openpyxl.load_workbook(book)
    elements, decisions, lines = loaded["Elements"], loaded["Decisions"], loaded["Lines"]
    assert elements[cell_of(elements, "weight", 1)].number_format == "0.0000####", "one product in 45,000 is not 0.0000"
    for sheet, head in ((decisions, "p flip"), (decisions, "p pays back"), (lines, "p stale")):
        assert sheet[cell_of(sheet, head, 1)].number_format == '[<0.01]"<1%";[>0.99]">99%";0.0%', head
    quantity = cell_of(lines, "qty per", 1)
    rules = [r for area in lines.conditional_formatting if quantity in area.sqref for r in area.rules]
    assert [(r.formula[0], r.dxf.numFmt.formatCode) for r in rules] == [(f"{quantity}=INT({quantity})", "#,##0")]
    effects = loaded["Inputs by decision"]
    moved = cell_of(effects, "saving change", 1)
    assert effects[moved].number_format == "+#,##0.00##;-#,##0.00##;0.00", "tenths of a cent are not +0.00"
    for sheet, at, small in ((lines, cell_of(lines, "estimate", 1), "0.00######"),
                             (effects, moved, "+0.00######;-0.00######")):  # fmt: skip
        rules = [r for area in sheet.conditional_formatting if at in area.sqref for r in area.rules]
        assert (f"AND({at}<>0,ABS({at})<0.001)", small) in {
            (r.formula[0], r.dxf.numFmt.formatCode) for r in rules if r.dxf and r.dxf.numFmt
        }, "a price of 0.000012 is not 0.00"


@needs_office
def test_a_changed_estimate_moves_exposure_saving_and_present_value(book, tmp_path):
    source = openpyxl.load_workbook(book, data_only=True)
    elements, lines, decisions = source["Elements"], source["Lines"], source["Decisions"]
    row = next(r for r in range(1, 30) if elements[cell_of(elements, "line id", r)].value)
    line = elements[cell_of(elements, "line id", row)].value
    at = next(r for r in range(1, 41) if lines[cell_of(lines, "line id", r)].value == line)
    estimate = cell_of(lines, "estimate", at)
    dearer = lines[estimate].value + 10
    changed = {("Lines", estimate): dearer}
    new = recalculated(without_results(book, tmp_path / "changed.xlsx", changed), tmp_path / "office")
    quantity = lines[cell_of(lines, "qty per", at)].value * lines[cell_of(lines, "annual volume", at)].value
    fell = (
        lines[cell_of(lines, "exposure per year", at)].value
        - new["Lines"][cell_of(lines, "exposure per year", at)].value
    )
    assert fell == pytest.approx(10 * quantity)
    # two of the part in both options: what each costs rises, the saving does not move
    today = cell_of(elements, "today per unit", row)
    assert new["Elements"][today].value == pytest.approx(elements[today].value + 20)
    saving = cell_of(decisions, "saving today", 1)
    assert new["Decisions"][saving].value == pytest.approx(decisions[saving].value)


@needs_office
def test_a_changed_discount_rate_and_volume_move_present_value(book, tmp_path):
    source = openpyxl.load_workbook(book, data_only=True)
    names, decisions = source["Assumptions"], source["Decisions"]
    rate = next(f"B{r}" for r in range(1, 40) if names[f"A{r}"].value == "decide.discount_rate")
    volume = cell_of(decisions, "annual volume", 1)
    changed = {("Assumptions", rate): 0.02, ("Decisions", volume): 1000.0}
    new = recalculated(without_results(book, tmp_path / "changed.xlsx", changed), tmp_path / "office")["Decisions"]
    # 2 % nominal and 2 % inflation: no discounting, five years of 1,000 products
    assert new[cell_of(decisions, "discounted products", 1)].value == pytest.approx(5000)
    saving = new[cell_of(decisions, "saving today", 1)].value
    cost = decisions[cell_of(decisions, "change cost", 1)].value
    assert new[cell_of(decisions, "npv", 1)].value == pytest.approx(-5000 * saving - cost)


@needs_office
def test_names_that_a_condition_of_a_sheet_would_read_otherwise_keep_their_figures(tmp_path):
    named = {"pump": "mot*", "motor": "mote?", "gear": "<60 W>", "membrane": ">60 W", "brushed": "*",
             "brushless": "~x?", "moulded": "STEEL", "bought": "01", "own": "1"}  # fmt: skip
    made = made_content(40)
    columns = ["decision", "option", "chosen", "best_today", "switch_to"]
    frames = {f: getattr(made, f) for f in ("decisions", "elements", "savings", "inputs")}
    frames = {f: v.assign(**{c: v[c].replace(named) for c in columns if c in v}) for f, v in frames.items()}
    path = tmp_path / "report.xlsx"
    workbook.write(dataclasses.replace(made, **frames, growth=made.growth.rename(named)), path)
    source = openpyxl.load_workbook(path)["Decisions"]
    row_of = {source[cell_of(source, "decision", r)].value: r for r in range(1, 6)}
    kinds = {name: source[cell_of(source, "saving today", r)].data_type for name, r in row_of.items()}
    assert kinds == {"mot*": "f", "mote?": "f", "hood": "n", "seat": "n", "brake": "f"}  # one to a sheet: no formula
    new = recalculated(without_results(path, tmp_path / "bare.xlsx"), tmp_path / "office")
    for d in frames["decisions"].itertuples():
        at = row_of[d.decision]
        assert new["Decisions"][cell_of(source, "saving today", at)].value == pytest.approx(d.saving_today)
        assert new["Decisions"][cell_of(source, "npv", at)].value == pytest.approx(d.npv)
    effects = new["Inputs by decision"]
    told = {effects[cell_of(effects, "decision", r)].value: effects[cell_of(effects, "saving today", r)].value
            for r in range(1, 6)}  # fmt: skip
    assert told == pytest.approx(
        dict(zip(frames["decisions"]["decision"], made.decisions["saving_today"], strict=True))
    )


def test_saving_and_present_value_are_formulas_where_elements_give_them(book):
    decisions = openpyxl.load_workbook(book)["Decisions"]
    for row in range(1, 6):
        assert decisions[cell_of(decisions, "saving today", row)].data_type == "f"
        assert decisions[cell_of(decisions, "npv", row)].data_type == "f"


def test_text_that_looks_like_a_formula_stays_text(book):
    lines = openpyxl.load_workbook(book)["Lines"]
    cells = [c for row in lines.iter_rows() for c in row if c.value == RISKY]
    assert cells
    assert all(c.data_type == "s" and c.hyperlink is None for c in cells)


def test_every_line_of_the_bom_stands_in_the_book_once(book):
    lines = openpyxl.load_workbook(book)["Lines"]
    ids = [lines[cell_of(lines, "line id", r)].value for r in range(1, 41)]
    assert sorted(ids) == [f"L{k:04d}" for k in range(1, 41)]


def test_same_audit_same_bytes(book, tmp_path):
    again = tmp_path / "again.xlsx"
    workbook.write(made_content(40), again)
    assert again.read_bytes() == book.read_bytes()


def test_a_book_that_holds_fewer_lines_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(content, "MOST_ROWS", 10)
    monkeypatch.setattr(content, "WHOLE", 11)
    workbook.write(made_content(40), tmp_path / "cut.xlsx")
    lines = openpyxl.load_workbook(tmp_path / "cut.xlsx")["Lines"]
    assert "10 of 40 lines" in lines["A2"].value


def test_a_text_too_long_for_a_cell_is_cut_and_says_so():
    assert fit("a" * 40_000) == "a" * LONGEST + " [cut here: 40000 characters]"
    assert fit("short") == "short"


def test_heads_are_frozen_filtered_explained_and_printed_on_each_page(book):
    for name in ("Decisions", "Lines", "Re-quotes", "Findings", "Assumptions", "Elements", "Markets"):
        sheet = openpyxl.load_workbook(book)[name]
        assert sheet.freeze_panes == f"C{HEAD_ROW + 2}", name
        assert sheet.auto_filter.ref, name
        assert sheet.print_title_rows == f"${HEAD_ROW + 1}:${HEAD_ROW + 1}", name
    lines = openpyxl.load_workbook(book)["Lines"]
    assert lines[cell_of(lines, "drift", 0)].comment.text.startswith("estimate / booked_cost - 1")


def test_annuity_of_the_sheet_is_the_textbook_one():
    # 5 years at 8 %: 3.9927, printed annuity tables in any finance text, e.g. Brealey, Myers and Allen, table 3
    assert discounted_years([5.0], [0.0], 0.08, 1.0)[0] == pytest.approx(3.9927, abs=5e-5)
    assert discounted_years([2.5], [0.0], 0.0, 0.5)[0] == pytest.approx(2.5)
    assert math.isclose(discounted_years([3.0], [0.1], 0.1, 1.0)[0], 3 / 1.1)


@needs_office
def test_a_changed_input_price_moves_what_it_adds_and_the_savings(book, tmp_path):
    source = openpyxl.load_workbook(book, data_only=True)
    inputs, effects = source["Inputs"], source["Inputs by decision"]
    row = next(r for r in range(1, 9) if inputs[cell_of(inputs, "input", r)].value == "copper")
    changed = {("Inputs", cell_of(inputs, "change", row)): -0.5}
    new = recalculated(without_results(book, tmp_path / "changed.xlsx", changed), tmp_path / "office")
    spend = inputs[cell_of(inputs, "spend per year", row)].value
    assert new["Inputs"][cell_of(inputs, "adds per year", row)].value == pytest.approx(-0.5 * spend)
    today, doubled = (effects[cell_of(effects, n, 1)].value for n in ("saving today", "saving change"))
    then = new["Inputs by decision"][cell_of(effects, "saving then", 1)].value
    assert then == pytest.approx(today - 0.5 * doubled)


def test_chances_of_a_saving_stand_beside_each_decision(book):
    sheet = openpyxl.load_workbook(book, data_only=True)["Decisions"]
    for row in range(1, 6):
        values = [sheet[cell_of(sheet, f"saving {q}", row)].value for q in (5, 25, 50, 75, 95)]
        assert values == sorted(values)
        assert values[2] == pytest.approx(sheet[cell_of(sheet, "saving today", row)].value)


@needs_office
def test_decisions_of_the_summary_keep_their_figures_when_the_sheet_of_decisions_is_sorted(book, tmp_path):
    source, bare = openpyxl.load_workbook(book, data_only=True), openpyxl.load_workbook(book)
    decisions = bare["Decisions"]
    for column in range(1, decisions.max_column + 1):  # the first two decisions change places, as by sorting
        above, below = (decisions.cell(HEAD_ROW + 2 + k, column) for k in (0, 1))
        first, second = (Translator(str(c.value), c.coordinate) if c.data_type == "f" else None for c in (above, below))
        above.value, below.value = (
            second.translate_formula(above.coordinate) if second else below.value,
            first.translate_formula(below.coordinate) if first else above.value,
        )
    bare.save(tmp_path / "sorted.xlsx")
    new = recalculated(tmp_path / "sorted.xlsx", tmp_path / "office")["Summary"]
    old = source["Summary"]
    places = [c.row for c in old["G"] if c.value in set(made_content(40).decisions["decision"])]
    assert len(places) == 5
    for row in places:
        for column in "HI":
            assert new[f"{column}{row}"].value == pytest.approx(old[f"{column}{row}"].value), old[f"G{row}"].value


def test_a_book_of_lines_without_any_estimate_is_written(tmp_path):
    made = made_content(40)
    unknown = made.lines.assign(estimate=math.nan, drift=math.nan, exposure_per_year=math.nan)
    path = tmp_path / "report.xlsx"
    workbook.write(dataclasses.replace(made, lines=unknown), path)
    assert len(openpyxl.load_workbook(path)["Summary"]._charts) == 1  # that of the decisions
