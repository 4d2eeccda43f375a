"""Build the sample audit ``floor_scrubber``: everything in it is invented, and this script says how.

The tables in ``floor_scrubber_tables/`` are the data: bill of materials, markets, input prices, decisions. Price
histories come from one stated process (``sample_prices.py``), so that quotes agree with the market volumes they claim.
Running the script again gives the same files, byte by byte.

Run ``python sample_boms/build_floor_scrubber.py [--seed N] [--out FOLDER]``. Another seed gives other quotes from the
same markets; the verdicts of the audit do not hang on it.
"""

from __future__ import annotations

import argparse
import csv
import math
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import xlsxwriter
from sample_prices import (
    AS_OF,
    FIRST_YEAR,
    INPUT_YEARS,
    LAST_PUBLISHED,
    Part,
    World,
    market,
    neat,
    noise,
    quotes,
    workday,
)  # fmt: skip

from bomaudit.prepare.currency import reference_rates

HERE = Path(__file__).resolve().parent
TABLES = HERE / "floor_scrubber_tables"
SEED = 20150921
RELEASE = "2017-03-31"  # of the bill: many lines carry this date, not the date of their quote
STAMP = datetime.combine(AS_OF, time())  # written into the workbooks instead of the clock
MACHINES_PLANNED, MACHINES_NOW, SISTER_MACHINES = 6000, 9000, 2500  # a year


def rows(table: str) -> list[list[str]]:
    """Cells of a table of the text files, comments left out."""
    lines = (TABLES / f"{table}.txt").read_text(encoding="utf-8").splitlines()
    return [[c.strip() for c in line.split("|")] for line in lines if line.strip() and not line.startswith("#")]


def number(text: str) -> float | None:
    """Number of a cell, None where it is empty."""
    return float(text) if text else None


# parts
def bom_rows() -> list[dict[str, str]]:
    """Rows of the bill as dictionaries, flags as keys with an underscore; assemblies have no price."""
    names = "level part_no description qty uom price currency per cost_date quote_date history commodity supplier flags"
    result = []
    for cells in rows("bom"):
        row = dict(zip(names.split(), [*cells, *[""] * (len(names.split()) - len(cells))], strict=True))
        flags = {"_" + f.split("=")[0]: f.partition("=")[2] or "yes" for f in row["flags"].split(";") if f}
        result.append({k: "" if v == "-" else v for k, v in row.items()} | flags)
    return result


def bom_parts(bill: list[dict[str, str]]) -> list[Part]:
    """Parts of the bill that have quotes."""
    fx = reference_rates("EUR")
    parts = []
    for row in bill:
        if not (row["price"] and row["quote_date"] and row["commodity"]) or row["history"] == "n":
            continue
        on, price, currency = date.fromisoformat(row["quote_date"]), float(row["price"]), row["currency"]
        price /= float(row["per"])
        if "_quoted" in row:
            currency = row["_quoted"]
            price = neat(price / float(fx.rate([currency], [np.datetime64(on)])[0]))
        qty = float(row["qty"])
        pieces = (MACHINES_PLANNED * qty, MACHINES_NOW * qty)
        market_and_who = (row["history"], row["commodity"], row["supplier"], pieces, "_custom" in row)
        parts.append(Part(row["part_no"], price, currency, on, *market_and_who))
    return parts


def other_parts() -> list[Part]:
    """Alternatives and parts of sister machines."""
    sister, ours = (SISTER_MACHINES, 1.2 * SISTER_MACHINES), (MACHINES_PLANNED, MACHINES_NOW)
    return [
        Part(no, float(price), currency, date.fromisoformat(on), history, *rest, sister if history == "s" else ours)
        for no, _, price, currency, on, history, *rest in rows("other_parts")
    ]


# files
def cost_date(row: dict[str, str]) -> date | None:
    """Date written beside the booked cost."""
    text = {"R": RELEASE, "=": row["quote_date"]}.get(row["cost_date"], row["cost_date"])
    return date.fromisoformat(text) if text else None


def rolled(bill: list[dict[str, str]]) -> list[float]:
    """Cost of one of each row in euro at the rate of the quote's day (else the cost date); scrap: net / (1 - scrap)."""
    fx = reference_rates("EUR")
    costs, sums = [0.0] * len(bill), dict.fromkeys(range(10), 0.0)
    for k in reversed(range(len(bill))):
        row, level = bill[k], int(bill[k]["level"])
        if row["price"]:
            day = row["quote_date"] or str(cost_date(row) or AS_OF)
            costs[k] = (
                float(row["price"]) / float(row["per"]) * float(fx.rate([row["currency"]], [np.datetime64(day)])[0])
            )
            quantity = float(row["qty"]) / (1 - float(row.get("_scrap", 0)))
        else:
            costs[k], sums[level + 1], quantity = sums[level + 1], 0.0, 1.0
        sums[level] += costs[k] * quantity
    return costs


