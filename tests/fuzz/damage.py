"""Real audits, damaged: each class of hostile input changes a small whole folder by a seed."""

from __future__ import annotations

import csv
import json
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import openpyxl

from bomaudit.audit import Audit, audit
from bomaudit.findings import BadInput
from bomaudit.report.as_data import as_json, summary

TABLES = ("bom", "quotes", "volumes", "decisions", "standards")
SETTINGS = """layout = 1
[audit]
as_of = 2026-06-30
currency = "EUR"
annual_volume = 900
[files]
bom = "bom.csv"
quotes = "quotes.csv"
volumes = "volumes.csv"
decisions = "decisions.csv"
standards = "standards.csv"
"""
ROWS = {
    "bom": [
        [
            "Part number",
            "Description",
            "Qty",
            "UoM",
            "Unit price EUR",
            "Cost date",
            "Supplier",
            "Commodity",
            "Scrap rate",
        ],
        *[
            [
                f"P-{i:02d}",
                f"part {i} of the unit",
                str(1 + i % 3),
                "pcs",
                f"{2.5 + 3 * i:.2f}",
                f"20{14 + i}-03-31",
                f"Maker {i % 3}",
                ("dc_motor", "fastener", "controller_board")[i % 3],
                "0.02",
            ]
            for i in range(9)
        ],
    ],
    "quotes": [
        ["part_no", "quote_date", "unit_price", "currency", "kind", "min_qty", "annual_qty"],
        *[
            [
                f"P-{i % 9:02d}",
                f"20{14 + i}-06-30",
                f"{2.4 + 3 * (i % 9):.2f}",
                ("EUR", "USD")[i % 2],
                "firm",
                "100",
                "900",
            ]
            for i in range(11)
        ],
    ],
    "volumes": [
        ["commodity", "period", "volume"],
        *[["dc_motor", str(2005 + i), str(1000 * (i + 2))] for i in range(20)],
    ],
    "decisions": [
        [
            "decision",
            "option",
            "chosen",
            "element",
            "kind",
            "part_no",
            "qty",
            "amount",
            "annual_volume",
            "years_left",
            "change_cost",
            "decided_on",
        ],
        ["D1", "own", "yes", "motor", "part", "P-00", "1", "", "900", "4", "3000", "2018-01-31"],
        ["D1", "own", "yes", "fitting", "assembly_labour", "", "", "2.5", "900", "4", "3000", "2018-01-31"],
        ["D1", "other", "no", "motor", "part", "P-03", "1", "", "900", "4", "3000", "2018-01-31"],
    ],
    "standards": [
        ["part_no", "standard_cost", "currency", "set_on", "on_hand_qty", "annual_qty"],
        *[[f"P-{i:02d}", f"{2.5 + 3 * i:.2f}", "EUR", "2025-12-31", "40", "900"] for i in range(9)],
    ],
}


