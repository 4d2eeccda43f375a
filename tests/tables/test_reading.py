"""A well-made audit folder reads as it is written."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bomaudit.findings import BadInput
from bomaudit.glossary import BOM, PLACE_COLUMNS, QUOTES, TABLES_IN
from bomaudit.settings import from_dict
from bomaudit.tables import read_audit, read_table

CLEAN = """part_no,description,qty,uom,unit_cost,currency,cost_date,level,annual_volume,safety_relevant
A-100,drive unit,1,pcs,,EUR,,1,1000,no
M-200,gear motor 24 V,2,pcs,41.50,EUR,2019-03-31,2,1000,yes
00123,washer,8,pcs,0.012,EUR,2018-07-01,2,1000,no
B-300,bracket,1,pcs,3.20,EUR,Q2 2020,1,1000,
"""


def test_a_clean_csv_reads_by_its_canonical_names(tmp_path):
    (tmp_path / "bom.csv").write_text(CLEAN)
    got = read_table(tmp_path / "bom.csv", BOM)
    frame = got.frame
    assert set(BOM.names) | set(PLACE_COLUMNS) | {"row_kind", "unit_cost_low", "unit_cost_high", "parent_row"} <= set(
        frame
    )
    assert frame["part_no"].tolist() == ["A-100", "M-200", "00123", "B-300"]
    assert frame["unit_cost"].tolist()[1:] == [41.5, 0.012, 3.2]
    assert np.isnan(frame["unit_cost"][0])
    assert frame["parent_row"].tolist() == [-1, 0, 0, -1]
    assert frame["row_kind"].tolist() == ["assembly", "part", "part", "part"]
    assert frame["cost_date"][1] == pd.Timestamp("2019-03-31")
    assert frame["cost_date"][3] == pd.Timestamp("2020-06-30")
    assert frame["safety_relevant"].tolist()[:3] == [False, True, False]
    assert frame["source_row"].tolist() == [2, 3, 4, 5]
    assert set(got.mapping["how"]) == {"exact"}


FILLED = {"text": "words", "code": "X1", "money": "2.5", "number": "3", "share": "0.25", "date": "2024-03-31",
          "period": "2024", "flag": "yes"}  # fmt: skip
FILLED_AS = {"kind": "part", "basis": "once", "currency": "EUR", "uom": "pcs", "make_buy": "buy", "sourcing": "custom"}


@pytest.mark.parametrize("table", TABLES_IN.values(), ids=lambda t: t.name)
def test_every_column_of_the_glossary_is_read_under_its_own_name(tmp_path, table):
    cells = [FILLED_AS.get(c.name, FILLED[c.kind]) for c in table.columns]
    (tmp_path / "t.csv").write_text("\n".join(",".join(row) for row in (table.names, cells, cells)) + "\n")
    mapping = read_table(tmp_path / "t.csv", table).mapping
    assert dict(zip(mapping["canonical"], mapping["how"], strict=True)) == dict.fromkeys(table.names, "exact")


def test_an_audit_folder_reads_every_table_and_types_the_absent_ones(tmp_path):
    (tmp_path / "bom.csv").write_text(CLEAN)
    (tmp_path / "quotes.csv").write_text(
        "part_no,quote_date,unit_price,currency,kind\nM-200,2019-03-01,41.5,EUR,firm\n"
    )
    inputs = read_audit(tmp_path, from_dict({"files": {"bom": "bom.csv", "quotes": "quotes.csv"}}))
    assert set(inputs.tables) == set(TABLES_IN)
    assert inputs.present["quotes"] == ("part_no", "quote_date", "unit_price", "currency", "kind")
    assert "fx" not in inputs.present
    assert list(inputs.tables["fx"].columns) == [*TABLES_IN["fx"].names, *PLACE_COLUMNS]
    assert inputs.tables["quotes"]["quote_date"][0] == pd.Timestamp("2019-03-01")
    assert set(inputs.hashes) == {"bom.csv", "quotes.csv"}


def test_prices_of_other_tables_are_for_one_piece_too(tmp_path):
    rows = "A,2024-01-31,3.60 per 100,EUR\nB,2024-01-31,36 EUR/1000,EUR\nC,2024-01-31,0.04 EUR/pc,EUR\n"
    (tmp_path / "quotes.csv").write_text("part_no,quote_date,unit_price,currency\n" + rows)
    got = read_table(tmp_path / "quotes.csv", QUOTES)
    assert got.frame["unit_price"].tolist() == pytest.approx([0.036, 0.036, 0.04])
    assert [(f.code, f.row) for f in got.findings] == [("T052", 2), ("T052", 3)]


def test_units_and_currencies_of_quotes_are_read_wherever_they_stand(tmp_path):
    """Beside the price, in columns of their own as ERP systems print them, or in the header: each in its place."""
    rows = "A,12 EUR/kg,,,\nB,EUR 5 / m,,,\nC,3.40,100,pcs,\nD,7.00,100 kg,,€\nE,12 EUR/kg,,g,\nF,4.10,,,\n"
    (tmp_path / "q.csv").write_text("part_no,unit_price (CHF),price_per,uom,currency,quote_date\n"
                                    + rows.replace("\n", ",2024-01-31\n"))  # fmt: skip
    frame = read_table(tmp_path / "q.csv", QUOTES).frame.set_index("part_no")
    assert frame["unit_price"].tolist() == pytest.approx([12.0, 5.0, 0.034, 0.07, 0.012, 4.1])
    assert frame["uom"].tolist() == ["kg", "m", "pcs", "kg", "g", ""]
    assert frame["currency"].tolist() == ["EUR", "EUR", "CHF", "EUR", "EUR", "CHF"]


def test_standards_are_for_as_many_pieces_as_the_table_says(tmp_path):
    (tmp_path / "s.csv").write_text("part_no;standard_cost;currency;price_per;last_purchase_price\nA;340;EUR;100;350\n")
    got = read_table(tmp_path / "s.csv", TABLES_IN["standards"])
    assert got.frame[["standard_cost", "last_purchase_price"]].iloc[0].tolist() == [3.4, 3.5]
    assert {f.code for f in got.findings} == {"T052"}


def test_a_number_format_names_the_currency_of_quotes_too(tmp_path):
    with pd.ExcelWriter(tmp_path / "q.xlsx", engine="openpyxl") as book:
        pd.DataFrame({"part_no": ["A"], "quote_date": ["2024-01-31"], "unit_price": [3.1]}).to_excel(book, index=False)
        book.book.worksheets[0]["C2"].number_format = "[$£-809]#,##0.00"
    got = read_table(tmp_path / "q.xlsx", QUOTES)
    assert got.frame["currency"].tolist() == ["GBP"]
    assert {f.code for f in got.findings} == {"T059"}


def test_headers_of_quotes_say_what_prices_are_for(tmp_path):
    rows = "part_no;quote_date;Unit price EUR / 100;Price UoM\nA;2024-01-31;340,00;kg\nB;2024-01-31;12,50;\n"
    (tmp_path / "q.csv").write_text(rows)
    frame = read_table(tmp_path / "q.csv", QUOTES).frame
    assert frame["unit_price"].tolist() == [3.4, 0.125]
    assert frame["uom"].tolist() == ["kg", ""]


def test_a_missing_file_is_said_with_its_name(tmp_path):
    with pytest.raises(BadInput, match=r"nothing\.csv"):
        read_table(Path(tmp_path / "nothing.csv"), QUOTES)


def test_the_same_table_reads_the_same_from_every_file_type(tmp_path):
    frame = pd.DataFrame({
        "part_no": ["A1", "007"], "description": ["motor", "nut"], "qty": [1.0, 4.0], "unit_cost": [10.5, 0.02],
        "currency": ["EUR", "EUR"], "cost_date": pd.to_datetime(["2019-03-01", "2020-01-02"]),
    })  # fmt: skip
    frame.to_excel(tmp_path / "b.xlsx", index=False)
    frame.to_csv(tmp_path / "b.csv", index=False)
    frame.to_csv(tmp_path / "b.tsv", index=False, sep="\t")
    frame.to_parquet(tmp_path / "b.parquet", index=False)
    for name in ("b.xlsx", "b.csv", "b.tsv", "b.parquet"):
        got = read_table(tmp_path / name, BOM).frame
        for column in frame.columns:
            assert got[column].tolist() == frame[column].tolist(), (name, column)


@pytest.mark.parametrize("title", ["", "title,"])
def test_a_register_without_part_numbers_keeps_its_elements_and_titles(tmp_path, title):
    """Both are words for a thing as well, but name columns of the register: neither stands in for the part number."""
    path = tmp_path / "decisions.csv"
    path.write_text(
        f"decision,{title}option,chosen,element,kind,amount\n"
        + "".join(
            f"D,{'which pump,' if title else ''}{option},{mark},{what},other,{amount}\n"
            for option, mark, what, amount in (("a", "y", "pump", 20), ("b", "n", "other pump", 12))
        )
    )
    frame = read_table(path, TABLES_IN["decisions"]).frame
    assert frame["element"].tolist() == ["pump", "other pump"]
    assert frame["title"].tolist() == (["which pump"] * 2 if title else ["", ""])
    assert frame["part_no"].tolist() == ["", ""]


@pytest.mark.parametrize(
    ("table", "prices"), [("quotes", ("unit_price",)), ("standards", ("standard_cost", "last_purchase_price"))]
)
def test_prices_that_a_column_states_for_a_hundred_are_brought_to_one(tmp_path, table, prices):
    path = tmp_path / f"{table}.csv"
    path.write_text(
        f"part_no,quote_date,{','.join(prices)},price_per\n"
        f"S,2026-01-20{',4.10' * len(prices)},100\n"
        f"M,2026-01-20{',41' * len(prices)},\n"
    )
    got = read_table(path, TABLES_IN[table])
    for name in prices:
        assert got.frame[name].tolist() == pytest.approx([0.041, 41.0])


@pytest.mark.parametrize(
    "case",
    [("Preis [ct]", "41", 0.41, ""), ("Preis T€", "1,2", 1200.0, "EUR"), ("Price kUSD", "0.5", 500.0, "USD"),
     ("CT price EUR", "41", 41.0, "EUR")],
)  # fmt: skip
@pytest.mark.parametrize("table", ["bom", "quotes"])
def test_prices_headed_in_cents_or_thousands_are_brought_to_the_currency(tmp_path, table, case):
    """Common practice, no published source: T€ is thousands of euros, ct hundredths of the currency."""
    header, cell, price, currency = case
    path = tmp_path / f"{table}.csv"
    path.write_text(f"Part no;Qty;Quote date;{header}\nA-1;2;2024-01-31;{cell}\nA-2;1;2024-01-31;{cell}\n")
    got = read_table(path, TABLES_IN[table])
    assert got.frame["unit_cost" if table == "bom" else "unit_price"].tolist() == pytest.approx([price] * 2)
    assert got.frame["currency"].tolist() == [currency] * 2
    assert [f.found for f in got.findings if f.code == "T092"] == ([] if price == 41 else [repr(header)])


def test_years_that_a_data_frame_wrote_with_a_point_are_years(tmp_path):
    """Beside an empty cell its years are 2012.0: none of them was known."""
    (tmp_path / "v.csv").write_text("commodity,period,volume\nsensor,2012.0,5\nsensor,2013.0,6\n", encoding="utf-8")
    read = read_table(tmp_path / "v.csv", TABLES_IN["volumes"])
    assert read.frame["period"].dt.strftime("%Y-%m-%d").tolist() == ["2012-12-31", "2013-12-31"]
    assert not read.findings


@pytest.mark.parametrize("first", [2009, 2010])
def test_financial_years_are_not_taken_for_months(tmp_path, first):
    """2009/10, 2010/11 and 2011/12 were October 2009, November 2010 and December 2011, in silence."""
    rows = "".join(f"sensor,{first + k}/{(first + k + 1) % 100},{5 + k}\n" for k in range(3))
    (tmp_path / "v.csv").write_text("commodity,period,volume\n" + rows, encoding="utf-8")
    read = read_table(tmp_path / "v.csv", TABLES_IN["volumes"])
    assert read.frame["period"].isna().all()
    assert [f.code for f in read.findings] == ["T040"] * 3


def test_months_that_are_a_year_and_one_apart_are_months(tmp_path):
    (tmp_path / "v.csv").write_text(
        "commodity,period,volume\nx,2009/10,5\nx,2010/11,6\nx,2011/03,6\n", encoding="utf-8"
    )
    read = read_table(tmp_path / "v.csv", TABLES_IN["volumes"])
    assert read.frame["period"].dt.strftime("%Y-%m").tolist() == ["2009-10", "2010-11", "2011-03"]