def workbook(
    path: Path, table: list[list[object]], *, sheet: str, titles: list[str], header: list[str], widths: str
) -> None:
    """One sheet with title rows, a header and the rows of a table; dates as dates, empty cells left empty."""
    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"title": titles[0], "created": STAMP})
    bold, day = book.add_format({"bold": True, "text_wrap": True}), book.add_format({"num_format": "yyyy-mm-dd"})
    page = book.add_worksheet(sheet)
    for r, text in enumerate(titles):
        page.write_string(r, 0, text)
    top = len(titles) + 1
    page.write_row(top, 0, header, bold)
    for r, cells in enumerate(table, start=top + 1):
        for c, value in enumerate(cells):
            if isinstance(value, date):
                page.write_datetime(r, c, datetime.combine(value, time()), day)
            elif value not in ("", None):
                page.write(r, c, value)
    for c, width in enumerate(widths.split()):
        page.set_column(c, c, float(width))
    page.freeze_panes(top + 1, 0)
    book.close()


BOM_HEADER = [
    "Level", "Part no.", "Description", "Qty", "Unit", "Unit cost", "Currency", "Price per", "Cost date", "Commodity",
    "Supplier", "Make or buy", "Sourcing", "Scrap", "Safety relevant", "Agreed reduction", "Agreed until", "Note",
]  # fmt: skip


def bom_cells(row: dict[str, str], cost: float) -> list[object]:
    """One row of the bill as the workbook shows it."""
    where = [int(row["level"]), row["part_no"], row["description"]]
    if not row["price"]:
        return [*where, 1, "pcs", round(cost, 2), "EUR", 1, None, "", "", "make"]
    shown = "" if "_hide" in row else row["commodity"]
    sourcing = ("custom" if "_custom" in row else "standard") if row["commodity"] else ""
    rate, _, until = row.get("_agreed", "").partition("@")
    return [
        *where, float(row["qty"]), row["uom"], float(row["price"]), row["currency"], int(row["per"]), cost_date(row),
        shown, row["supplier"], "make" if "_make" in row else "buy", sourcing, number(row.get("_scrap", "")),
        row.get("_safety", ""), number(rate), date.fromisoformat(until) if until else None, row.get("_note", ""),
    ]  # fmt: skip


def bom_table(bill: list[dict[str, str]]) -> list[list[object]]:
    """Rows of the bill and its stated total."""
    costs = rolled(bill)
    lines = [bom_cells(row, cost) for row, cost in zip(bill, costs, strict=True)]
    return [*lines, [], ["", "", "Total cost", "", "", round(costs[0], 2), "EUR"]]


DECISION_HEADER = [
    "decision", "title", "option", "chosen", "element", "kind", "part_no", "qty", "amount", "currency", "basis", "low",
    "high", "date", "commodity", "sourcing", "decided_on", "annual_volume", "years_left", "change_cost",
    "safety_relevant", "note",
]  # fmt: skip


def decision_table(first_quote: dict[str, date]) -> list[list[object]]:
    """Rows of the decision register; the date of a part's amount is that of its quote, else of the decision."""
    result: list[list[object]] = []
    head: list[str] = []
    for cells in rows("decisions"):
        if cells[0].startswith("="):
            head = [cells[0].lstrip("= "), *cells[1:]]
            continue
        option, element, kind, part, qty, amount, currency, basis, low, high, remark = (*cells, "")[:11]
        name, title, decided, years, change, safety, about = head
        name_of_market, _, note = remark.partition(";") if part.startswith("ALT") else ("", "", remark)
        on = first_quote.get(part, date.fromisoformat(decided)) if kind == "part" else None
        result.append([
            name, title, option.lstrip("*"), "yes" if option.startswith("*") else "no", element, kind, part,
            number(qty), number(amount), currency, basis, number(low), number(high), on, name_of_market,
            "standard" if name_of_market else "", date.fromisoformat(decided), MACHINES_NOW, number(years),
            number(change), "yes" if safety == "y" else "no", note.strip() or about,
        ])  # fmt: skip
    return result


