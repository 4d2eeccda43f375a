"""The sample audits are what their READMEs say: invented, whole, with every status, verdict and story in them."""

import csv
import re
import subprocess
import sys
import tomllib
from datetime import date, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from bomaudit.audit import audit
from bomaudit.glossary import STATUSES

SAMPLES = Path(__file__).resolve().parent.parent / "sample_boms"
SCRUBBER, WASHER = SAMPLES / "floor_scrubber", SAMPLES / "pressure_washer_messy"
HEADER_ROW = 5  # of the scrubber's bill, after three title rows and an empty one
NAME_OF_SUPPLIER = re.compile(r"^(Invented|Erfundene[rs]?) ")


@pytest.fixture(scope="module")
def bill() -> pd.DataFrame:
    """The scrubber's bill as any program reads it, without our own reader."""
    sheet = openpyxl.load_workbook(SCRUBBER / "bom.xlsx")["BOM"]
    header, *rows = sheet.iter_rows(min_row=HEADER_ROW, values_only=True)
    frame = pd.DataFrame(rows, columns=list(header))
    return frame[frame["Part no."].notna()].reset_index(drop=True)


@pytest.fixture(scope="module")
def verdicts(sample_audit) -> pd.Series:
    return sample_audit.decided.decisions.set_index("decision")["verdict"]


def cells(path: Path) -> list[list[tuple[object, ...]]]:
    book = openpyxl.load_workbook(path)
    return [[*sheet.iter_rows(values_only=True)] for sheet in book]


# ------------------------------------------------------------------------------------------------------- what it is


@pytest.mark.parametrize("folder", [SCRUBBER, WASHER], ids=lambda f: f.name)
def test_labelled_as_invented(folder):
    assert tomllib.loads((folder / "audit.toml").read_text(encoding="utf-8"))["audit"]["invented"] is True
    assert "invented" in (folder / "README.md").read_text(encoding="utf-8").lower()
    for book in folder.glob("*.xlsx"):
        first = " ".join(str(c) for sheet in cells(book) for row in sheet[:4] for c in row if c)
        assert "INVENTED" in first or "ERFUNDEN" in first


def test_supplier_names_cannot_be_taken_for_firms(bill):
    with (SCRUBBER / "quotes.csv").open(encoding="utf-8") as f:
        quoted = {row["supplier"] for row in csv.DictReader(f)}
    for name in {*bill["Supplier"].dropna(), *quoted}:
        assert NAME_OF_SUPPLIER.match(name), name


@pytest.mark.parametrize(
    ("script", "folder"), [("build_floor_scrubber", SCRUBBER), ("build_pressure_washer", WASHER)], ids=str
)
def test_built_again_the_same(script, folder, tmp_path):
    """The committed files are what the script writes: text byte by byte, workbooks cell by cell."""
    for copy in ("a", "b"):
        subprocess.run([sys.executable, SAMPLES / f"{script}.py", "--out", tmp_path / copy], check=True)
    for built in sorted((tmp_path / "a").iterdir()):
        assert built.read_bytes() == (tmp_path / "b" / built.name).read_bytes()
        committed = folder / built.name
        if built.suffix == ".csv":
            assert built.read_bytes() == committed.read_bytes(), built.name
        else:
            assert cells(built) == cells(committed), built.name


# ------------------------------------------------------------------------------------------------- the scrubber's data


def test_size_and_depth_of_the_bill(bill):
    parts = bill[bill["Supplier"].notna() | bill["Cost date"].notna()]
    assert len(parts) >= 120
    assert bill["Level"].nunique() >= 4
    assert bill["Part no."].is_unique
    assert set(bill["Currency"]) == {"EUR", "USD", "CNY", "JPY"}
    assert bill["Commodity"].nunique() >= 15
    assert {1, 100, 1000} <= set(bill["Price per"])


def test_gaps_a_client_would_have(sample_audit):
    lines = sample_audit.lines[sample_audit.lines["row_kind"] == "part"]
    quoted = set(sample_audit.inputs.tables["quotes"]["part_no"])
    assert {"quote", "cost_date", "undated"} <= set(lines["basis"])
    assert {"stated", "quotes", "unknown"} <= set(lines["commodity_basis"])
    assert (~lines["part_no"].isin(quoted)).sum() >= 10
    assert (lines["price_currency"] != lines["booked_currency"]).any()
    assert lines["safety_relevant"].any()


def test_quotes_reach_from_2013_to_2026_with_every_kind_and_price_breaks():
    quotes = pd.read_csv(SCRUBBER / "quotes.csv", parse_dates=["quote_date"])
    assert len(quotes) >= 300
    assert quotes["quote_date"].dt.year.min() == 2013
    assert quotes["quote_date"].max() > pd.Timestamp("2026-01-01")
    assert set(quotes["kind"]) == {"firm", "purchase", "budgetary", "catalogue"}
    assert quotes.groupby(["part_no", "quote_date"])["min_qty"].nunique().max() >= 3


