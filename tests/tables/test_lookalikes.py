"""Invented bills of materials with the oddities that published ones have, one oddity a test."""

import datetime as dt
import re
import zipfile

import numpy as np
import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import Alignment

from bomaudit.audit import audit
from bomaudit.findings import BadInput
from bomaudit.glossary import BOM, QUOTES
from bomaudit.settings import ReadSection, from_dict
from bomaudit.tables import read_audit, read_table
from bomaudit.tables.words import label_kind

LINES = [
    ["Base plate", 2, 3.5, 7.0],
    ["Gear motor", 1, 41.0, 41.0],
    ["Washer M6", 8, 0.25, 2.0],
    ["Cover", 3, 1.1, 3.3],
]
HEAD = ["Item", "Qty", "Unit price", "Total"]


def codes(got):
    return {f.code for f in got.findings}


def columns(got):
    return dict(zip(got.mapping["canonical"], got.mapping["column"], strict=True))


def kinds(got):
    return dict(zip(got.rows["row"], got.rows["kind"], strict=True))


def booked(got, *which):
    frame = got.frame[got.frame["row_kind"].isin(which or ("part",))]
    return round(float((frame["qty"] * frame["unit_cost"]).sum()), 4)


# ------------------------------------------------------------ where the table is


def test_title_rows_and_blank_rows_above_the_header(read_rows):
    got = read_rows(
        [["Sweeper S2, parts list"], ["Prepared for the spring review"], [], ["", "Rev", "C"], [], HEAD, *LINES]
    )
    assert [k for r, k in kinds(got).items() if r == 6] == ["header"]
    assert len(got.frame) == 4
    assert booked(got) == 53.3


def test_section_headings_are_no_lines(read_rows):
    got = read_rows([HEAD, ["Drive"], LINES[0], LINES[1], [], ["Housing"], LINES[2], LINES[3]])
    assert kinds(got)[2] == kinds(got)[6] == "heading"
    assert len(got.frame) == 4


def test_section_headings_in_a_column_of_their_own(read_rows):
    rows = [
        ["Group", *HEAD],
        ["Drive"],
        ["", *LINES[0]],
        ["", *LINES[1]],
        ["Housing"],
        ["", *LINES[2]],
        ["", *LINES[3]],
    ]
    got = read_rows(rows)
    assert kinds(got)[2] == kinds(got)[5] == "heading"
    assert len(got.frame) == 4


def test_header_repeated_down_the_sheet(read_rows):
    got = read_rows([HEAD, *LINES[:2], HEAD, *LINES[2:]])
    assert kinds(got)[4] == "header"
    assert booked(got) == 53.3


def test_header_in_two_tiers_with_merged_group_titles(read_rows):
    def merge(book):
        book["BOM"].merge_cells("C1:D1")

    rows = [["", "", "Cost per", ""], ["Part", "Qty", "piece", "line"], *LINES]
    got = read_rows(rows, dress=merge)
    assert columns(got)["unit_cost"] == "C"
    assert columns(got)["extended_cost"] == "D"
    assert len(got.frame) == 4


TIERED = [
    ["Part", "Description", "Qty", "", "Cost (EUR)", ""],
    ["", "", "per year", "per assy", "Unit", "Total"],
    ["A-100", "bracket", 20000, 2, 1.5, 3.0],
    ["A-200", "motor", 10000, 1, 41, 41],
    ["A-300", "washer", 80000, 8, 0.02, 0.16],
]


@pytest.mark.parametrize("total", [True, False])
@pytest.mark.parametrize("merged", [True, False])
def test_two_rows_of_headers_are_one_header(read_rows, total, merged):
    """They were read as two tables, or the first row alone: quantities a year were built into one product."""
    areas = (["A1:A2", "B1:B2", "C1:D1"] + ["E1:F1"] * total) if merged else []
    got = read_rows([row[: 5 + total] for row in TIERED], dress=lambda b: [b["BOM"].merge_cells(a) for a in areas])
    assert kinds(got) == {1: "header", 2: "header", 3: "part", 4: "part", 5: "part"}
    assert got.frame["part_no"].tolist() == ["A-100", "A-200", "A-300"]
    assert got.frame["qty"].tolist() == [2, 1, 8]
    assert got.frame["unit_cost"].tolist() == [1.5, 41, 0.02]
    assert got.frame["currency"].tolist() == ["EUR"] * 3
    assert not {"T053", "T068", "T056"} & codes(got)


def test_a_group_title_of_a_text_file_names_the_currency_and_the_thousands(read_text):
    got = read_text(
        "Part;Description;Qty;Cost (T€);\n;;per assy;Unit;Total\nA-100;press;2;1,5;3\nA-200;robot;1;41;41\n"
    )
    assert got.frame["unit_cost"].tolist() == [1500, 41000]
    assert got.frame["currency"].tolist() == ["EUR", "EUR"]


def test_years_below_a_header_are_its_lower_tier(read_rows):
    rows = [["Part no", "Description", "Qty", "Unit cost EUR"], ["", "", "", 2019, 2021, 2024]]
    got = read_rows([*rows, ["A-1", "motor", 1, 10, 11, 12], ["A-2", "pump", 2, 20, 21, 22]])
    assert got.frame["unit_cost"].tolist() == [12, 22]
    assert "T096" in codes(got)


def test_a_title_above_a_header_is_no_part_of_it(read_text):
    got = read_text("Cost;;;;Rev B\nPart number;Description;Foo;Qty;Unit cost EUR\nA-1;motor;3;1;40\nA-2;pump;4;2;10\n")
    assert kinds(got)[1] == "note"
    assert columns(got)["unit_cost"] == "E"


def test_no_header_is_told_by_content_and_said(read_rows):
    got = read_rows([*LINES, ["Sum", "", "", 53.3]])
    assert booked(got) == 53.3
    assert "T029" in codes(got)
    assert columns(got) == {"description": "A", "qty": "B", "unit_cost": "C", "extended_cost": "D"}


def test_transposed_table(read_rows):
    rows = [[HEAD[i], *(line[i] for line in LINES)] for i in range(4)]
    got = read_rows(rows)
    assert booked(got) == 53.3
    assert "T066" in codes(got)


def test_tables_side_by_side_that_are_variants(read_rows):
    left = [
        ["Item", "Qty", "Price"],
        ["Rail 390 mm", 1, 12.0],
        ["Screw M3", 12, 0.1],
        ["Nut M3", 12, 0.1],
        ["Belt", 1, 4.0],
        ["Foot", 4, 1.0],
    ]
    right = [
        ["Item", "Qty", "Price"],
        ["Rail 340 mm", 1, 11.0],
        ["Screw M3", 6, 0.1],
        ["Nut M3", 6, 0.1],
        ["Belt", 1, 4.0],
        ["", "", ""],
    ]
    got = read_rows([[*a, "", *b] for a, b in zip(left, right, strict=True)])
    assert got.frame["row_kind"].value_counts().to_dict() == {"part": 5, "alternative": 4}
    assert "T069" in codes(got)


def test_tables_side_by_side_with_different_lines_are_added(read_rows):
    left = [["Part", "Qty", "Price"], ["Rail", 1, 12.0], ["Screw", 12, 0.1], ["Belt", 1, 4.0]]
    right = [["Part", "Qty", "Price"], ["Board", 1, 11.0], ["Cable", 6, 0.1], ["Fuse", 1, 0.4]]
    got = read_rows([[*a, "", *b] for a, b in zip(left, right, strict=True)])
    assert got.frame["row_kind"].tolist() == ["part"] * 6
    assert "T069" in codes(got)


def test_stacked_blocks_with_different_headers(read_rows):
    second = [
        ["Electronics"],
        ["Name", "Supplier", "Price", "Quantity"],
        ["Board", "Invented Boards", 20.0, 1],
        ["Cable", "Invented Cables", 1.5, 4],
    ]
    got = read_rows([HEAD, *LINES, [], *second])
    assert booked(got) == pytest.approx(53.3 + 26.0)
    assert len(got.frame) == 6


def test_an_older_copy_of_the_sheet_is_named_not_added(read_rows):
    newer = [HEAD, *LINES, ["Bumper", 1, 2.0, 2.0]]
    got = read_rows({"BOM": newer, "BOM old": [HEAD, *LINES]})
    assert len(got.frame) == 5
    assert "T024" in codes(got)


@pytest.mark.parametrize(
    ("names", "read"),
    [
        (("BOM rev A", "BOM rev B"), "BOM rev B"),
        (("BOM rev B", "BOM rev A"), "BOM rev B"),
        (("BOM_v9", "BOM_v10"), "BOM_v10"),
        (("BOM 2022-01", "BOM 2024-06"), "BOM 2024-06"),
        (("Motor rev A", "Pump rev B"), "Motor rev A"),  # of two things
    ],
)
def test_of_several_revisions_of_a_sheet_the_newest_is_read(read_rows, names, read):
    """The first sheet was read: an old revision wherever the newer ones stand behind it."""
    got = read_rows({name: [HEAD, *LINES] for name in names})
    assert got.frame["source_sheet"].unique().tolist() == [read]
    assert [f.sheet for f in got.findings if f.code == "T024"] == [n for n in names if n != read]


def test_several_sheets_of_the_same_make_are_added(read_rows):
    other = [HEAD, ["Board", 1, 20.0, 20.0], ["Cable", 4, 1.5, 6.0]]
    got = read_rows({"Mechanics": [HEAD, *LINES], "Electronics": other})
    assert booked(got) == pytest.approx(79.3)
    assert "T025" in codes(got)


def test_sheets_that_are_no_bills_are_left(read_rows):
    log = [["Day", "Voltage", "Current"], [1, 11.9, 0.4], [2, 12.0, 0.5], [3, 12.1, 0.4]]
    got = read_rows({"Measurements": log, "BOM": [HEAD, *LINES]})
    assert set(got.frame["source_sheet"]) == {"BOM"}


