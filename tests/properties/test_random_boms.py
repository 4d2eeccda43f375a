"""A random bill of materials in random dress reads back as it was: language, number format, structure, file type."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bomaudit.glossary import BOM
from bomaudit.tables import read_table

HEADERS = {
    "en": ("Level", "Part number", "Description", "Qty", "Unit price", "Extended price", "Total"),
    "de": ("Stufe", "Artikelnummer", "Bezeichnung", "Menge", "Einzelpreis", "Gesamtpreis", "Summe"),
    "fr": ("Niveau", "Référence", "Désignation", "Quantité", "Prix unitaire", "Prix total", "Total"),
    "es": ("Nivel", "Referencia", "Descripción", "Cantidad", "Precio unitario", "Importe", "Total"),
    "pl": ("Poziom", "Numer części", "Nazwa", "Ilość", "Cena jednostkowa", "Wartość", "Razem"),
    "ru": ("Уровень", "Артикул", "Наименование", "Количество", "Цена", "Сумма", "Итого"),
    "zh": ("层级", "物料编码", "名称", "数量", "单价", "金额", "合计"),
    "ja": ("階層", "型番", "品名", "数量", "単価", "小計", "合計"),
    "ko": ("레벨", "품번", "품명", "수량", "단가", "금액", "합계"),
}
NOUNS = ("bracket", "gear motor", "washer", "front cover", "control board", "hose", "bearing", "rubber foot", "lever")


@dataclass(frozen=True)
class Bill:
    """What must come back."""

    numbers: list[str]
    names: list[str]
    qty: list[int]
    cost: list[float]


@dataclass(frozen=True)
class Dress:
    """How it is written."""

    language: str
    titles: int
    decimal: str
    mark: str
    kind: str
    extended: bool
    total: bool
    swap: bool
    blank_after: int


@st.composite
def bills(draw):
    n = draw(st.integers(4, 14))
    stems = draw(st.lists(st.integers(0, 99_999), min_size=n, max_size=n, unique=True))
    qty = draw(st.lists(st.integers(1, 40), min_size=n, max_size=n).filter(lambda q: sum(x > 1 for x in q) > 2))
    cents = draw(st.lists(st.integers(5, 900_000), min_size=n, max_size=n))
    numbers = [f"{draw(st.sampled_from(('P', 'AB-', '00')))}{s:05d}" for s in stems]
    names = [f"{draw(st.sampled_from(NOUNS))} {i + 1}" for i in range(n)]
    return Bill(numbers, names, qty, [c / 100 for c in cents])


dresses = st.builds(
    Dress,
    language=st.sampled_from(sorted(HEADERS)),
    titles=st.integers(0, 4),
    decimal=st.sampled_from((".", ",")),
    mark=st.sampled_from(("", "€", "EUR ")),
    kind=st.sampled_from(("xlsx", "csv", "semicolon", "tab", "utf16")),
    extended=st.booleans(),
    total=st.booleans(),
    swap=st.booleans(),
    blank_after=st.integers(0, 3),
)


def rows_of(bill, dress, *, text):
    """The sheet as rows; money as text in the dress's form where ``text``."""

    def money(value):
        if not text:
            return value
        plain = f"{value:.2f}".replace(".", dress.decimal)
        return f"{dress.mark}{plain}" if dress.mark != "€" else f"{plain} €"

    _, number, name, qty, cost, extended, total = HEADERS[dress.language]
    order = (0, 1, 3, 2, 4) if dress.swap else (0, 1, 2, 3, 4)
    width = 5 if dress.extended else 4
    order = [i for i in order if i < width]

    def arranged(cells):
        return [cells[i] for i in order]

    rows = [[f"Sweeper parts list, page {i + 1}"] for i in range(dress.titles)]
    rows.append(arranged([number, name, qty, cost, extended]))
    for i, part in enumerate(bill.numbers):
        ext = money(round(bill.qty[i] * bill.cost[i], 2))
        rows.append(arranged([part, bill.names[i], bill.qty[i], money(bill.cost[i]), ext]))
        if dress.blank_after == i:
            rows.append([])
    if dress.total and dress.extended:
        whole = money(round(sum(round(q * c, 2) for q, c in zip(bill.qty, bill.cost, strict=True)), 2))
        rows.append(arranged(["", total, "", "", whole]))
    return rows


def write(folder, rows, kind):
    if kind == "xlsx":
        book = openpyxl.Workbook()
        for r, row in enumerate(rows, 1):
            for c, value in enumerate(row, 1):
                if value != "":
                    book.active.cell(r, c, value)
        book.save(folder / "bom.xlsx")
        return folder / "bom.xlsx"
    delimiter = {"csv": ",", "semicolon": ";", "tab": "\t", "utf16": "\t"}[kind]
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter).writerows(rows)
    (folder / "bom.csv").write_bytes(stream.getvalue().encode("utf-16" if kind == "utf16" else "utf-8"))
    return folder / "bom.csv"


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(bill=bills(), dress=dresses)
def test_a_random_bill_in_random_dress_reads_back(bill, dress):
    with TemporaryDirectory() as folder:
        path = write(Path(folder), rows_of(bill, dress, text=dress.kind != "xlsx" or bool(dress.mark)), dress.kind)
        got = read_table(path, BOM)
    frame = got.frame
    assert frame["part_no"].tolist() == bill.numbers
    assert frame["description"].tolist() == bill.names
    assert frame["qty"].tolist() == bill.qty
    assert frame["unit_cost"].tolist() == pytest.approx(bill.cost)
    assert set(frame["row_kind"]) == {"part"}
    assert got.rows["row"].tolist() == list(range(1, len(got.rows) + 1))
    assert len(got.rows) >= frame["source_row"].max()


@settings(max_examples=40, deadline=None, derandomize=True)
@given(parents=st.lists(st.integers(0, 8), min_size=3, max_size=12), style=st.sampled_from(("level", "dots", "parent")))
def test_a_random_structure_reads_back_in_every_style(parents, style):
    parent = [-1] + [min(p, i) for i, p in enumerate(parents)]
    order, depth, dots = [], {}, {}

    def visit(node, level, number):
        depth[node], dots[node] = level, number
        order.append(node)
        for k, child in enumerate([c for c, p in enumerate(parent) if p == node], 1):
            visit(child, level + 1, f"{number}.{k}")

    visit(0, 1, "1")
    place = {node: i for i, node in enumerate(order)}
    head = {"level": "Level", "dots": "Level", "parent": "Parent"}[style]
    value = {"level": depth, "dots": dots, "parent": {n: f"N{parent[n]}" if parent[n] >= 0 else "" for n in order}}[
        style
    ]
    lines = [f"{head},Part number,Description,Qty,Price EUR"]
    lines += [f"{value[n]},N{n},{NOUNS[n % len(NOUNS)]} {n},2,{1.5 + n}" for n in order]
    with TemporaryDirectory() as folder:
        (Path(folder) / "bom.csv").write_text("\n".join(lines))
        frame = read_table(Path(folder) / "bom.csv", BOM).frame
    assert frame["parent_row"].tolist() == [place[parent[n]] if parent[n] >= 0 else -1 for n in order]


@settings(max_examples=25, deadline=None, derandomize=True)
@given(bill=bills())
def test_reading_twice_gives_the_same(bill):
    dress = Dress("en", 1, ".", "", "csv", True, True, False, 1)
    with TemporaryDirectory() as folder:
        path = write(Path(folder), rows_of(bill, dress, text=True), "csv")
        first, second = read_table(path, BOM), read_table(path, BOM)
    pd.testing.assert_frame_equal(first.frame, second.frame)
    assert first.findings == second.findings
