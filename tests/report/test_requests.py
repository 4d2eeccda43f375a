"""Requests for quote: a file for each supplier, read back as quotes when answered, safe whatever the names are."""

from __future__ import annotations

import zipfile
from datetime import date
from types import SimpleNamespace

import openpyxl
import pandas as pd
import pytest
from made_decisions import AS_OF, market_of, row
from typer.testing import CliRunner

from bomaudit.cli import app
from bomaudit.glossary import QUOTES
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.report.requests import file_names, request_rows, write_requests
from bomaudit.tables import read_table

PARTS = [
    {"part_no": "A-1", "description": "=HYPERLINK(1)", "booked": 30, "today": 24, "sd": 0.1, "supplier": "S one",
     "annual_volume": 10_000.0, "price_currency": "USD", "uom": "m"},
    {"part_no": "+7", "description": "Größe 3 \u4e2d", "booked": 45, "today": 30, "sd": 0.2, "supplier": "S one",
     "annual_volume": 10_000.0, "price_currency": "EUR", "uom": "pc"},
    {"part_no": "=1+1", "description": "@x", "booked": 5, "today": 3, "sd": 0.2, "supplier": "../=evil|'",
     "annual_volume": 10_000.0, "price_currency": "EUR", "uom": "pc"},
    {"part_no": "007", "description": "", "booked": 40, "today": 25, "sd": 0.2, "supplier": "",
     "annual_volume": float("nan"), "price_currency": "EUR", "uom": ""},
]  # fmt: skip
ROWS = [row("D", o, p, part_no=p) for o, p in (("old", "A-1"), ("new", "007"))]


def made(*, show_last_price=False):
    market = market_of(PARTS, show_last_price=show_last_price)
    return SimpleNamespace(
        settings=market.settings, decided=market.decide(ROWS), lines=market.audited, currency="EUR", title="Made",
        as_of=AS_OF,
    )  # fmt: skip


def test_each_part_is_asked_for_at_three_quantities_and_a_part_of_an_option_for_what_it_would_need():
    rows = request_rows(made())
    assert rows.groupby("part_no")["min_qty"].apply(list).to_dict() == {
        p: [5_000, 10_000, 20_000] for p in ("A-1", "+7", "=1+1", "007")
    }
    assert rows.loc[
        rows["part_no"] == "A-1", ["uom", "currency", "supplier"]
    ].drop_duplicates().to_numpy().tolist() == [["m", "USD", "S one"]]
    assert not {"last_price", "booked_cost", "estimate"} & set(rows.columns)


def test_the_last_price_is_shown_where_the_settings_say_so():
    shown = request_rows(made(show_last_price=True)).drop_duplicates("part_no").set_index("part_no")
    assert shown.loc["A-1", ["last_price", "last_price_currency"]].tolist() == [30.0, "EUR"]


def answer(path, out, prices):
    """Fill in the workbook as a supplier would: a price and a day in some rows, in the columns by their heads."""
    book = openpyxl.load_workbook(path)
    sheet = book.active
    head = next(r for r in range(1, 10) if sheet.cell(r, 1).value == "part no")
    at = {str(c.value).replace(" ", "_"): c.column for c in sheet[head] if c.value}
    for r in range(head + 1, sheet.max_row + 1):
        price = prices.get((sheet.cell(r, at["part_no"]).value, sheet.cell(r, at["min_qty"]).value))
        if price:
            sheet.cell(r, at["unit_price"]).value = price
            sheet.cell(r, at["quote_date"]).value = date(2026, 6, 1)
            sheet.cell(r, at["kind"]).value = "budgetary"
    book.save(out)


@pytest.mark.parametrize("shown", [False, True])
def test_an_answered_request_is_read_back_as_quotes(tmp_path, shown):
    audit = made(show_last_price=shown)
    write_requests(audit, tmp_path / "out")
    prices = {("A-1", 5_000): 25.5, ("A-1", 20_000): 22.25, ("+7", 10_000): 31.0}
    answer(tmp_path / "out" / "request_S_one.xlsx", tmp_path / "answered.xlsx", prices)
    read = read_table(tmp_path / "answered.xlsx", QUOTES)
    market = market_of(PARTS)
    quotes, findings = prepare_quotes(read.frame, fx=market.fx, as_of=AS_OF)
    found = quotes.set_index(["part_no", "min_qty"])
    assert found["unit_price"].to_dict() == prices
    assert found["currency"].to_dict() == {("A-1", 5_000): "USD", ("A-1", 20_000): "USD", ("+7", 10_000): "EUR"}
    assert set(found["supplier"]) == {"S one"}
    assert set(found["kind"]) == {"budgetary"}
    assert set(found["annual_qty"]) == {10_000.0}
    assert set(found["quote_date"]) == {pd.Timestamp(2026, 6, 1)}
    assert [f.code for f in findings if f.severity != "note"] == []
    assert [f.code for f in findings] == ["Q007"]