def volume_table(world: World) -> list[list[object]]:
    """Published years of each market: some mature ones end a year early, as publications do."""
    result: list[list[object]] = []
    for name, m in sorted(world.markets.items()):
        late = 1 if not m.rises and noise("vintage", name).random() < 0.3 else 0  # noqa: PLR2004
        for year in range(FIRST_YEAR, LAST_PUBLISHED + 1 - late):
            makers = m.makers_in(year)
            counted = [makers, round(1.6 / makers**0.75, 3)] if m.rises else ["", ""]
            figures = [year, m.volumes[year], m.cumulative[year], m.unit]
            result.append([name, *figures, *counted, "invented for this sample"])
    return result


def input_table() -> list[list[object]]:
    """Input prices, the last year invented in all of them."""
    return [
        [series, year, float(value), unit, currency, source if year < LAST_PUBLISHED else "invented"]
        for series, unit, currency, source, values in rows("input_prices")
        for year, value in zip(INPUT_YEARS, values.split(), strict=True)
    ]


def standard_table(world: World, bill: list[dict[str, str]], parts: dict[str, Part]) -> list[list[object]]:
    """Standard costs: the booked cost in euro. What was last paid lies between it and the market: agreements lag."""
    result: list[list[object]] = []
    for row, cost in zip(bill, rolled(bill), strict=True):
        if not row["price"] or "_charge" in row:
            continue
        draw, annual = noise(world.seed, "standard", row["part_no"]), MACHINES_NOW * float(row["qty"])
        paid, on, part = None, None, parts.get(row["part_no"])
        if part is not None and draw.random() < 0.7:  # noqa: PLR2004  (the rest was not bought last year)
            on = workday(date(2025, 7, 1) + timedelta(days=draw.randrange(340)))
            paid = neat(cost * math.sqrt(world.expected(part, on) / part.price) * math.exp(draw.gauss(0, 0.01)))
        stock = round(annual * draw.uniform(0.02, 0.12))
        set_on = cost_date(row) or date.fromisoformat(RELEASE)
        result.append([row["part_no"], round(cost, 4), "EUR", set_on, stock, round(annual), paid, on])
    return result


def write_csv(path: Path, header: str, table: list[list[object]]) -> None:
    """Comma-separated, line feeds, numbers without trailing digits of binary fractions."""
    with path.open("w", encoding="utf-8", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(header.split())
        out.writerows([[plain(v) if isinstance(v, float) else v for v in line] for line in table])


def plain(value: float) -> str:
    """Number without an exponent and without the trailing digits of a binary fraction."""
    return f"{value:.0f}" if value >= 1e6 else f"{value:.10g}"  # noqa: PLR2004


def build(out: Path, *, seed: int = SEED) -> None:
    """Write the data files of the sample audit into a folder."""
    world = World(
        seed,
        {cells[0]: market(cells, seed) for cells in rows("markets")},
        {cells[0]: [float(v) for v in cells[4].split()] for cells in rows("input_prices")},
    )
    bill, others = bom_rows(), other_parts()
    parts = bom_parts(bill)
    titles = [
        "Bill of materials FS55-0000, floor scrubber 55 cm",
        "INVENTED DATA: no real product, part, supplier or price",
        f"Release {RELEASE}, {MACHINES_NOW} machines a year. Assembly costs are rolled up in euro.",
    ]
    workbook(out / "bom.xlsx", bom_table(bill), sheet="BOM", titles=titles, header=BOM_HEADER,
             widths="6 11 58 7 6 9 9 9 11 20 26 9 10 7 9 10 11 30")  # fmt: skip
    workbook(out / "decisions.xlsx", decision_table({p.no: p.on for p in (*parts, *others)}), sheet="Decisions",
             titles=["Decisions FS55-0000: INVENTED DATA"], header=DECISION_HEADER,
             widths="14 40 14 8 46 14 11 5 9 9 9 8 8 11 18 10 11 9 9 10 9 60")  # fmt: skip
    write_csv(out / "quotes.csv", "part_no quote_date unit_price currency min_qty annual_qty supplier kind valid_until "
              "one_time_cost commodity", quotes(world, [*parts, *others]))  # fmt: skip
    write_csv(out / "volumes.csv", "commodity period volume cumulative_volume unit suppliers top_share source",
              volume_table(world))  # fmt: skip
    write_csv(out / "input_prices.csv", "series period value unit currency source", input_table())
    write_csv(out / "standards.csv", "part_no standard_cost currency set_on on_hand_qty annual_qty last_purchase_price "
              "last_purchase_date", standard_table(world, bill, {p.no: p for p in parts}))  # fmt: skip


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description="Write the files of the sample audit floor_scrubber again.")
    arguments.add_argument(
        "--seed", type=int, default=SEED, help="another seed gives other quotes from the same markets"
    )
    arguments.add_argument("--out", type=Path, default=HERE / "floor_scrubber")
    given = arguments.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    build(given.out, seed=given.seed)
