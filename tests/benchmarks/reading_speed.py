"""How long reading takes beside the raw reader and pandas, on files written for it.

Run: ``python tests/benchmarks/reading_speed.py [LINES]`` (default 100,000). Processor time, so that other work on the
machine disturbs little; memory is the peak of the process.
"""

import resource
import sys
import time
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import python_calamine
import xlsxwriter

from bomaudit.glossary import BOM
from bomaudit.tables import read_table

NAMES = ("part_no", "description", "qty", "uom", "unit_cost", "currency", "cost_date", "level", "supplier", "commodity",
         "annual_volume", "scrap_rate", "note")  # fmt: skip


def line(i):
    """One invented line."""
    day = date(2018, 1, 1) + timedelta(days=i % 2000)
    return (f"P{i:07d}", f"bracket, steel {i % 977} mm", 1 + i % 20, "pcs", 0.1 + i % 90_000 / 1000, "EUR", day, 1,
            f"S{i % 50}", "dc_motor", 1000 + i % 7, 0.02, f"note {i % 13}")  # fmt: skip


def write_xlsx(path, n):
    """Write n lines as a workbook."""
    with xlsxwriter.Workbook(path, {"constant_memory": True, "default_date_format": "yyyy-mm-dd"}) as book:
        page = book.add_worksheet("BOM")
        page.write_row(0, 0, NAMES)
        for i in range(n):
            page.write_row(i + 1, 0, line(i))


def write_csv(path, n):
    """Write n lines as text."""
    with path.open("w", encoding="utf-8") as out:
        out.write(",".join(NAMES) + "\n")
        out.writelines(",".join(f'"{v}"' if "," in str(v) else str(v) for v in line(i)) + "\n" for i in range(n))


def seconds(work):
    """Processor seconds of a call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def main():
    """Print the table."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with TemporaryDirectory() as folder:
        xlsx, text = Path(folder) / "bom.xlsx", Path(folder) / "bom.csv"
        write_xlsx(xlsx, n)
        write_csv(text, 10 * n)
        read_table(xlsx, BOM)  # imports and caches
        mine = seconds(lambda: read_table(xlsx, BOM))
        raw = seconds(lambda: python_calamine.load_workbook(xlsx).get_sheet_by_index(0).to_python())
        slow = seconds(lambda: pd.read_excel(xlsx, engine="openpyxl"))
        print(f"{n:,} lines xlsx: {mine:.1f} s; raw reader {raw:.1f} s ({mine / raw:.2f} x)", end="; ")
        print(f"pandas with openpyxl {slow:.1f} s ({mine / slow:.2f} x)")
        took = seconds(lambda: read_table(text, BOM))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        print(f"{10 * n:,} lines csv: {took:.1f} s; peak {peak:.2f} GB")


if __name__ == "__main__":
    main()