def test_a_sub_assembly_sheet_that_the_main_sheet_rolls_up_counts_once(read_rows):
    frame = [HEAD, *LINES, ["Total", "", "", 53.3]]
    main = [
        HEAD,
        ["Frame", 2, 53.3, 106.6],
        ["Battery", 1, 80.0, 80.0],
        ["Charger", 1, 30.0, 30.0],
        ["Total", "", "", 216.6],
    ]
    got = read_rows({"Main": main, "Frame": frame})
    assembly = got.frame.index[got.frame["row_kind"] == "assembly"]
    assert got.frame.loc[assembly, "description"].tolist() == ["Frame"]
    assert (got.frame.loc[got.frame["source_sheet"] == "Frame", "parent_row"] == assembly[0]).all()


def test_parameters_in_the_header_row_beside_the_table(read_rows):
    rows = [[*HEAD, "", "", "RATE", 4100], [*LINES[0], "", "", "UNITS", 13], *LINES[1:]]
    got = read_rows(rows)
    assert booked(got) == 53.3
    assert columns(got)["description"] == "A"


# ------------------------------------------------------------ headers


@pytest.mark.parametrize(
    ("language", "head"),
    [
        ("German", ["Teilenummer", "Bezeichnung", "Menge", "Einzelpreis", "Gesamtpreis", "Lieferant"]),
        ("French", ["Référence", "Désignation", "Quantité", "Prix unitaire", "Prix total", "Fournisseur"]),
        ("Spanish", ["Referencia", "Descripción", "Cantidad", "Precio unitario", "Importe", "Proveedor"]),
        ("Portuguese", ["Código", "Descrição", "Quantidade", "Preço unitário", "Preço total", "Fornecedor"]),
        ("Italian", ["Codice articolo", "Descrizione", "Quantità", "Prezzo unitario", "Prezzo totale", "Fornitore"]),
        ("Dutch", ["Artikelnummer", "Omschrijving", "Aantal", "Stukprijs", "Totaalprijs", "Leverancier"]),
        ("Polish", ["Numer części", "Nazwa", "Ilość", "Cena jednostkowa", "Wartość", "Dostawca"]),
        ("Russian", ["Артикул", "Наименование", "Количество", "Цена", "Сумма", "Поставщик"]),
        ("Chinese", ["物料编码", "名称", "数量", "单价", "金额", "供应商"]),
        ("Japanese", ["型番", "品名", "数量", "単価", "小計", "仕入先"]),
        ("Korean", ["품번", "품명", "수량", "단가", "금액", "공급사"]),
        ("Swedish", ["Artikelnummer", "Benämning", "Antal", "Styckpris", "Summa", "Leverantör"]),
        ("Czech", ["Číslo dílu", "Popis", "Množství", "Cena za kus", "Celkem", "Dodavatel"]),
        ("misspelt", ["Part Nubmer", "Desciption", "Quantiy", "Unit Pirce", "Totl price", "Suplier"]),
    ],
)
def test_headers_in_many_languages(read_rows, language, head):
    lines = [
        ["A-17", "plate", 2, 3.5, 7.0, "Invented Steel"],
        ["B-04", "motor", 1, 41.0, 41.0, "Invented Motors"],
        ["C-9", "nut", 8, 0.25, 2.0, "Invented Nuts"],
    ]
    got = read_rows([head, *lines])
    want = dict(zip(("part_no", "description", "qty", "unit_cost", "extended_cost", "supplier"), "ABCDEF", strict=True))
    assert columns(got) == want, language


def test_net_and_gross_price_side_by_side(read_rows):
    rows = [
        ["Part", "Qty", "Price net", "Price gross", "Total"],
        ["Plate", 2, 10.0, 12.0, 24.0],
        ["Motor", 1, 40.0, 48.0, 48.0],
        ["Nut", 5, 0.5, 0.6, 3.0],
    ]
    got = read_rows(rows)
    assert columns(got)["unit_cost"] == "D"


@pytest.mark.parametrize("head", ["UoM", "UOM", "uom", "Base UoM"])
def test_the_unit_of_measure_is_found_however_it_is_written(read_rows, head):
    got = read_rows([["PartNo", "Description", "QtyPer", head, "UnitCost"], ["P-1", "hose", 2.5, "m", 3.2],
                     ["P-2", "pump", 1, "pcs", 41.0]])  # fmt: skip
    assert got.frame["uom"].tolist() == ["m", "pcs"]
    assert got.frame["qty"].tolist() == [2.5, 1.0]


@pytest.mark.parametrize(
    ("headers", "column"),
    [
        (("Cost 2019 EUR", "Cost 2021 EUR", "Cost 2024 EUR"), "F"),
        (("Unit price 2024", "Unit price 2023", "Unit price 2022"), "D"),
        (("Old price", "New price"), "E"),
        (("Target price", "Current price"), "E"),
        (("Zielpreis", "Preis"), "E"),
        (("Unit cost USD", "Unit cost EUR"), "D"),
    ],
)
def test_of_several_prices_the_newest_is_taken_and_the_others_are_said(read_text, headers, column):
    """Old prices, targets and budgets are no booked cost, and which column was taken must not stay unsaid."""
    prices = ";".join(str(10 + i) for i in range(len(headers)))
    rows = [f"A{i};part {i};{i};{prices}" for i in (4, 2, 3)]
    got = read_text("\n".join([f"Part number;Description;Qty;{';'.join(headers)}", *rows]))
    assert columns(got)["unit_cost"] == column
    said = [f for f in got.findings if f.code == "T096"]
    assert [f.column for f in said] == [column]
    taken = headers["DEF".index(column)]
    assert all((repr(h) in said[0].found) == (h != taken) for h in headers)


def test_an_extended_cost_tells_which_of_several_prices_is_booked(read_text):
    rows = "A1;motor;2;40;42;80\nA2;pump;3;10;11;30\nA3;seal;4;1;2;4\n"
    got = read_text("Part number;Description;Qty;Price 2019 EUR;Price 2024 EUR;Total EUR\n" + rows)
    assert got.frame["unit_cost"].tolist() == [40, 10, 1]
    assert "T096" not in codes(got)


def test_several_quantity_columns(read_rows):
    head = ["Part", "Qty per board", "Needed", "In stock", "Order qty", "Price", "Total"]
    rows = [
        head,
        ["Fuse", 1, 20, 4, 16, 0.5, 8.0],
        ["Diode", 4, 80, 0, 80, 0.1, 8.0],
        ["Choke", 2, 40, 10, 30, 0.3, 9.0],
    ]
    got = read_rows(rows)
    assert columns(got)["qty"] == "E"
    assert booked(got) == 25.0


@pytest.mark.parametrize(("header", "qty"), [("Qty", [1, 2, 3]), ("Menge", [1, 2, 3]), ("Number", [1, 1, 1])])
def test_quantities_of_a_short_list_that_count_up_are_quantities(read_text, header, qty):
    got = read_text(f"Part number;Description;{header};Price EUR\nA1;motor;1;40\nA2;pump;2;10\nA3;seal;3;5\n")
    assert got.frame["qty"].tolist() == qty
    assert ("T050" in codes(got)) == (header == "Number")


def test_a_price_column_of_links(read_rows):
    rows = [
        ["Part", "Qty", "Price", "Unit cost"],
        ["Plate", 1, "https://example.com/a", 5.0],
        ["Motor", 2, "https://example.com/b", 8.0],
    ]
    got = read_rows(rows)
    assert columns(got)["unit_cost"] == "D"


def test_description_without_a_header(read_rows):
    got = read_rows([["", "Menge", "EP", "GP"], *LINES])
    assert columns(got) == {"description": "A", "qty": "B", "unit_cost": "C", "extended_cost": "D"}


def test_designator_column_that_holds_designators_is_no_name(read_rows):
    rows = [
        ["Reference", "Value", "Qty", "Price"],
        ["R1, R2", "10k", 2, 0.01],
        ["C1-C4", "100 nF", 4, 0.02],
        ["U1", "timer", 1, 0.4],
    ]
    assert columns(read_rows(rows))["description"] == "B"


def test_columns_named_in_the_settings_win(read_rows):
    rows = [["Part", "Qty", "Price A", "Price B"], ["Plate", 1, 5.0, 6.0], ["Motor", 2, 8.0, 9.0]]
    got = read_rows(rows, columns={"unit_cost": "Price B"})
    assert got.frame["unit_cost"].tolist() == [6.0, 9.0]
    assert got.mapping.set_index("canonical").loc["unit_cost", "how"] == "stated"


def test_a_column_named_in_the_settings_must_exist(read_rows):
    with pytest.raises(BadInput, match="Preis netto"):
        read_rows([HEAD, *LINES], columns={"unit_cost": "Preis netto"})


def test_mojibake_header_is_repaired_and_said(read_rows):
    got = read_rows([["Name", "РљРѕР»РёС‡РµСЃС‚РІРѕ"], ["Plate", 2], ["Motor", 1]])
    assert columns(got)["qty"] == "B"
    assert "T014" in codes(got)


# ------------------------------------------------------------ money


def test_price_as_text_with_currency_and_decimal_comma(read_text):
    got = read_text("Bauteil;Menge;Preis\nPlatte;2;1.234,50 €\nMotor;1;84,90 €\nScheibe;10;0,05 €\n")
    assert got.frame["unit_cost"].tolist() == [1234.5, 84.9, 0.05]
    assert set(got.frame["currency"]) == {"EUR"}


def test_thousands_point_is_settled_by_the_rest_of_the_column(read_text):
    got = read_text("Bauteil;Menge;Preis\nPlatte;2;1.234\nMotor;1;84,90\n")
    assert got.frame["unit_cost"].tolist() == [1234.0, 84.9]


def test_a_mark_that_reads_both_ways_is_said_and_can_be_set(read_text):
    text = 'part,qty,price\nplate,2,"1,234"\nmotor,1,"2,500"\n'
    got = read_text(text)
    assert "T030" in codes(got)
    assert got.frame["unit_cost"].tolist() == [1234.0, 2500.0]
    assert read_text(text, read=ReadSection(decimal=",")).frame["unit_cost"].tolist() == [1.234, 2.5]


def test_currency_only_in_the_number_format(read_rows):
    def euro(book):
        for r in range(2, 6):
            book["BOM"].cell(r, 3).number_format = "#,##0.00 [$€-407]"

    got = read_rows([HEAD, *LINES], dress=euro)
    assert set(got.frame["currency"]) == {"EUR"}
    assert "T059" in codes(got)


