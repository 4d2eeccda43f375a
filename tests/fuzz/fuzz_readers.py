"""Fuzz the readers, guided by the code they reach, and keep one small input for each mistake found.

Run ``pip install atheris`` and then ``python tests/fuzz/fuzz_readers.py --cpu-seconds 300 --found FOLDER``; one process
a target. What is found goes, once mended, to ``tests/fuzz/kept/``, where ``test_fuzz.py`` tries it on every run.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["bomaudit"]):
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    import targets

ROOT = Path(__file__).resolve().parents[2]
WORDS = (
    "Part number",
    "Qty",
    "Unit price",
    "Description",
    "Total",
    "EUR",
    "USD",
    "1.234,50",
    "12 %",
    "2024-01-31",
    "Q3 2024",
    "per 100",
    "commodity",
    "period",
    "volume",
    "decision",
    "option",
    "element",
    "kind",
    "inf",
    "nan",
    "1e999",
    "-0",
    "number-columns-repeated=",
    "table:table-row",
    '<c r="A1" t="s"><v>',
    "</v></c>",
    '<row r="',
    "[audit]",
    "as_of =",
)


def seeds(target: str) -> list[bytes]:
    """Real inputs to start from."""
    sample = ROOT / "sample_boms" / "floor_scrubber"
    if target == "text":
        return [
            bytes([targets.TABLES.index(t)]) + b"\n".join((sample / f"{t}.csv").read_bytes().split(b"\n")[:12])
            for t in ("quotes", "volumes", "input_prices", "standards")
        ] + [
            b"\x00Part number,Description,Qty,Unit price EUR\nA-1,plate,2,3.50\nA-2,nut,8,0.10\nTotal,,,7.80\n",
            "\0Level;Artikelnummer;Menge;Einzelpreis;Gesamtpreis\n1;A;2;1.234,50 €;2.469,00\n2;B;1;3,00;3\n".encode(),
            b"\x04decision,option,chosen,element,kind,part_no,qty,amount\nD1,a,yes,x,part,A-1,1,\nD1,b,no,y,amount,,,3\n",
        ]
    if target == "part":
        import zipfile  # noqa: PLC0415

        with zipfile.ZipFile(io.BytesIO(targets.base_workbook())) as archive:
            return [bytes([i]) + archive.read(n) for i, n in enumerate(targets.PARTS) if n in archive.namelist()]
    if target == "ods":
        cell = '<table:table-cell office:value-type="{}" office:value="2"><text:p>{}</text:p></table:table-cell>'
        rows = (("Part number", "Qty", "Price"), ("A", "2", "3.50"), ("B", "1", "4"))
        body = "".join(
            "<table:table-row>" + "".join(cell.format("string", c) for c in r) + "</table:table-row>" for r in rows
        )
        return [
            (
                '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
                'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
                'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
                f'<table:table table:name="S">{body}</table:table></office:spreadsheet></office:body>'
                "</office:document-content>"
            ).encode()
        ]
    small = {
        "toml": [(sample / "audit.toml").read_bytes()],
        "edited": [
            b"part_no,proposed,approved,approved_by,approved_on\nA-1,3.5,yes,K. Meier,2026-01-31\n",
            b"about;name;state;on;by;reason\npart;A-1;open;2026-01-31;K;\n",
        ],
        "cells": [
            "\n".join(WORDS).encode(),
            "1.234,50 €\n(3)\n-5-\n1'000.5\n12 %\n45000\n31.12.2024\nyes".encode(),
        ],
    }
    return small.get(target) or _raw_seeds()


def _raw_seeds() -> list[bytes]:
    import pandas as pd  # noqa: PLC0415

    frame = pd.DataFrame({"Part number": ["A", "B"], "Qty": [1, 2], "Unit price": [3.5, 4.0]})
    held = io.BytesIO()
    frame.to_parquet(held)
    return [targets.base_workbook(), held.getvalue(), targets.as_ods(seeds("ods")[0])]


def run(target: str, budget: float, found: Path) -> None:
    """Fuzz one target until its processor time is used up."""
    corpus = found / f"corpus-{target}"
    corpus.mkdir(parents=True, exist_ok=True)
    for i, data in enumerate(seeds(target)):
        (corpus / f"seed{i}").write_bytes(data)
    words = found / "words.txt"
    words.write_text("\n".join('"' + w.replace("\\", "\\\\").replace('"', '\\"') + '"' for w in WORDS if w.isascii()))
    said: dict[str, int] = {}
    count, began = 0, time.process_time()

    def one(data: bytes) -> None:
        nonlocal count
        count += 1
        problem = targets.attempt(target, data)
        if problem:
            said[problem] = said.get(problem, 0) + 1
            place = found / f"{target}-{abs(hash(problem)) % 10**8:08d}"
            if said[problem] == 1 or len(data) < place.stat().st_size:
                place.write_bytes(data)
                place.with_suffix(".txt").write_text(problem)
        spent = time.process_time() - began
        if count % 50 == 0 or spent > budget:
            (found / f"{target}.json").write_text(
                json.dumps({"inputs": count, "cpu_seconds": round(spent, 1), "said": said}, indent=1)
            )
        if spent > budget:
            os._exit(0)

    atheris.Setup(
        [
            sys.argv[0],
            str(corpus),
            f"-dict={words}",
            "-max_len=6000",
            "-timeout=120",
            "-rss_limit_mb=4000",
            "-detect_leaks=0",
            "-verbosity=0",
            f"-artifact_prefix={found}/{target}-ended-",
        ],
        one,
    )
    atheris.Fuzz()


def minimise(target: str, data: bytes, problem: str, *, tries: int = 400) -> bytes:
    """Cut pieces off an input for as long as the same mistake comes out."""
    size = len(data) // 2
    while size and tries:
        at = 0
        while at < len(data) and tries:
            shorter = data[:at] + data[at + size :]
            tries -= 1
            if targets.attempt(target, shorter) == problem:
                data = shorter
            else:
                at += size
        size //= 2
    return data


def main() -> None:
    """Fuzz every target named, each in a process of its own, then make what was found small."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--target", choices=[*targets.TARGETS], action="append")
    parser.add_argument("--cpu-seconds", type=float, default=300)
    parser.add_argument("--found", type=Path, required=True)
    parser.add_argument("--here", action="store_true", help="in this process; used for each target")
    given = parser.parse_args()
    if given.here:
        run(given.target[0], given.cpu_seconds, given.found)
    for target in given.target or targets.TARGETS:
        command = [
            sys.executable,
            __file__,
            "--here",
            "--target",
            target,
            "--cpu-seconds",
            str(given.cpu_seconds),
            "--found",
            str(given.found),
        ]
        subprocess.run(command, check=False, env=os.environ | {"PYTHONHASHSEED": "0"})
        for place in sorted(given.found.glob(f"{target}-????????")):
            small = minimise(target, place.read_bytes(), place.with_suffix(".txt").read_text())
            place.with_suffix(".small").write_bytes(small)
    for result in sorted(given.found.glob("*.json")):
        print(result.stem, result.read_text())


if __name__ == "__main__":
    main()