def test_volumes_begin_before_the_first_quote_and_add_up():
    volumes = pd.read_csv(SCRUBBER / "volumes.csv")
    assert volumes["period"].min() < 2013
    assert volumes["commodity"].nunique() >= 15
    for _, v in volumes.groupby("commodity"):
        grown = v["cumulative_volume"].diff().iloc[1:]
        assert (grown - v["volume"].iloc[1:]).abs().max() <= 1e-4 * v["cumulative_volume"].max()


def test_the_rare_pump_became_a_commodity():
    """Tens of thousands a year when the decision was taken, tens of millions a year at the audit."""
    volumes = pd.read_csv(SCRUBBER / "volumes.csv").set_index(["commodity", "period"])["volume"]
    assert 1e4 < volumes["electronic_pump", 2015] < 1e5
    assert 1e7 < volumes["electronic_pump", 2025] < 1e8
    assert volumes["turbine_blower"].iloc[-1] < 1.5 * volumes["turbine_blower", 2015]


# -------------------------------------------------------------------------------------------------- what the audit says


def test_stated_total_is_the_roll_up_to_the_cent(sample_audit):
    sheet = openpyxl.load_workbook(SCRUBBER / "bom.xlsx")["BOM"]
    stated = next(row[5] for row in sheet.iter_rows(values_only=True) if row[2] == "Total cost")
    lines = sample_audit.lines
    rolled = lines.loc[lines["row_kind"].isin(["part", "charge"]), "booked_extended"].sum()
    assert abs(rolled - stated) < 0.01


def test_every_status_occurs(sample_audit):
    counts = sample_audit.lines.loc[sample_audit.lines["row_kind"] == "part", "status"].value_counts()
    assert set(counts.index) == set(STATUSES)
    assert counts.min() >= 3


def test_every_verdict_occurs(verdicts):
    assert set(verdicts) == {"reopen", "review", "requote", "watch", "stands"}
    assert len(verdicts) >= 8


STORIES = {
    "dosing-pump": "reopen",  # the rare one became a commodity
    "suction": "stands",  # the alternative's market never grew
    "panel": "stands",  # flips by the piece, stands fully accounted
    "traction-motor": "reopen",  # stands by the piece, flips fully accounted
    "deck-lift": "requote",  # too uncertain: knowing is worth more than asking
    "battery": "watch",  # tips in a coming year
    "brake": "review",  # flips, but bears on safety
    "charger": "reopen",
    "frame": "stands",
    "harness": "stands",
}


def test_each_story_comes_out(verdicts):
    assert verdicts.to_dict() == STORIES


def piece_prices(sample_audit, decision: str) -> dict[str, float]:
    """Today's price of the parts of each option."""
    elements = sample_audit.decided.elements
    own = elements[(elements["decision"] == decision) & (elements["kind"] == "part")]
    return (own["today_per_unit"]).groupby(own["option"]).sum().to_dict()


def test_dosing_pump_lost_the_difference_that_decided_it(sample_audit):
    row = sample_audit.decided.decisions.set_index("decision").loc["dosing-pump"]
    assert 8 < row["saving_booked"] < 20  # the choice was right when taken
    assert row["saving_high"] < 0  # and is dearer today even at the cautious end
    assert row["tipped_on"] < pd.Timestamp("2026-06-30")
    elements = sample_audit.decided.elements
    pumps = elements[elements["part_no"].isin(["FS55-3101", "ALT-3101"])].set_index("part_no")
    assert pumps.loc["ALT-3101", "booked_per_unit"] - pumps.loc["FS55-3101", "booked_per_unit"] > 10
    assert pumps.loc["ALT-3101", "today_per_unit"] < pumps.loc["FS55-3101", "today_per_unit"]


def test_suction_has_the_same_shape_but_no_growth(sample_audit):
    row = sample_audit.decided.decisions.set_index("decision").loc["suction"]
    assert row["saving_booked"] > 10
    assert row["saving_low"] > 0
    assert row["p_flip"] < 0.1


def test_panel_flips_on_piece_price_and_stands_fully_accounted(sample_audit):
    prices = piece_prices(sample_audit, "panel")
    assert prices["display"] < prices["led-panel"]
    assert sample_audit.decided.decisions.set_index("decision").loc["panel", "npv"] < 0


def test_traction_motor_stands_on_piece_price_and_flips_fully_accounted(sample_audit):
    prices = piece_prices(sample_audit, "traction-motor")
    assert prices["brushed"] < prices["brushless"]
    assert sample_audit.decided.decisions.set_index("decision").loc["traction-motor", "npv"] > 0


def test_deck_lift_is_worth_asking(sample_audit):
    row = sample_audit.decided.decisions.set_index("decision").loc["deck-lift"]
    assert 0.2 < row["p_pays_back"] < 0.8
    assert row["evpi"] > 150