def test_dollar_sign_that_means_another_dollar(read_rows):
    def dollar(book):
        for r in range(2, 6):
            book["BOM"].cell(r, 3).number_format = '"$"#,##0.00'

    plain = read_rows([HEAD, *LINES], dress=dollar)
    assert set(plain.frame["currency"]) == {"USD"}
    assert "T055" in codes(plain)
    canadian = read_rows([["Item", "Qty", "Unit price (CAD)", "Total"], *LINES], dress=dollar)
    assert set(canadian.frame["currency"]) == {"CAD"}
    assert "T055" not in codes(canadian)


def test_locale_in_the_number_format_tells_the_dollar(read_rows):
    def dollar(book):
        for r in range(2, 6):
            book["BOM"].cell(r, 3).number_format = "[$$-1009]#,##0.00"

    assert set(read_rows([HEAD, *LINES], dress=dollar).frame["currency"]) == {"CAD"}


def test_currency_in_a_note_below(read_rows):
    got = read_rows([HEAD, *LINES, [], ["All prices are in SEK"]])
    assert set(got.frame["currency"]) == {"SEK"}


def test_a_drawing_program_is_no_currency(read_rows):
    got = read_rows([HEAD, ["3D CAD and housing"], *LINES])
    assert set(got.frame["currency"]) == {""}
    assert "T056" in codes(got)


def test_currencies_mixed_in_a_column(read_text):
    got = read_text("part;qty;price\nplate;1;5,00 €\nmotor;1;$8.50\nboard;2;£4.10\n")
    assert got.frame["currency"].tolist() == ["EUR", "USD", "GBP"]
    assert "T057" in codes(got)


def test_a_rare_currency_is_kept_and_not_taken_for_the_audits(read_text):
    got = read_text("part_no;qty;unit_cost;currency\nplate;1;5.00;EUR\nmotor;1;8.50;VES\nboard;2;4.10;net\n")
    assert got.frame["currency"].tolist() == ["EUR", "VES", ""]
    said = {f.code: (f.found, f.assumed) for f in got.findings}
    assert said["T061"] == ("'net'", "left out; taken as a line without one")
    assert said["T056"] == ("1 line without one", "taken as in the audit currency")
    assert list(read_text("part;price\nALL parts;5,00\n").frame["currency"]) == [""]


def test_pack_price_with_pack_size(read_rows):
    head = ["Part", "Cost per package", "Items per package", "Items needed", "Total cost"]
    rows = [
        head,
        ["Servo", 18.0, 5, 1, 3.6],
        ["Screw", 1.5, 4, 2, 0.75],
        ["Magnet", 14.0, 140, 10, 1.0],
        ["Board", 12.0, 1, 1, 12.0],
    ]
    got = read_rows(rows)
    assert got.frame["unit_cost"].round(4).tolist() == [3.6, 0.375, 0.1, 12.0]
    assert "T052" in codes(got)


def test_price_per_hundred_and_thousand(read_rows):
    rows = [
        ["Part", "Qty", "Unit price", "Price per", "Total"],
        ["Screw", 20, 4.2, 100, 0.84],
        ["Nut", 20, 30.0, 1000, 0.6],
        ["Motor", 1, 41.0, 1, 41.0],
    ]
    got = read_rows(rows)
    assert got.frame["unit_cost"].round(4).tolist() == [0.042, 0.03, 41.0]


def test_price_per_hundred_in_the_cell(read_text):
    got = read_text("part;qty;price\nscrew;20;4,20 €/100\nmotor;1;41,00 €\n")
    assert got.frame["unit_cost"].round(4).tolist() == [0.042, 41.0]


def test_price_ranges_give_their_middle_and_their_ends(read_text):
    got = read_text("part,qty,price_eur\nboiler,1,12–25\nhose,2,4\nvalve,1,20-30\n")
    assert got.frame["unit_cost"].tolist() == [18.5, 4.0, 25.0]
    assert got.frame["unit_cost_low"].tolist()[::2] == [12.0, 20.0]
    assert "T035" in codes(got)


def test_words_instead_of_a_price(read_text):
    got = read_text("part,qty,price\nservo,1,18.00\nhorn,1,included above\ncover,1,N/A\nboard,1,TBD\nfoot,4,-\n")
    assert got.frame["unit_cost"].isna().tolist() == [False, True, True, True, True]
    assert {"T031", "T032"} <= codes(got)


def test_prices_in_cents_or_thousands_are_brought_to_the_currency_and_said(read_text):
    rows = "A;washer;1;12,3 ct\nB;press;1;0,35 T€\nC;robot;1;3k\nD;crane;1;2,5 TEUR\nE;nut;1;0,30\n"
    got = read_text("Part number;Description;Qty;Unit cost EUR\n" + rows)
    assert got.frame["unit_cost"].tolist() == pytest.approx([0.123, 350, 3000, 2500, 0.3])
    assert got.frame["currency"].tolist() == ["EUR"] * 5
    assert [f.row for f in got.findings if f.code == "T092"] == [2, 3, 4, 5]
    got = read_text("Part number;Description;Qty;Unit cost (ct)\nA;washer;1;12,3 ct\nB;nut;1;30,5\n")
    assert got.frame["unit_cost"].tolist() == pytest.approx([0.123, 0.305])


def test_a_fraction_as_quantity_is_not_its_first_figure(read_text):
    got = read_text("Part number;Description;Qty;Unit cost EUR\nA;sheet;1/2;12,30\nB;nut;4 per assy;0,10\n")
    assert np.isnan(got.frame["qty"][0])
    assert got.frame["qty"][1] == 4
    assert [(f.code, f.row) for f in got.findings if f.code == "T031"] == [("T031", 2)]


def test_price_of_a_set(read_text):
    got = read_text("part,qty,price_eur\nscrews,50,10 (set)\nhose,2,4\n")
    assert got.frame["unit_cost"].tolist() == [0.2, 4.0]
    assert "T054" in codes(got)


def test_price_breaks_from_which_each_line_takes_its_own(read_rows):
    head = ["Part", "Piece price", "Price for 10", "Order qty", "Total price"]
    rows = [
        head,
        ["Choke", 0.33, 0.217, 10, 2.17],
        ["Diode", 1.22, 1.01, 6, 7.32],
        ["Fuse", 0.1, 0.075, 13, 0.975],
        ["Relay", 6.53, 5.64, 8, 52.24],
        ["Coil", 0.57, 0.413, 13, 5.369],
        ["Total", "", "", "", 68.074],
    ]
    got = read_rows(rows)
    assert booked(got) == pytest.approx(68.074)
    assert "unit_cost" not in columns(got)


def test_extended_cost_only(read_text):
    got = read_text("Material;Ilosc;Cena calkowita\nplytka;1x;84,90 zl\nogniwo;2x;63,80 zl\n")
    assert got.frame["unit_cost"].tolist() == [84.9, 31.9]
    assert set(got.frame["currency"]) == {"PLN"}
    assert "T051" in codes(got)


def test_cost_of_the_pack_bought_is_told_by_the_total(read_text):
    got = read_text("Qty,Component,Cost\n12,Bearing,$42.53\n70,Magnet,$28.05\n1,Spring,$8.88\n,Total,$79.46\n")
    assert booked(got) == 79.46
    assert columns(got)["extended_cost"] == "C"


def test_price_times_quantity_that_is_not_the_extended_cost(read_rows):
    got = read_rows([HEAD, *LINES, ["Bearing", 2, 5.62, 5.62]])
    assert "T053" in codes(got)


def test_one_price_merged_over_several_lines(read_rows):
    def merge(book):
        book["BOM"].merge_cells("C2:C4")

    got = read_rows(
        [["Part", "Qty", "Price"], ["Kit plate", 1, 9.0], ["Kit rod", 2, ""], ["Kit nut", 4, ""], ["Motor", 1, 41.0]],
        dress=merge,
    )
    assert booked(got) == 50.0
    assert "T018" in codes(got)


def test_a_cell_merged_down_a_column_stands_beside_each_of_its_rows(read_rows):
    """The parent, the currency, the date; a quantity or a price merged over rows is shared by them."""
    rows = [
        ["Parent no", "Part number", "Description", "Qty", "Unit cost", "Currency", "Cost date"],
        ["", "A-100", "drive", 2],
        ["A-100", "B1", "gear", 2, 3.0, "USD", "2019-03-31"],
        ["", "B2", "pin", 1, 0.5],
        ["", "B3", "cap", 1, 0.7],
    ]

    def merge(book):
        for column in "AFG":
            book["BOM"].merge_cells(f"{column}3:{column}5")

    got = read_rows(rows, dress=merge)
    assert got.frame["parent_row"].tolist() == [-1, 0, 0, 0]
    assert got.frame["currency"].tolist()[1:] == ["USD"] * 3
    assert got.frame["cost_date"].dt.strftime("%Y-%m-%d").tolist()[1:] == ["2019-03-31"] * 3
    assert sorted((f.row, f.column) for f in got.findings if f.code == "T099") == [(3, "A"), (3, "F"), (3, "G")]
    assert got.frame["part_no"].tolist() == ["A-100", "B1", "B2", "B3"]


def test_price_breaks_below_a_merged_part_number_are_quotes_of_it(workbook):
    rows = [
        ["Part number", "Quote date", "Min qty", "Unit price", "Currency"],
        ["A1", "2024-01-31", 1, 10.0, "EUR"],
        ["", "", 100, 9.0, ""],
        ["A2", "2024-02-29", 1, 5.0, "EUR"],
    ]
    path = workbook({"Quotes": rows}, dress=lambda b: [b["Quotes"].merge_cells(f"{c}2:{c}3") for c in "ABE"])
    frame = read_table(path, QUOTES).frame
    assert frame["part_no"].tolist() == ["A1", "A1", "A2"]
    assert frame["min_qty"].tolist() == [1, 100, 1]
    assert frame["quote_date"].notna().all()
    assert frame["currency"].tolist() == ["EUR"] * 3


def test_tax_only_in_a_comment(read_rows):
    def comment(book):
        book["BOM"]["C2"].comment = Comment("incl. VAT", "someone")

    assert "T017" in codes(read_rows([HEAD, *LINES], dress=comment))