def test_the_csv_file_is_read_back_too(tmp_path):
    write_requests(made(), tmp_path / "out")
    path = tmp_path / "out" / "request_S_one.csv"
    rows = pd.read_csv(path, dtype=str, keep_default_na=False)
    rows.loc[0, ["unit_price", "quote_date"]] = ["25.50", "2026-06-01"]
    rows.to_csv(tmp_path / "back.csv", index=False)
    quotes, _ = prepare_quotes(read_table(tmp_path / "back.csv", QUOTES).frame, fx=market_of(PARTS).fx, as_of=AS_OF)
    part_no = rows.loc[0, "part_no"].removeprefix("'")  # the guard against formulas comes off again
    assert quotes[["part_no", "unit_price", "supplier"]].to_numpy().tolist() == [[part_no, 25.5, "S one"]]


def test_no_text_becomes_a_formula_and_no_name_leaves_the_folder(tmp_path):
    written = write_requests(made(), tmp_path / "out")
    assert {p.parent for p in written} == {tmp_path / "out"}
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(p.name for p in written)
    for path in written:
        if path.suffix == ".csv":
            cells = pd.read_csv(path, dtype=str, keep_default_na=False)[["part_no", "description", "supplier"]]
            assert not cells.apply(lambda c: c.str.startswith(("=", "+", "-", "@"))).to_numpy().any()
        else:
            sheets = [n for n in zipfile.ZipFile(path).namelist() if n.startswith("xl/worksheets/sheet")]
            assert not any(b"<f>" in zipfile.ZipFile(path).read(n) for n in sheets)


def test_file_names_are_plain_and_no_two_are_alike():
    names = file_names(["a/b", "a b", "A*B", "", "..", "con", "Łódź GmbH & Co.", "x" * 300, "x" * 301])
    assert len({n.casefold() for n in names.values()}) == len(names)
    for name in names.values():
        assert name.startswith("request_")
        assert not set(name) & set('/\\:*?"<>|. ')
        assert len(name) < 80
    assert names[""] == "request_no_supplier_named"


def test_the_same_requests_twice_and_all_or_nothing(tmp_path, monkeypatch):
    audit = made()
    first = [p.read_bytes() for p in write_requests(audit, tmp_path / "a")]
    assert first == [p.read_bytes() for p in write_requests(audit, tmp_path / "b")]
    monkeypatch.setattr("bomaudit.report.requests.write_csv", lambda *_: (_ for _ in ()).throw(OSError("full")))
    with pytest.raises(OSError, match="full"):
        write_requests(audit, tmp_path / "c")
    assert not (tmp_path / "c").exists()
    with pytest.raises(OSError, match="full"):
        write_requests(audit, tmp_path / "a")
    assert [p.read_bytes() for p in sorted((tmp_path / "a").iterdir())] == [
        (tmp_path / "b" / p.name).read_bytes() for p in sorted((tmp_path / "a").iterdir())
    ]


def test_the_command_writes_the_requests_and_says_what_was_given(sample_folder, tmp_path):
    arguments = [
        "requote",
        str(sample_folder),
        "--out",
        str(tmp_path / "out"),
        "--set",
        "decision:battery.years_left=9",
    ]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0
    assert "years_left 9 instead of 8" in " ".join(done.stdout.split())
    written = sorted((tmp_path / "out").iterdir())
    assert f"{len(written)} files written" in done.stderr
    assert {p.suffix for p in written} == {".xlsx", ".csv"}
    rows = pd.concat([pd.read_csv(p) for p in written if p.suffix == ".csv"])
    pump = rows[rows["part_no"] == "ALT-3101"]  # only the register holds it: one a product, 9,000 products a year
    assert pump["annual_qty"].tolist() == [9000.0] * 3