def test_battery_tips_later(sample_audit):
    row = sample_audit.decided.decisions.set_index("decision").loc["battery"]
    assert pd.Timestamp("2026-12-31") < row["tips_on"] < pd.Timestamp("2032-01-01")
    assert row["npv"] < 0


def test_brake_is_held_back_for_safety(sample_audit):
    row = sample_audit.decided.decisions.set_index("decision").loc["brake"]
    assert row["safety_relevant"]
    assert row["npv_low"] > 0
    assert "ngineering review" in row["reason"]


def test_a_quarter_earlier_says_much_the_same(sample_audit, verdicts):
    """Two quarters of the same bill: an audit does not hang on the day it was run."""
    before = audit(SCRUBBER, as_of=date(2026, 6, 30) - timedelta(days=91))
    assert before.decided.decisions.set_index("decision")["verdict"].to_dict() == verdicts.to_dict()
    both = before.lines.set_index("line_id")["status"] == sample_audit.lines.set_index("line_id")["status"]
    assert both.mean() > 0.9


@pytest.mark.parametrize("seed", [1])
def test_stories_do_not_hang_on_the_noise(seed, tmp_path):
    """Other quotes from the same markets give the same verdicts."""
    script = SAMPLES / "build_floor_scrubber.py"
    subprocess.run([sys.executable, script, "--out", tmp_path, "--seed", str(seed)], check=True)
    (tmp_path / "audit.toml").write_bytes((SCRUBBER / "audit.toml").read_bytes())
    again = audit(tmp_path).decided.decisions.set_index("decision")["verdict"]
    assert again.to_dict() == STORIES


# ------------------------------------------------------------------------------------------- the messy spreadsheet


@pytest.fixture(scope="module")
def washer():
    return audit(WASHER)


def test_messy_bill_is_read_whole(washer):
    lines = washer.lines.set_index("part_no")
    assert len(lines) == 48
    assert lines["row_kind"].value_counts().to_dict() == {"part": 45, "charge": 2, "alternative": 1}
    assert lines.loc["HD140-201", "booked_price"] == pytest.approx(108.40)  # 1.084,00 per 10
    assert lines.loc["HD140-307", "booked_price"] == pytest.approx(0.042)  # 4,20 per 100
    assert lines.loc["HD140-103", "booked_price"] == pytest.approx(6.30)  # typed as text
    assert lines.loc["HD140-208", "qty_per"] == pytest.approx(0.4)


def test_messy_dates_are_understood(washer):
    lines = washer.inputs.tables["bom"].set_index("part_no")["cost_date"]
    assert lines["HD140-103"] == pd.Timestamp("2016-05-12")
    assert lines["HD140-105"] == pd.Timestamp("2017-02-20")
    assert lines["HD140-101"].to_period("M") == pd.Period("2016-03")
    assert pd.isna(lines["HD140-208"])


def test_a_date_that_is_not_understood_is_named(washer):
    """A week, KW 14/2016, is read or refused, never guessed to be a month."""
    date_read = washer.inputs.tables["bom"].set_index("part_no")["cost_date"]["HD140-409"]
    named = any("KW 14/2016" in f.found for f in washer.findings)
    assert named if pd.isna(date_read) else date_read.to_period("M") == pd.Period("2016-04")


def test_messy_total_is_the_sum_of_the_parts(washer):
    sheet = openpyxl.load_workbook(WASHER / "Stueckliste_HD140.xlsx")["Stückliste"]
    stated = next(row[9] for row in sheet.iter_rows(values_only=True) if row[2] == "Gesamtsumme Material je Gerät")
    counted = washer.lines[washer.lines["row_kind"].isin(["part", "charge"])]
    # each line is rounded to the cent in the file, so the sums may differ by half a cent a line
    assert abs(counted["booked_extended"].sum() - stated) < 0.005 * len(counted)


def test_price_on_request_is_named(washer):
    line = washer.lines.set_index("part_no").loc["HD140-405"]
    assert line["status"] == "unknown"
    assert line["reason"]


def test_safety_in_the_remarks_is_heard(washer):
    lines = washer.lines.set_index("part_no")["safety_relevant"]
    assert set(lines[lines].index) == {"HD140-206", "HD140-504"}


def test_decisions_of_a_bill_that_never_mentions_safety_are_not_passed_in_silence(washer, tmp_path):
    assert not [f for f in washer.findings if f.code == "D023"]
    for file in WASHER.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    book = openpyxl.load_workbook(WASHER / "Stueckliste_HD140.xlsx")
    for row in book["Stückliste"].iter_rows():
        for cell in row:
            cell.value = None if cell.value == "sicherheitsrelevant" else cell.value
    book.save(tmp_path / "Stueckliste_HD140.xlsx")
    (found,) = [f for f in audit(tmp_path).findings if f.code == "D023"]
    assert "no decision is held for an engineering review" in str(found)


def test_alternates_become_decisions(washer):
    assert len(washer.decided.decisions) == 3