def test_prices_that_a_spreadsheet_turned_into_dates(read_rows):
    rows = [["Part", "Qty", "Price"], ["Plate", 1, 5.0], ["Motor", 2, dt.date(2021, 6, 5)], ["Nut", 3, 0.5]]
    got = read_rows(rows)
    assert got.frame["unit_cost"].isna().tolist() == [False, True, False]
    assert "T036" in codes(got)


def test_zero_price_is_a_finding_not_a_gap(read_rows):
    got = read_rows([HEAD, *LINES, ["Sample", 1, 0.0, 0.0]])
    assert got.frame["unit_cost"].tolist()[-1] == 0.0
    assert "T048" in codes(got)


def test_formula_without_a_result(read_rows):
    got = read_rows([["Part", "Qty", "Price"], ["Plate", 1, "=2+3"], ["Motor", 2, 4.0]])
    assert np.isnan(got.frame["unit_cost"][0])
    assert "T019" in codes(got)


# ------------------------------------------------------------ quantities and part numbers


def test_quantity_with_its_unit_inside(read_text):
    got = read_text(
        "part,qty,unit,price\nhose,50 cm,m,4.00\nwire,2 m,m,0.50\n"
        "plate,3 pcs,,1.00\nspare,2 (+2 spare),,1.00\nbolt,4x,,0.10\n"
    )
    assert got.frame["qty"].tolist() == [0.5, 2.0, 3.0, 2.0, 4.0]
    assert got.frame["uom"].tolist()[:3] == ["m", "m", "pcs"]


def test_units_of_different_dimensions_are_not_converted(read_text):
    got = read_text("part,qty,unit,price\nhose,500 g,m,4.00\nplate,3,m,1.00\n")
    assert got.frame["qty"][0] == 500.0
    assert "T043" in codes(got)


def test_a_price_for_another_unit_than_that_of_the_quantity(read_text):
    """Per m in the price's cell, per 100 m or kg in the column of price units: brought to the unit of the line."""
    got = read_text(
        "part,qty,unit,price,price per,total\nhose,350,mm,0.80 EUR/m,,0.28\nwire,250,cm,80.00,100 m,2.00\n"
        "glue,15,g,12.00,1 kg,0.18\nfoil,2,m,3.00,1 m,6.00\nlabel,3,pcs,0.50 EUR/pc,,1.50\n"
        "nut,8,pcs,2.00,per 100,0.16\n"
    )
    assert got.frame["unit_cost"].tolist() == pytest.approx([0.0008, 0.008, 0.012, 3.0, 0.5, 0.02])
    assert not {"T053", "T088"} & codes(got)
    odd = read_text("part,qty,unit,price\nhose,3,m,4.00 EUR/kg\nplate,3,m,1.00 EUR/m\n")
    assert odd.frame["unit_cost"].tolist() == [4.0, 1.0]
    assert "T088" in codes(odd)


def test_words_instead_of_a_quantity(read_text):
    got = read_text("part,qty,price\nplate,2,4.00\nglue,as needed,3.00\nfoil,per design,5.00\n")
    assert got.frame["qty"].isna().tolist() == [False, True, True]
    assert "T049" in codes(got)


def test_no_quantity_column(read_text):
    got = read_text("Part,Price\nPlate,4.00\nMotor,41.00\nTotal,45.00\n")
    assert got.frame["qty"].tolist() == [1.0, 1.0]
    assert "T050" in codes(got)


def test_negative_quantity(read_text):
    got = read_text("part,qty,price\nplate,-2,4.00\nmotor,1,41.00\n")
    assert np.isnan(got.frame["qty"][0])
    assert "T044" in codes(got)


def test_part_numbers_that_look_like_numbers_or_dates(read_rows):
    def pad(book):
        book["BOM"]["A4"].number_format = "000000"

    rows = [
        ["Part number", "Description", "Qty", "Price"],
        ["00123", "washer", 4, 0.1],
        ["1E5", "ring", 2, 0.2],
        [4711, "seal", 1, 0.3],
        ["NA", "cap", 1, 0.4],
    ]
    got = read_rows(rows, dress=pad)
    assert got.frame["part_no"].tolist() == ["00123", "1E5", "004711", "NA"]


# ------------------------------------------------------------ totals


def test_total_that_agrees_is_a_note(read_rows):
    got = read_rows([HEAD, *LINES, ["TOTAL", "", "", 53.3]])
    assert kinds(got)[6] == "total"
    assert "T070" in codes(got)
    assert "T071" not in codes(got)


def test_total_without_a_label(read_rows):
    got = read_rows([HEAD, *LINES, [], ["", "", "", 53.3]])
    assert kinds(got)[7] == "total"
    assert booked(got) == 53.3


def test_total_above_the_lines(read_rows):
    got = read_rows([["Sweeper"], ["Total", "", "", 53.3], HEAD, *LINES])
    assert len(got.frame) == 4
    assert "T070" in codes(got)


@pytest.mark.parametrize(
    ("stated", "cause"),
    [
        (50.0, "stops 1 lines early"),
        (45.85, "quantity is ignored"),
        (46.3, "starts 1 lines late"),
        (12.3, "left out"),
        (60.0, "stale"),
    ],
)
def test_total_that_differs_names_the_likely_cause(read_rows, stated, cause):
    got = read_rows([HEAD, *LINES, ["Total", "", "", stated]])
    (finding,) = [f for f in got.findings if f.code == "T071"]
    assert cause in finding.advice


def test_a_large_total_that_differs_is_told_with_all_its_digits(read_rows):
    got = read_rows([HEAD, *LINES, ["D", 1, 1_234_567.89, 1_234_567.89], ["Total", "", "", 1_234_625.19]])
    (finding,) = [f for f in got.findings if f.code == "T071"]
    assert finding.found == "1234625.19 where the lines add up to 1234621.19"


def test_subtotals_and_charges_and_total(read_rows):
    rows = [
        HEAD,
        *LINES[:2],
        ["Subtotal", "", "", 48.0],
        *LINES[2:],
        ["Subtotal", "", "", 5.3],
        ["Shipping", "", "", 9.9],
        ["Total", "", "", 63.2],
    ]
    got = read_rows(rows)
    assert got.frame["row_kind"].value_counts().to_dict() == {"part": 4, "charge": 1}
    assert "T071" not in codes(got)
    assert kinds(got)[4] == "subtotal"


def test_tax_row_that_states_the_total_with_tax_is_no_charge(read_rows):
    got = read_rows([HEAD, *LINES, ["Total", "", "", 53.3], ["+VAT (20%)", "", "", 63.96]])
    assert set(got.frame["row_kind"]) == {"part"}


def test_lines_below_the_total_are_left_out_and_said(read_rows):
    got = read_rows([HEAD, *LINES, ["Total", "", "", 53.3], [], ["Spare column", 1, 64.0, 64.0]])
    assert booked(got) == 53.3
    assert "T072" in codes(got)


def test_notes_below_the_total(read_rows):
    got = read_rows(
        [HEAD, *LINES, ["Total", "", "", 53.3], [], ["Not counted yet:", "", "", ""], ["Cables", "", "", "see drawing"]]
    )
    assert len(got.frame) == 4


# ------------------------------------------------------------ structure


def test_levels_by_number(read_rows):
    rows = [
        ["Level", "Part", "Qty", "Price"],
        [0, "Sweeper", 1, ""],
        [1, "Drive", 1, ""],
        [2, "Motor", 2, 40.0],
        [2, "Gear", 1, 20.0],
        [1, "Cover", 1, 5.0],
    ]
    got = read_rows(rows)
    assert got.frame["parent_row"].tolist() == [-1, 0, 1, 1, 0]
    assert got.frame["row_kind"].tolist() == ["assembly", "assembly", "part", "part", "part"]


def test_levels_by_dotted_number_sorted_as_text(read_rows):
    rows = [
        ["", "Part name", "Qty"],
        ["1", "Frame", 1],
        ["1.1", "Beam", 2],
        ["1.10", "Plug", 4],
        ["1.2", "Foot", 4],
        ["1.2.1", "Pad", 1],
        ["2", "Head", 1],
    ]
    got = read_rows(rows)
    assert got.frame["parent_row"].tolist() == [-1, 0, 0, 0, 3, -1]
    assert columns(got)["level"] == "A"


def test_levels_by_leading_points(read_rows):
    rows = [
        ["Level", "Part", "Qty", "Price"],
        ["1", "Drive", 1, ""],
        [".2", "Motor", 2, 40.0],
        ["..3", "Shaft", 1, 2.0],
        ["1", "Cover", 1, 5.0],
    ]
    assert read_rows(rows).frame["parent_row"].tolist() == [-1, 0, 1, -1]


def test_levels_by_indented_text(read_rows):
    rows = [
        ["Part", "Qty", "Price"],
        ["Drive", 1, ""],
        ["    Motor", 2, 40.0],
        ["        Shaft", 1, 2.0],
        ["    Gear", 1, 20.0],
        ["Cover", 1, 5.0],
    ]
    got = read_rows(rows)
    assert got.frame["parent_row"].tolist() == [-1, 0, 1, 0, -1]
    assert "T064" in codes(got)


def test_levels_by_indented_cells(read_rows):
    def indent(book):
        for r, depth in zip(range(2, 7), (0, 1, 2, 1, 0), strict=True):
            book["BOM"].cell(r, 1).alignment = Alignment(indent=depth)

    rows = [
        ["Part", "Qty", "Price"],
        ["Drive", 1, ""],
        ["Motor", 2, 40.0],
        ["Shaft", 1, 2.0],
        ["Gear", 1, 20.0],
        ["Cover", 1, 5.0],
    ]
    assert read_rows(rows, dress=indent).frame["parent_row"].tolist() == [-1, 0, 1, 0, -1]


def test_parents_by_part_number(read_text):
    got = read_text("part_no,parent,name,qty,price\nA,,machine,1,\nB,A,drive,1,\nC,B,motor,2,40\nD,A,cover,1,5\n")
    assert got.frame["parent_row"].tolist() == [-1, 0, 1, 0]