def write_folder(folder: Path) -> Path:
    """Write the undamaged folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "audit.toml").write_text(SETTINGS)
    for table, rows in ROWS.items():
        _write(folder / f"{table}.csv", rows)
    return folder


def _write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


def _cell(values: tuple[str, ...], columns: tuple[str, ...] = ()) -> Callable[[Random, Path], set[str]]:
    """Put one of the values into one to three cells of a table; returns the part numbers of rows of the BOM touched."""

    def damage(rng: Random, folder: Path) -> set[str]:
        touched = set()
        for _ in range(rng.randint(1, 3)):
            table = rng.choice(TABLES)
            with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
                rows = list(csv.reader(file))
            row = rng.randrange(1, len(rows))
            named = [i for i, h in enumerate(rows[0]) if not columns or any(c in h.lower() for c in columns)]
            column = rng.choice(named or range(len(rows[0])))
            touched.add(rows[row][0])
            rows[row][column] = rng.choice(values)
            _write(folder / f"{table}.csv", rows)
        return touched

    return damage


def _bytes(change: Callable[[Random, bytearray], bytes]) -> Callable[[Random, Path], None]:
    def damage(rng: Random, folder: Path) -> None:
        path = folder / f"{rng.choice(TABLES)}.csv"
        if rng.random() < 0.5:
            _as_workbook(folder, path.stem)
            path = path.with_suffix(".xlsx")
        path.write_bytes(change(rng, bytearray(path.read_bytes())))

    return damage


def _as_workbook(folder: Path, table: str) -> None:
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([float(c) if c.replace(".", "", 1).isdigit() else c for c in row])
    book.save(folder / f"{table}.xlsx")
    settings = folder / "audit.toml"
    settings.write_text(settings.read_text().replace(f"{table}.csv", f"{table}.xlsx"))


def _flip(rng: Random, data: bytearray) -> bytes:
    for _ in range(rng.randint(1, 12)):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def _columns(rng: Random, folder: Path) -> None:
    path = folder / f"{rng.choice(TABLES)}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    a, b = rng.randrange(len(rows[0])), rng.randrange(len(rows[0]))
    start = rng.choice((0, 1))  # with or without their headers
    for row in rows[start:]:
        row[a], row[b] = row[b], row[a]
    _write(path, rows)


def _rows(rng: Random, folder: Path) -> None:
    path = folder / f"{rng.choice(TABLES)}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    kind = rng.choice(("shuffle", "twice", "none", "ragged", "headless"))
    body = rows[1:]
    rng.shuffle(body)
    made = {
        "shuffle": [rows[0], *body],
        "twice": [*rows, *body],
        "none": rows[:1],
        "headless": body,
        "ragged": [r[: rng.randint(0, len(r))] for r in rows],
    }[kind]
    _write(path, made)


def _settings(rng: Random, folder: Path) -> None:
    path = folder / "audit.toml"
    line = rng.choice(
        (
            "as_of = 1900-01-01",
            "as_of = 9999-12-31",
            "as_of = 0001-01-01",
            "as_of = 2026-06-30T10:00:00+14:00",
            'currency = "USD"',
            'currency = "XXX"',
            "annual_volume = 1e308",
            "annual_volume = 1e-300",
            "confidence = 0.999999999",
            "confidence = 1e-12",
            "materiality = 1e300",
            "materiality = nan",
            "annual_volume = inf",
            "programme_date = 1900-01-01",
            "programme_date = 9999-12-31",
            'title = "\\u202e\\u0007"',
            "layout = -1",
            "as_of = 12:00:00",
        )
    )
    name = line.split(" ", maxsplit=1)[0]
    kept = [t for t in path.read_text().splitlines() if not t.startswith(name)]
    kept.insert(kept.index("[audit]") + 1, line)
    extra = rng.choice(
        (
            "",
            "[decide]\nyears_left = 0\n",
            "[decide]\ndiscount_rate = 0.999\n",
            "[decide]\ndraws = 1\n",
            "[model]\nmaterial_floor = 0\n",
            '[read]\nscrap = "multiply"\n',
            "[audit]\n",
            "[model]\nspillover = 1e300\n",
        )
    )
    path.write_text("\n".join(kept) + "\n" + extra)


CLASSES: dict[str, Callable[[Random, Path], set[str] | None]] = {
    "flipped bytes": _bytes(_flip),
    "cut files": _bytes(lambda rng, data: bytes(data[: rng.randrange(len(data))])),
    "zeroed stretches": _bytes(
        lambda rng, data: bytes(data[: (k := rng.randrange(len(data)))]) + b"\0" * 40 + bytes(data[k:])
    ),
    "swapped columns": _columns,
    "rows lost, doubled, shuffled": _rows,
    "absurd numbers": _cell(
        ("1e9", "1e300", "1e-300", "1e999", "-1e999", "9" * 400, "0", "-0", "1e-320", "123456789012345678901234567890")
    ),
    "quantities of a billion": _cell(("1000000000", "1e9", "1,000,000,000", "0.000000001"), ("qty", "volume")),
    "prices near nought": _cell(("1e-300", "1e-29", "0", "-0.0", "0.0000000001"), ("price", "cost", "amount")),
    "not numbers": _cell(("NaN", "inf", "-inf", "Infinity", "#DIV/0!", "#REF!", "null", "None", "TRUE", "1e", "0x10")),
    "negative": _cell(
        ("-1", "-1000", "(3.50)", "-0.02", "5-", "−7"), ("qty", "volume", "price", "cost", "rate", "amount")
    ),
    "shares out of range": _cell(("1", "1.5", "150 %", "-0.1", "100%", "99.99999999 %", "1e6"), ("rate",)),
    "years": _cell(
        (
            "1900-01-01",
            "9999-12-31",
            "0001-01-01",
            "10000-01-01",
            "1899-12-31",
            "2958465",
            "2100",
            "-5",
            "2024-02-30",
            "99999",
        ),
        ("date", "period", "set_on", "decided"),
    ),
    "time zones": _cell(
        ("2020-03-29T02:30:00+02:00", "2020-01-01T00:00:00Z", "2020-01-01 23:59:59-12:00", "2020-W53", "24:00"),
        ("date", "period", "set_on"),
    ),
    "right to left": _cell(
        ("\u05de\u05e0\u05d5\u05e2", "\u0645\u062d\u0631\u0643 ١٢٫٥", "\u202e5.3\u202c", "\u200f12", "١٬٢٣٤")
    ),
    "emoji and odd letters": _cell(
        ("🔧🔩", "👩‍🔧 motor", "e\u0301" * 50, "\ufeff", "\ud7ff\ue000\uffff", "\U0010ffff", "ﷺ", "½", "³", "Ⅷ", "ᵃ")
    ),
    "longest cells": _cell(
        ("x" * 32_767, "9" * 32_767, "-" * 32_767, '"' * 500, "a;b|c\t" * 5000, "\n" * 3000, "=" * 32_767)
    ),
    "control characters": _cell(("\x00", "\x1b[2J", "a\rb", "\x85", "\u2028", "\x0c", "\x1a")),
    "formulas and markup": _cell(
        ("=1+1", "@SUM(A1)", "</script>", "{{7*7}}", "%s%n", "${jndi:x}", "'; DROP TABLE", "..\\..\\x", "__proto__")
    ),
    "currencies and units": _cell(("XXX", "eur", "€", "$", "BTC", "ZWD", "per 0", "per 1e9", "kg", "100 pcs", "")),
    "kinds and flags": _cell(
        ("maybe", "yes no", "2", "firm?", "part", "option", "once"), ("kind", "chosen", "option", "element")
    ),
    "settings": _settings,
}
"""Class of hostile input to the damage it does."""


def summaries(result: Audit) -> None:
    """What every result must allow: strict JSON of the summary, without a figure that is not finite."""
    json.loads(as_json(summary(result)))
    figures = result.lines.select_dtypes("number").to_numpy(dtype=float)
    assert not np.isinf(figures).any(), "a figure without end"


_SOUND: dict[str, tuple[float, float]] = {}


def sound(scratch: Path) -> dict[str, tuple[float, float]]:
    """Booked price and quantity of each part of the undamaged folder."""
    if not _SOUND:
        lines = audit(write_folder(scratch / "sound")).lines
        _SOUND.update(zip(lines["part_no"], zip(lines["booked_price"], lines["qty_per"], strict=True), strict=True))
    return _SOUND


def try_one(kind: str, seed: int, scratch: Path) -> str:
    """Damage a folder and audit it.

    Returns
    -------
    str
        "audited" or "refused"; anything else that happens is an exception: a traceback, or a figure that is wrong.
    """
    expected, folder = sound(scratch), scratch / "audit"
    shutil.rmtree(folder, ignore_errors=True)
    write_folder(folder)
    touched = CLASSES[kind](Random(seed), folder)  # noqa: S311  (damage, not secrets)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            result = audit(folder)
        except BadInput as refused:
            return "refused" if refused.findings else "refused without a word"
        assert not result.broken, result.broken
        summaries(result)
    if touched is not None:
        got = dict(
            zip(
                result.lines["part_no"],
                zip(result.lines["booked_price"], result.lines["qty_per"], strict=True),
                strict=True,
            )
        )
        others = {p: v for p, v in expected.items() if p not in touched}
        kept = {p: got.get(p) for p in others}
        assert kept == others, "lines that nobody touched changed without a word"
    return "audited"