def test_orphans_and_loops_are_errors_with_the_path(read_text):
    got = read_text("part_no,parent,name,qty,price\nA,,machine,1,\nB,X,drive,1,3\nC,D,motor,2,40\nD,C,cover,1,5\n")
    loop = next(f for f in got.findings if f.code == "T081")
    assert loop.found == "C > D > C"
    assert "T080" in codes(got)


def test_an_assembly_with_a_rolled_up_price_counts_once(read_rows):
    rows = [
        ["Level", "Part", "Qty", "Price"],
        [1, "Drive", 1, 100.0],
        [2, "Motor", 2, 40.0],
        [2, "Gear", 1, 20.0],
        [1, "Cover", 1, 5.0],
        ["", "Total", "", 105.0],
    ]
    got = read_rows(rows)
    assert got.frame["row_kind"].tolist() == ["assembly", "part", "part", "part"]
    assert {"T083", "T070"} <= codes(got)


def test_a_bought_assembly_whose_lines_have_no_price_is_a_part(read_rows):
    rows = [
        ["Level", "Part", "Qty", "Price"],
        [1, "Drive", 1, 100.0],
        [2, "Motor", 2, ""],
        [2, "Gear", 1, ""],
        [1, "Cover", 1, 5.0],
    ]
    assert read_rows(rows).frame["row_kind"].tolist() == ["part", "part", "part", "part"]


def test_alternatives_by_rank_and_by_word(read_rows):
    ranked = [
        ["Rank", *HEAD],
        ["Motor"],
        [1, "Motor A", 4, 80.0, 320.0],
        [2, "Motor B", 4, 30.0, 120.0],
        [3, "Motor C", 4, 20.0, 80.0],
        ["Battery"],
        [1, "Pack A", 1, 35.0, 35.0],
        [2, "Pack B", 1, 36.0, 36.0],
    ]
    got = read_rows(ranked)
    assert got.frame["row_kind"].tolist() == ["part", "alternative", "alternative", "part", "alternative"]
    worded = [[*HEAD, "Remarks"], [*LINES[0], ""], [*LINES[1], ""], ["Other motor", 1, 30.0, 30.0, "alternative"]]
    got = read_rows(worded)
    assert got.frame["row_kind"].tolist() == ["part", "part", "alternative"]
    assert "T073" in codes(got)


@pytest.mark.parametrize(
    ("header", "cells", "stand_ins"),
    [
        ("Alternate", ["", "yes", "", "", ""], ["A2"]),
        ("Alternate", ["yes", "yes", "no", "yes", ""], []),  # most have one
        ("Alternate", [1, 1, 2, "", ""], []),  # groups
        ("Substitute", ["A2", "", "", "", ""], ["A2"]),
        ("Substitute", ["A2", "A5", "", "", "A1"], ["A2", "A5"]),
        ("Alt. part no.", ["A3", "", "", "", ""], []),  # needed in another quantity
        ("Alt. for", ["", "A1", "", "", ""], ["A2"]),
        ("Alternative zu", ["", "A1", "", "X9", "A5"], ["A2"]),  # X9 is no line, A5 is the line itself
    ],
)
def test_alternatives_by_a_column_of_alternates(read_text, header, cells, stand_ins):
    """Both at once cannot be built in: beside the part it stands in for an alternate is not added."""
    quantities = [1, 1, 2, 4, 1]
    rows = [f"A{i};motor {i};{q};40,00;{c}" for i, (q, c) in enumerate(zip(quantities, cells, strict=True), 1)]
    got = read_text("\n".join([f"Part number;Description;Qty;Unit cost EUR;{header}", *rows]))
    frame = got.frame
    assert frame.loc[frame["row_kind"] == "alternative", "part_no"].tolist() == stand_ins
    assert ("T073" in codes(got)) == bool(stand_ins)
    assert [(f.row, f.found) for f in got.findings if f.code == "T105"] == ([(4, "A3")] if "A3" in cells else [])


@pytest.mark.parametrize(
    ("header", "cells", "out"),
    [
        ("Status", ["released", "obsolete", "DNP", "do not fit", "Not populated - option"], ["A3", "A4", "A5"]),
        ("Notes", ["", "not fitted", "do not fit upside down", "DNP (spare)", ""], ["A2", "A4"]),
        ("Fitted", ["yes", "no", "Yes", "", "n"], ["A2", "A5"]),
        ("DNP", ["", "x", "", "DNP", ""], ["A2", "A4"]),
        ("Bestückung", ["ja", "nein", "ja", "nicht bestückt", "ja"], ["A2", "A4"]),
        ("DNP", ["x"] * 5, []),  # a list of which nothing is built in is read otherwise than it was meant
    ],
)
def test_a_line_that_is_not_fitted_costs_nothing(read_text, header, cells, out):
    rows = [f"A{i};part {i};2;1,50;{c}" for i, c in enumerate(cells, 1)]
    got = read_text("\n".join([f"Part number;Description;Qty;Unit cost EUR;{header}", *rows]))
    frame = got.frame
    assert frame["row_kind"].tolist() == ["part"] * 5
    assert frame.loc[frame["qty"] == 0, "part_no"].tolist() == out
    assert frame["unit_cost"].tolist() == [1.5] * 5
    said = [f.found for f in got.findings if f.code == "T097"]
    assert bool(said) == bool(out)
    assert all(f"{int(part[1:]) + 1}" in said[0] for part in out)


def test_a_line_is_not_fitted_where_its_quantity_or_its_name_says_so(read_text):
    rows = ("A1;motor;1;40,00;40,00", "A2;resistor 10k;DNP;1,00;", "A3;resistor 22k DNP;4;1,00;4,00", ";Total;;;40,00")
    got = read_text("\n".join(["Part number;Description;Qty;Unit cost EUR;Total", *rows]))
    assert got.frame["qty"].tolist() == [1.0, 0.0, 0.0]
    assert {"T070", "T097"} <= codes(got)  # the stated total leaves them out too
    assert not {"T031", "T049", "T053", "T071"} & codes(got)


def test_an_obsolete_part_is_counted_and_said(read_text):
    rows = "A1;motor;1;40,00;released\nA2;pump;2;10,00;Obsolete\nA3;seal;4;1,00;released\n"
    got = read_text("Part number;Description;Qty;Unit cost EUR;Lifecycle\n" + rows)
    assert got.frame["qty"].tolist() == [1.0, 2.0, 4.0]
    assert [(f.code, f.row) for f in got.findings if f.code == "T098"] == [("T098", 3)]


# ------------------------------------------------------------ files


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-le"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("delimiter", [";", "\t", ",", "|"])
def test_text_files_of_every_make(read_text, encoding, end, delimiter):
    rows = [
        ["Benennung", "Menge", "Stückpreis"],
        ["Gehäuse groß", "2", "3.50"],
        ["Überwurfmutter für Schläuche", "12", "0.75"],
        ["Öldichtung", "4", "1.10"],
    ]
    text = end.join(delimiter.join(r) for r in rows) + end
    got = read_text(text.encode(encoding))
    assert got.frame["description"].tolist() == ["Gehäuse groß", "Überwurfmutter für Schläuche", "Öldichtung"]
    assert got.frame["unit_cost"].tolist() == [3.5, 0.75, 1.1]


def test_inch_marks_do_not_swallow_lines(read_text):
    got = read_text('Item\tQty\tPrice\n1" mirror\t1\t60.20\n"2 in" plate\t2\t4.00\nTube 3"\t1\t5.00\n', name="bom.tsv")
    assert len(got.frame) == 3


def test_quoted_delimiters_and_line_ends(read_text):
    got = read_text('Part,Qty,Price\n"cable, red\n2 m",1,4.00\n"nut, ""A""",2,0.10\n')
    assert got.frame["description"].tolist() == ["cable, red\n2 m", 'nut, "A"']


def test_a_workbook_named_csv_is_read_by_content(read_rows, workbook):
    path = workbook({"BOM": [HEAD, *LINES]}, name="bom.csv")
    got = read_table(path, BOM)
    assert len(got.frame) == 4
    assert "T008" in codes(got)


def test_hidden_rows_and_sheets_are_read_and_said(read_rows):
    def hide(book):
        book["BOM"].row_dimensions[3].hidden = True
        book["Old"].sheet_state = "hidden"

    got = read_rows({"BOM": [HEAD, *LINES], "Old": [["x"]]}, dress=hide)
    assert len(got.frame) == 4
    assert {"T011", "T015"} <= codes(got)


def test_every_row_of_the_file_is_accounted_for(read_rows):
    rows = [["Title"], [], HEAD, ["Drive"], *LINES, ["Total", "", "", 53.3], ["remark"]]
    got = read_rows({"BOM": rows, "Notes": [["a"], ["b"]]})
    assert len(got.rows) == len(rows) + 2
    assert set(got.rows["kind"]) <= {
        "part",
        "assembly",
        "charge",
        "alternative",
        "heading",
        "header",
        "subtotal",
        "total",
        "blank",
        "note",
    }


# ------------------------------------------------------------ refused


@pytest.mark.parametrize(
    "rows",
    [
        [
            ["Designator", "Footprint", "Mid X", "Mid Y", "Layer", "Rotation"],
            ["R1", "0603", "1.2mm", "3.4mm", "T", 90],
            ["C1", "0603", "2.2mm", "3.4mm", "T", 0],
        ],
        [
            ["name", "length", "width", "thickness", "finish"],
            ["side", 2231, 230, 19, "red"],
            ["top", 1770, 619, 19, "red"],
        ],
        [["Time", "Voltage", "Current"], [1, 11.9, 0.4], [2, 12.0, 0.5]],
        [["Dear reader"], ["this is a letter"], ["and no table at all"]],
    ],
)
def test_what_is_no_bill_of_materials_is_refused_with_a_reason(read_rows, rows):
    with pytest.raises(BadInput) as refused:
        read_rows(rows)
    assert refused.value.findings[0].code in ("T021", "T023")


def test_quotes_in_german(tmp_path):
    path = tmp_path / "angebote.csv"
    lines = (
        "Artikelnummer;Angebotsdatum;Preis;Währung;ab Menge;Lieferant;Art",
        "A-1;08.03.2016;128,40;EUR;500;Erfundene GmbH;verbindlich",
        "A-1;17.09.2021;149,90;EUR;500;Erfundene GmbH;Einkauf",
    )
    path.write_bytes("\n".join(lines).encode("cp1252"))
    got = read_table(path, QUOTES)
    assert got.frame["kind"].tolist() == ["firm", "purchase"]
    assert got.frame["quote_date"].dt.strftime("%Y-%m-%d").tolist() == ["2016-03-08", "2021-09-17"]
    assert got.frame["min_qty"].tolist() == [500.0, 500.0]


def test_openpyxl_is_not_needed_to_open_a_workbook_it_cannot(workbook, tmp_path):
    path = workbook({"BOM": [HEAD, *LINES]})
    broken = tmp_path / "broken.xlsx"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(broken, "w") as new:
        for item in old.namelist():
            data = old.read(item)
            new.writestr(item, re.sub(rb"<fills.*?</fills>", b"<fills><fill/></fills>", data))
    with pytest.raises(Exception):  # noqa: B017, PT011
        openpyxl.load_workbook(broken)
    assert len(read_table(broken, BOM).frame) == 4


def test_decimal_commas_under_a_title_with_commas_do_not_hide_the_semicolons(read_text):
    got = read_text("Liste, Seite 1\nStand: 1, Mai\nTeil;Menge;Preis\nPlatte;2;0,05\nMotor;1;4,10\nRad;2;1,25\n")
    assert got.frame["unit_cost"].tolist() == [0.05, 4.1, 1.25]


@pytest.mark.parametrize("numbers", [("N0", "N1", "N2", "N3"), ("0000001", "0000002", "0000003", "0000004")])
def test_a_header_that_says_part_number_is_believed(read_text, numbers):
    lines = [f"{n},washer {i},2,1.5" for i, n in enumerate(numbers)]
    got = read_text("\n".join(["Part number,Description,Qty,Price EUR", *lines]))
    assert got.frame["part_no"].tolist() == list(numbers)


def test_price_breaks_in_columns_become_catalogue_quotes(tmp_path):
    text = (
        "part_no,description,qty,cost_date,Price for 10 EUR,Price for 100 EUR,unit_cost\n"
        "A1,choke,20,2020-03-01,0.9,0.7,0.9\nA2,fuse,5,,0.3,0.2,0.3\n"
    )
    (tmp_path / "bom.csv").write_text(text)
    got = read_table(tmp_path / "bom.csv", BOM)
    assert got.breaks["min_qty"].tolist() == [10.0, 100.0]
    assert got.breaks["unit_price"].tolist() == [0.9, 0.7]
    assert "T086" in codes(got)
    inputs = read_audit(tmp_path, from_dict({"files": {"bom": "bom.csv"}}))
    assert inputs.tables["quotes"]["kind"].tolist() == ["catalogue", "catalogue"]
    assert "min_qty" in inputs.present["quotes"]


def test_price_breaks_in_cents_are_brought_to_the_currency(tmp_path):
    text = "part_no,qty,cost_date,currency,Price (ct) for 10,Price (ct) for 100,unit_cost\n"
    (tmp_path / "bom.csv").write_text(text + "A1,20,2020-03-01,EUR,90,70,0.9\nA2,5,2020-03-01,EUR,30,20,0.3\n")
    got = read_table(tmp_path / "bom.csv", BOM)
    assert got.breaks["unit_price"].tolist() == pytest.approx([0.9, 0.3, 0.7, 0.2])
    assert sum(f.code == "T092" for f in got.findings) == 2


def test_a_part_counted_in_two_units_is_brought_to_one_and_said(read_text):
    """2.00 a metre on one line and 0.002 a millimetre on the next is one price; quotes and the need follow."""
    head = "part_no,description,qty,uom,unit_cost,currency,price_per\n"
    rows = ["W1,cable,1.5,m,2.00,EUR,1", "W1,cable,500,mm,2.00,EUR,1000", "W2,rope,700,mm,0.002,EUR,1"]
    for order, unit, qty, cost in (((0, 1, 2), "m", [1.5, 0.5], 2.0), ((1, 0, 2), "mm", [500, 1500], 0.002)):
        got = read_text(head + "\n".join(rows[k] for k in order) + "\n")
        assert got.frame["uom"].tolist() == [unit, unit, "mm"]
        assert got.frame["qty"].tolist() == pytest.approx([*qty, 700])
        assert got.frame["unit_cost"].tolist() == pytest.approx([cost, cost, 0.002])
        (told,) = (f for f in got.findings if f.code == "T100")
        assert (told.row, told.column) == (3, "uom")
        assert told.found.startswith("1 part, the first W1: ")
        assert "T084" not in codes(got)


def test_units_of_one_part_that_do_not_convert_are_said_and_left(read_text):
    head = "part_no,description,qty,uom,unit_cost,currency\n"
    got = read_text(head + "W1,cable,1.5,m,2.00,EUR\nW1,cable,2,kg,9.00,EUR\nW2,nut,4,pcs,1,EUR\nW2,nut,4,set,1,EUR\n")
    assert got.frame["qty"].tolist() == [1.5, 2, 4, 4]
    assert got.frame["unit_cost"].tolist() == [2, 9, 1, 1]
    (told,) = (f for f in got.findings if f.code == "T101")
    assert told.found == "1 part, the first W1: m, kg"
    assert "T100" not in codes(got)


def test_price_breaks_are_for_the_unit_of_their_line(read_text):
    head = "part_no,description,qty,uom,unit_cost,currency,cost_date,price at 100,price at 1000\n"
    got = read_text(
        head + "W1,cable,1.5,m,2.00,EUR,2024-01-01,1.9,1.8\nW1,cable,500,mm,0.002,EUR,2024-01-01,0.0019,0.0018\n"
    )
    assert set(zip(got.breaks["uom"], got.breaks["unit_price"], strict=True)) == {
        ("m", 1.9), ("m", 1.8), ("mm", 0.0019), ("mm", 0.0018)
    }  # fmt: skip


def test_one_part_with_two_prices_is_warned_of_and_with_one_is_told(read_text):
    head = "part_no,description,qty,unit_cost,currency\n"
    assert "T084" in codes(read_text(head + "A1,nut,2,0.10,EUR\nA1,nut,4,0.15,EUR\nA2,cap,1,3,EUR\n"))
    got = read_text(head + "A1,nut,2,0.10,EUR\nA1,nut,4,0.10,EUR\nA2,cap,1,3,EUR\n")
    assert "T087" in codes(got)
    assert len(got.frame) == 3
    under = "level,part_no,description,qty,unit_cost,currency\n1,B,frame,1,,EUR\n2,A1,nut,2,0.10,EUR\n1,C,lid,1,,EUR\n"
    assert "T085" in codes(read_text(under + "2,A1,nut,4,0.10,EUR\n"))


def test_a_stray_space_before_a_name_is_no_structure(read_rows):
    rows = [["Part", "Qty", "Price"], ["Drive", 1, 3.0], [" Motor", 2, 40.0], ["Gear", 1, 20.0], [" Cover", 1, 5.0]]
    got = read_rows(rows)
    assert got.frame["parent_row"].tolist() == [-1, -1, -1, -1]
    assert "T064" not in codes(got)


def test_positions_on_a_board_are_no_bill_even_with_a_quantity(read_text):
    with pytest.raises(BadInput) as refused:
        read_text("Designator,Value,Mid X,Mid Y,Qty\nR1,10k,1.2,3.4,1\nC1,100n,2.2,3.1,1\nU1,timer,4.2,3.3,1\n")
    assert refused.value.findings[0].code == "T023"


def test_a_column_of_pieces_is_read_once(read_rows, monkeypatch):
    from bomaudit.tables import cells, convert, line_money  # noqa: PLC0415

    asked = []

    def counted(column, *args, **how):
        asked.extend(text for text in column if text == "per 100")
        return cells.amounts(column, *args, **how)

    for module in (convert, line_money):
        monkeypatch.setattr(module, "amounts", counted)
        monkeypatch.setattr(module, "pieces", lambda column: column, raising=False)
    read_rows([["Item", "Qty", "Unit price", "Price per"], ["Bolt", 4, 12.0, "per 100"], ["Nut", 4, 7.0, "per 1000"]])
    assert asked == ["per 100"]


def test_a_negative_quantity_is_told_from_one_that_is_missing(read_text):
    got = read_text("part,qty,price\nplate,-2,4.00\nmotor,,41.00\nfoot,4,0.50\n")
    assert got.frame["qty_negative"].tolist() == [True, False, False]
    said = {f.code: f for f in got.findings}
    assert "not audited" in said["T044"].assumed
    assert said["T049"].found == "1 line"


def test_a_price_is_for_what_its_header_says(read_text):
    """Per kg, per 100, per 1,000 pieces: of a line in g, in pieces; a column headed UoM or Price UoM says units too."""
    for header, price, uom, cost in (
        ("Cost EUR/kg", 12, "g", 0.012), ("Price EUR per 100", 12, "EA", 0.12),
        ("Preis (EUR/1.000 Stk)", 12, "Stk", 0.012),
        ("Cost per piece EUR", 12, "EA", 12.0), ("Price EUR 01/2023", 12, "EA", 12.0),
    ):  # fmt: skip
        got = read_text(f"Part No;Description;Qty;UoM;{header}\nA1;Resin;250;{uom};{price}\nA2;Oil;4;{uom};7\n")
        assert got.frame["unit_cost"][0] == pytest.approx(cost), header
        assert got.frame["uom"].tolist() == [uom, uom]
        assert ("T052" in codes(got)) == (cost < 12)
    got = read_text(
        "Part No;Description;Qty;UoM;Unit cost EUR;Price UoM\nA1;Resin;250;g;4,50;kg\nA2;Wire;9;mm;1,20;m\n"
    )
    assert got.frame["unit_cost"].tolist() == pytest.approx([0.0045, 0.0012])
    assert "T031" not in codes(got)


def test_a_header_that_names_the_order_is_not_divided_by(read_text):
    """Extended costs that are quantity × price deny that the price is for a hundred."""
    got = read_text("Part;Qty;Price EUR per 100;Total\nScrew;8;3.40;27.20\nNut;4;2.00;8.00\nPin;10;9.00;90.00\n")
    assert got.frame["unit_cost"].tolist() == [3.4, 2.0, 9.0]


DRIVE = [["Housing", 1, 20], ["Drive", 2, ""], ["Bearing", 3, 5], ["Shaft", 1, 10], ["Seal", 4, 1]]
"""Bearing and shaft belong to the drive."""


@pytest.mark.parametrize(
    ("header", "marks"),
    [
        ("Level", ["..1", "..1", "...2", "...2", "..1"]),
        ("Level", ["1", "-1", "--2", "--2", "1"]),
        ("Pos", ["1", "2", "2.1", "2.2", "3"]),
        ("Pos", [1, 2, 2.1, 2.2, 3]),
        ("Item", [10, 20, 20.1, 20.2, 30]),
    ],
)
def test_levels_are_read_however_they_are_written(read_rows, header, marks):
    """As points before the level, and as positions of which most have no parts, typed as text or as numbers."""
    got = read_rows(
        [[header, "Part", "Qty", "Unit cost EUR"], *([m, *row] for m, row in zip(marks, DRIVE, strict=True))]
    )
    assert got.frame["parent_row"].tolist() == [-1, -1, 1, 1, -1]
    assert got.frame["row_kind"].tolist()[1] == "assembly"


def test_part_numbers_that_are_indented_show_the_structure(read_rows, read_text):
    numbers = ["C1", "S1", "A1", "B1", "D1"]
    rows = [[n, *row] for n, row in zip(numbers, DRIVE, strict=True)]

    def dress(book):
        for row in (4, 5):
            book["BOM"].cell(row, 1).alignment = Alignment(indent=1)

    head = ["Part No", "Description", "Qty", "Unit cost EUR"]
    assert read_rows([head, *rows], dress=dress).frame["parent_row"].tolist() == [-1, -1, 1, 1, -1]
    lines = [";".join(head), *(("  " if r[0] in ("A1", "B1") else "") + ";".join(map(str, r)) for r in rows)]
    got = read_text("\n".join(lines) + "\n")
    assert got.frame["parent_row"].tolist() == [-1, -1, 1, 1, -1]
    assert got.frame["part_no"].tolist() == numbers
    assert "T064" in codes(got)


STAGGERED = [
    ("A-100", 1, ""),
    ("B-110", 2, ""),
    ("C-111", 3, 4.0),
    ("C-112", 1, 0.5),
    ("B-120", 1, 7.0),
    ("A-200", 1, 3),
]


@pytest.mark.parametrize(
    ("heads", "written"),
    [
        (("Level 1", "Level 2", "Level 3"), "number"),
        (("Part number", "", ""), "number"),
        (("Ebene 1", "Ebene 2", "Ebene 3"), "number"),
        (("Assembly", "Sub-assembly", "Part"), "number"),
        (("0", "1", "2"), "x"),
        (("Level", "", ""), "depth"),
    ],
)
def test_the_structure_is_read_from_the_column_that_a_line_stands_in(read_rows, heads, written):
    """It was read flat, and the part numbers of the deeper columns were lost."""
    depths = [0, 1, 2, 2, 1, 0]
    own = ["Part no"] if written != "number" else []
    rows = [[*heads, *own, "Description", "Qty", "Unit cost EUR"]]
    for (number, qty, cost), depth in zip(STAGGERED, depths, strict=True):
        cell = {"number": number, "x": "x", "depth": depth + 1}[written]
        steps = [cell if d == depth else "" for d in range(3)]
        rows.append([*steps, *([number] if own else []), f"part of {number}", qty, cost])
    got = read_rows(rows)
    assert got.frame["part_no"].tolist() == [number for number, _, _ in STAGGERED]
    assert got.frame["parent_row"].tolist() == [-1, 0, 1, 1, 0, -1]
    assert got.frame["row_kind"].tolist() == ["assembly", "assembly", "part", "part", "part", "part"]
    assert [f.column for f in got.findings if f.code == "T064"] == ["A to C"]


def test_headings_in_a_column_before_the_names_are_no_structure(read_rows):
    rows = [["Part", "", "Qty", "Price EUR"], ["Drive"], ["", "motor", 1, 40.0], ["", "gear", 2, 4.0],
            ["Frame"], ["", "bar", 2, 3.0], ["", "foot", 4, 1.0]]  # fmt: skip
    got = read_rows(rows)
    assert got.frame["parent_row"].tolist() == [-1] * len(got.frame)
    assert "T064" not in codes(got)


def test_positions_without_parts_and_prices_are_no_levels(read_rows):
    head = ["Pos", "Part", "Qty", "Unit cost EUR"]
    for marks in ([10, 20, 30, 40, 50], [1, 2, 2.5, 3, 4], ["1", "2", "3.1", "3.2", "4"], [1.5, 1, 2.1, 2.2, 3]):
        got = read_rows([head, *([m, *row] for m, row in zip(marks, DRIVE, strict=True))])
        assert got.frame["parent_row"].tolist() == [-1] * 5, marks


WHOLE = "Level;Part No;Description;{}Total Qty;Unit cost EUR\n"


def test_quantities_of_the_whole_product_are_not_multiplied_again(read_text):
    """2 drives of 3 bearings and a shaft: 6 and 2 in the product, beside 3 and 1 in one drive."""
    rows = "1;S1;Drive;2;2;\n2;A;Bearing;3;6;5\n2;B;Shaft;1;2;10\n1;C;Housing;1;1;20\n"
    got = read_text(WHOLE.format("Qty per assy;") + rows)
    assert got.frame["qty"].tolist() == [2, 3, 1, 1]
    assert "T089" in codes(got)
    extended = "1;S1;Drive;2;2;;\n2;A;Bearing;3;6;5;30\n2;B;Shaft;1;2;10;20\n1;C;Housing;1;1;20;20\n"
    got = read_text("Level;Part No;Description;Qty;Ext Qty;Unit cost EUR;Ext cost\n" + extended + "Total;;;;;;70\n")
    assert got.frame["qty"].tolist() == [2, 3, 1, 1]
    assert {"T089", "T070"} <= codes(got)
    assert "T053" not in codes(got)


def test_a_total_quantity_with_nothing_to_tell_by_is_warned_of(read_text):
    rows = "1;S1;Drive;2;\n2;A;Bearing;6;5\n2;B;Shaft;2;10\n1;C;Housing;1;20\n"
    assert "T090" in codes(read_text(WHOLE.format("") + rows))
    assert "T090" not in codes(read_text(WHOLE.format("") + rows, columns={"qty": "Total Qty"}))
    assert "T090" not in codes(read_text(WHOLE.format("") + rows.replace("Drive;2", "Drive;1")))


def test_a_price_marked_in_another_currency_than_its_row_says_is_told(read_text):
    rows = "A1;Bearing;2;£3.00;EUR\nA2;Seal;1;$1;CAD\nA3;Nut;1;1 kr;NOK\n"
    got = read_text("part_no;description;qty;unit_cost;currency\n" + rows)
    assert got.frame["currency"].tolist() == ["EUR", "CAD", "NOK"]
    (said,) = (f for f in got.findings if f.code == "T091")
    assert (said.row, said.found) == (2, "£ in a row of EUR, the first of 1")


def test_a_dash_stands_for_no_cents(read_text):
    got = read_text("Teil;Menge;Preis CHF\nWelle;1;12.-\nNabe;1;12,--\nRad;1;1.234,-\nFuss;4;3,50\nRest;1;3-\n")
    assert got.frame["unit_cost"].tolist()[:4] == [12.0, 12.0, 1234.0, 3.5]
    assert np.isnan(got.frame["unit_cost"][4])  # a sign behind the number


def test_dates_that_prove_both_orders_are_not_settled_by_the_more(read_text):
    """Two people kept the list: 24/12/2020 beside 12/31/21 leaves 1/2/21 open; points mean day first beside any."""
    text = "part;qty;price EUR;price date\nA nut;1;2;12/31/21\nB nut;1;2;1/2/21\nC nut;1;2;{}\nD nut;1;2;{}\n"
    got = read_text(text.format("24/12/2020", "23/12/2020"))
    assert [f.row for f in got.findings if f.code == "T041"] == [3]
    us = read_text(text.format("24/12/2020", "12/23/2020"))
    assert us.frame["cost_date"][1] == np.datetime64("2021-01-02")
    assert [f.assumed for f in us.findings if f.code == "T041"] == ["month first"]
    points = read_text(text.format("12/24/2020", "5.3.2021"))
    assert points.frame["cost_date"][3] == np.datetime64("2021-03-05")
    assert [f.row for f in points.findings if f.code == "T041"] == [3]
    settled = read_text(text.format("24/12/2020", "23/12/2020"), read=ReadSection(day_first=False))
    assert settled.frame["cost_date"][1] == np.datetime64("2021-01-02")
    assert "T041" not in codes(settled)


@pytest.mark.parametrize(
    ("head", "numbers"),
    [
        ("Part;Description;Qty;Price EUR", ["A-1001", "A-1002", "A-1003"]),
        ("Artikel;Bezeichnung;Menge;Preis EUR", ["4711-001", "4711-002", "4711-003"]),
        ("Komponente;Objektkurztext;Menge;Preis EUR", ["000100200", "000100201", "000100202"]),
        ("Artículo;Descripción;Cant.;P. unitario €", ["ES-1001", "ES-1002", "ES-1001"]),
    ],
)
def test_a_column_headed_part_that_holds_numbers_numbers_the_parts(read_text, head, numbers):
    """Without them no quote finds its part."""
    names = ["motor", "pump", "seal"]
    got = read_text("\n".join([head, *(f"{n};{t};2;1,50" for n, t in zip(numbers, names, strict=True))]))
    assert got.frame["part_no"].tolist() == numbers
    assert got.frame["description"].tolist() == names
    assert got.frame["unit_cost"].tolist() == [1.5] * 3


def test_positions_in_a_column_headed_item_number_no_parts(read_text):
    got = read_text("Item;Description;Qty;Price EUR\n0010;motor;1;40,00\n0020;pump;2;10,00\n0030;seal;4;1,00\n")
    assert got.frame["part_no"].tolist() == ["", "", ""]


# ------------------------------------------------------------ figures a year


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("EAU", "annual_qty"),
        ("Annual usage (pcs)", "annual_qty"),
        ("Annual demand", "annual_qty"),
        ("Jahresbedarf", "annual_qty"),
        ("Qty per year", "annual_qty"),
        ("Annual volume", "annual_volume"),
        ("Build volume", "annual_volume"),
        ("Products a year", "annual_volume"),
    ],
)
@pytest.mark.parametrize("spend", ["Total EUR", "Annual spend EUR", "Remark"])
def test_a_figure_a_year_is_no_quantity_in_the_product(read_text, header, name, spend):
    """Beside the spend of a year, demand × price fits like quantity × price."""
    rows = [(2, 40, 20000), (3, 10, 30000), (4, 1, 40000), (1, 3, 10000)]
    lines = [f"A{i};part {i};{q};{p};{n};{p * n}" for i, (q, p, n) in enumerate(rows)]
    got = read_text("\n".join([f"Part number;Description;Qty;Unit price EUR;{header};{spend}", *lines]))
    assert got.frame["qty"].tolist() == [2, 3, 4, 1]
    assert got.frame["unit_cost"].tolist() == [40, 10, 1, 3]
    assert got.frame[name].tolist() == [20000, 30000, 40000, 10000]
    assert "extended_cost" not in columns(got)


def test_a_sum_carried_to_the_next_page_and_the_tax_are_no_parts(read_text):
    """Parts of 390 and 90 to pay beside them: the sum of a page was a part of 350, the tax one of 70."""
    head = "Part number;Description;Qty;Price;Total"
    rows = ["A1;motor;2;100;200", "A2;pump;3;50;150", ";Carried forward;;;350", head, ";Brought forward;;;350",
            "A3;seal;4;10;40", ";Packing & handling;;;20", ";Total;;;410", ";plus 19 % VAT;;;77.90",
            ";Gesamtsumme;;;487.90"]  # fmt: skip
    got = read_text("\n".join([head, *rows]))
    assert booked(got) == 390.0
    assert got.frame.loc[got.frame["row_kind"] != "part", "row_kind"].tolist() == ["charge", "charge"]
    assert len([f for f in got.findings if f.code == "T070"]) == 4  # each stated sum agrees


@pytest.mark.parametrize("label", ["MwSt", "zzgl. 19 % MwSt.", "MWST 19 %", "USt", "plus VAT", "Mehrwertsteuer"])
def test_the_tax_is_a_charge_however_it_is_written(label):
    assert label_kind(label) == "charge"


@pytest.mark.parametrize(
    ("headers", "cells"),
    [
        ("List price EUR;Discount", ["100;20 %", "50;10 %", "10;0 %"]),
        ("List price EUR;Discount %", ["100;20", "50;10", "10;0"]),
        ("List price EUR;Discount", ["100;0.2", "50;0.1", "10;0"]),
        ("List price EUR;Discount %;Net price EUR", ["100;20;80", "50;10;45", "10;0;10"]),
        ("Price EUR;Discount %;Total EUR", ["100;20;160", "50;10;135", "10;0;40"]),
        ("List price EUR;Discount %;Unit price EUR;Total", ["100;20;80;160", "50;10;45;135", "10;0;10;40"]),
        ("Unit price EUR;Discount %;Total", ["80;20;160", "45;10;135", "10;0;40"]),
    ],
)
def test_a_price_is_booked_less_its_discount(read_text, headers, cells):
    """Nobody pays a list price: 100 less 20 % is booked at 80, whether the net price stands beside it or not."""
    rows = [f"A{i};part {i};{q};{c}" for i, (q, c) in enumerate(zip((2, 3, 4), cells, strict=True))]
    got = read_text("\n".join([f"Part number;Description;Qty;{headers}", *rows]))
    assert got.frame["unit_cost"].tolist() == pytest.approx([80, 45, 10])
    assert got.frame["qty"].tolist() == [2, 3, 4]
    assert ("T108" in codes(got)) == (columns(got)["unit_cost"] == "D" and not cells[0].startswith("80"))


def test_a_discount_that_does_not_tell_per_cent_from_money_is_not_taken_off(read_text):
    got = read_text("Part number;Description;Qty;Price EUR;Discount\nA1;motor;2;100;20\nA2;pump;3;50;10\n")
    assert got.frame["unit_cost"].tolist() == [100, 50]
    assert [f.assumed for f in got.findings if f.code == "T108"] == ["not taken off"]


# ------------------------------------------------------------ quotes


@pytest.mark.parametrize(
    "prices",
    ["Price 1-99;Price 100-999;Price 1,000+", "Unit price @ 1 EUR;Unit price @ 100 EUR;Unit price @ 1000 EUR",
     "Preis ab 1;Preis ab 100;Preis ab 1000", "Price (1 pc);Price (100 pcs);Price (1000 pcs)"],
)  # fmt: skip
def test_price_breaks_beside_each_other_are_quotes_of_their_own(tmp_path, prices):
    """The first column alone was read, in silence: the same quotes row by row are read the same."""
    (tmp_path / "wide.csv").write_text(
        f"Part number;Quote date;Currency;{prices};MOQ\nA1;2023-01-05;EUR;10;9;8;1\nA2;2023-02-05;EUR;5;4;;150\n"
    )
    (tmp_path / "long.csv").write_text(
        "Part number;Quote date;Currency;Unit price;Min qty\nA1;2023-01-05;EUR;10;1\nA1;2023-01-05;EUR;9;100\n"
        "A1;2023-01-05;EUR;8;1000\nA2;2023-02-05;EUR;4;150\n"
    )
    wide, long = (read_table(tmp_path / name, QUOTES) for name in ("wide.csv", "long.csv"))
    told = ["part_no", "quote_date", "currency", "unit_price", "min_qty"]
    assert wide.frame[told].equals(long.frame[told])
    assert {"T109"} == codes(wide) - codes(long)


@pytest.mark.parametrize("prices", ["Price 1;Price 2", "Price 2023;Price 2024", "Price EUR;Price USD"])
def test_further_prices_of_a_quote_that_are_not_read_are_said(tmp_path, prices):
    (tmp_path / "quotes.csv").write_text(
        f"Part number;Quote date;Currency;{prices}\nA1;2023-01-05;EUR;10;9\nA2;2023-02-05;EUR;5;4\n"
    )
    got = read_table(tmp_path / "quotes.csv", QUOTES)
    assert got.frame["unit_price"].tolist() == [10, 5]
    assert [f.found for f in got.findings if f.code == "T102"] == [f"{prices.split(';')[1]!r} beside it"]


@pytest.mark.parametrize("headers", ["Price USD;Price EUR", "Unit cost (USD);Unit cost (EUR)", "Price [$];Price [€]"])
def test_a_price_is_in_the_currency_of_the_column_that_states_it(read_text, headers):
    """Lines without a price in dollars had none, though one in euros stood beside it."""
    rows = ["A1;motor;2;40;", "A2;pump;3;;10", "A3;seal;4;1;0.9", "A4;hose;1;;3"]
    got = read_text("\n".join([f"Part number;Description;Qty;{headers}", *rows]))
    assert got.frame["unit_cost"].tolist() == [40, 10, 1, 3]
    assert got.frame["currency"].tolist() == ["USD", "EUR", "USD", "EUR"]
    assert [(f.row, f.column, f.assumed) for f in got.findings if f.code == "T103"] == [(3, "E", "booked in EUR")]


@pytest.mark.parametrize("header", ["Price basis", "Price unit", "Per", "PE"])
def test_letters_and_packs_say_how_many_pieces_a_price_is_for(read_text, header):
    """A price per thousand was one each: M is a thousand beside C and E."""
    cells = {"E": 1, "C": 100, "M": 1000, "per reel of 3000": 3000, "/1000": 1000, "per 100": 100}
    rows = [f"A{i};part {i};2;{3 * n};{cell}" for i, (cell, n) in enumerate(cells.items())]
    got = read_text("\n".join([f"Part number;Description;Qty;Price EUR;{header}", *rows]))
    assert got.frame["unit_cost"].tolist() == [3.0] * 6
    assert "T031" not in codes(got)


def test_a_price_per_metre_is_none_per_thousand(read_text):
    rows = "A1;wire;2;m;4;M\nA2;cable;3;m;10;M\n"
    got = read_text("Part number;Description;Qty;Unit;Price EUR;Per\n" + rows)
    assert got.frame["unit_cost"].tolist() == [4, 10]


@pytest.mark.parametrize(
    ("quantities", "said"),
    [
        ((3, 4, 1, 2), []),
        ((3, 2, 1, 2), [(3, "1 line")]),
        ((3, 2, 1, 7), [(3, "2 lines, the first in row 3")]),
        ((30, 40, 10, 20), [(0, "10 times as many on 4 of 4 lines")]),
    ],
)
def test_a_quantity_that_is_not_the_number_of_designators_is_said(read_text, quantities, said):
    places = ["R1, R2, R3", "C1-C4", "D1", "U1 U2"]
    rows = [f"A{i};part {i};{d};{q};0.1" for i, (d, q) in enumerate(zip(places, quantities, strict=True))]
    got = read_text("\n".join(["Part number;Description;RefDes;Qty;Unit price EUR", *rows]))
    assert got.frame["qty"].tolist() == list(quantities)
    assert [(f.row or 0, f.found) for f in got.findings if f.code == "T104"] == said


def test_the_reason_of_a_line_that_is_not_fitted_says_so(tmp_path):
    (tmp_path / "audit.toml").write_text('[audit]\nas_of = 2026-06-30\n[files]\nbom = "bom.csv"\n')
    rows = "A1;Ball bearing;2;10;EUR;2016-06-30;\nA2;Ball bearing;2;10;EUR;2016-06-30;DNP\nA3;thing;2;10;EUR;;DNP\n"
    (tmp_path / "bom.csv").write_text("Part number;Description;Qty;Unit cost;Currency;Cost date;Remark\n" + rows)
    lines = audit(tmp_path).lines
    assert lines["qty_per"].tolist() == [2, 0, 0]
    assert lines["reason"].str.startswith("not fitted: counts no quantity; ").tolist() == [False, True, True]
