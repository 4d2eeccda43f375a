"""Two quarters of the sample: the differences that are listed are those that were put in, each with its reason."""

import datetime as dt
import shutil

import numpy as np
import openpyxl
import pytest

from bomaudit.audit import audit
from bomaudit.history.causes import CAUSES, audit_again, causes_by_rerun
from bomaudit.history.compare import compare
from bomaudit.history.scores import calibration
from bomaudit.history.store import list_audits, open_stored, store
from bomaudit.resources import data_folder

DEARER, QUOTED, RENAMED, NEW_NAME = "FS55-1104", "FS55-1102", "FS55-1303", "FS55-1309"


def change_bom(path):
    book = openpyxl.load_workbook(path)
    sheet = book.worksheets[0]
    head = next(r for r in range(1, 20) if sheet.cell(r, 2).value == "Part no.")
    columns = {cell.value: cell.column for cell in sheet[head]}
    rows = {sheet.cell(r, 2).value: r for r in range(head + 1, sheet.max_row + 1)}
    sheet.cell(rows[DEARER], columns["Unit cost"]).value = 9.90
    sheet.cell(rows[RENAMED], 2).value = NEW_NAME
    book.save(path)


@pytest.fixture(scope="module")
def quarters(tmp_path_factory):
    """A folder with both quarters stored, the second after four changes, and how they compare."""
    folder = tmp_path_factory.mktemp("quarters") / "scrubber"
    shutil.copytree(data_folder("sample_boms") / "floor_scrubber", folder)
    settings = (folder / "audit.toml").read_text()
    (folder / "audit.toml").write_text(settings.replace("2026-06-30", "2026-03-31"))
    store(audit(folder), folder, stored_at=dt.datetime(2026, 4, 2, tzinfo=dt.UTC))
    (folder / "audit.toml").write_text(settings.replace("materiality = 0.10", "materiality = 0.08"))
    with (folder / "quotes.csv").open("a") as quotes:
        quotes.write(f"{QUOTED},2026-05-15,40.00,EUR,1,9000,Invented Gears A,firm,2026-12-31,,\n")
    change_bom(folder / "bom.xlsx")
    second = audit(folder)
    store(second, folder, stored_at=dt.datetime(2026, 7, 2, tzinfo=dt.UTC))
    old, new = open_stored(folder, "previous"), open_stored(folder, "latest")
    compared = compare(old, new, causes=causes_by_rerun(old, new, run=audit_again))
    return folder, compared, second


def test_both_quarters_are_stored_whole(quarters):
    folder, _, _ = quarters
    listed = list_audits(folder)
    assert listed["as_of"].tolist() == ["2026-03-31", "2026-06-30"]
    assert (listed["problem"] == "").all()


def test_settings_and_inputs_that_differ_are_those_changed(quarters):
    _, compared, _ = quarters
    assert compared.settings.to_numpy().tolist() == [["audit.materiality", "0.1", "0.08"]]
    assert compared.inputs.to_numpy().tolist() == [["bom", "changed"], ["quotes", "changed"]]
    assert compared.findings == ()


def test_rows_added_and_removed_are_those_put_in(quarters):
    _, compared, _ = quarters
    assert compared.only("added")["part_no"].tolist() == [NEW_NAME]
    assert compared.only("removed")["part_no"].tolist() == [RENAMED]


def test_booked_costs_that_changed_are_the_one_put_in(quarters):
    _, compared, _ = quarters
    booked = compared.lines[compared.lines["d_booked"].abs() > 0]
    assert booked["part_no"].tolist() == [DEARER]
    assert booked["d_booked"].iloc[0] == pytest.approx(3.80)
    assert booked["why"].tolist() == ["data"]


def test_newer_quote_moves_its_part_and_nothing_else_directly(quarters):
    _, compared, _ = quarters
    lines = compared.lines.set_index("part_no")
    assert lines.loc[QUOTED, "d_newer_quotes"] < -10
    assert lines.loc[QUOTED, "why"] == "data"
    others = lines.drop(index=[QUOTED, DEARER, NEW_NAME, RENAMED])
    same_market = lines.loc[[QUOTED, DEARER], "commodity"].tolist()
    assert (others.loc[~others["commodity"].isin(same_market), "effect_data"].fillna(0.0).abs() < 1e-9).all()


def test_effects_add_up_to_the_whole_change(quarters):
    _, compared, _ = quarters
    for frame, change in (
        (compared.lines, compared.lines["d_estimate"]),
        (compared.decisions, compared.decisions["saving_today_new"] - compared.decisions["saving_today_old"]),
    ):
        total = sum(frame[f"effect_{cause}"] for cause in CAUSES)
        held = change.notna()
        assert held.any()
        assert total[held].to_numpy() == pytest.approx(change[held].to_numpy(), abs=1e-9)
        assert (frame["effect_setting"].fillna(0.0) == 0).all()
        assert np.isfinite(frame.loc[held, "effect_time"]).all()


def test_status_that_only_the_tighter_materiality_changed_says_so(quarters):
    _, compared, _ = quarters
    changed = compared.lines[compared.lines["change"].isin(["newly stale", "status changed"])]
    assert set(changed["why"]) <= {"time", "setting"}
    assert "setting" in set(changed["why"])


def test_forecast_is_scored_against_the_quote_that_came_in(quarters):
    _, compared, second = quarters
    record = calibration([compared.old, compared.new], second.quotes, fx=second.opened.fx)
    assert record.loc[0, "quotes"] >= 1
    assert record.loc[1, "quotes"] == 0


@pytest.fixture
def small(tmp_path):
    """A folder of one part with its market, and how to store it as it is."""
    (tmp_path / "bom.csv").write_text(
        "part_no,qty,unit_cost,currency,cost_date,commodity\nA-1,1,40,EUR,2020-05-10,brushed_motor\n"
    )
    rows = "".join(f"brushed_motor,{year},{1_000_000 + 100_000 * (year - 2018)}\n" for year in range(2018, 2024))
    (tmp_path / "volumes.csv").write_text(f"commodity,period,volume\n{rows}")
    (tmp_path / "audit.toml").write_text(
        '[audit]\nas_of = 2025-06-30\ncurrency = "EUR"\nannual_volume = 2000\n'
        '[files]\nbom = "bom.csv"\nvolumes = "volumes.csv"\n'
    )

    def kept(day):
        store(audit(tmp_path), tmp_path, stored_at=dt.datetime(2026, 7, day, tzinfo=dt.UTC))
        return open_stored(tmp_path, "latest")

    return tmp_path, kept


def test_a_header_named_with_a_new_file_of_volumes_is_read_with_it(small):
    """The newer file calls its volumes otherwise and audit.toml says so: the whole change is the market's."""
    folder, kept = small
    old = kept(1)
    volumes = (folder / "volumes.csv").read_text().replace("volume", "Wert Y", 1)
    (folder / "volumes.csv").write_text(f"{volumes}brushed_motor,2024,1900000\n")
    with (folder / "audit.toml").open("a") as settings:
        settings.write('[columns.volumes]\nvolume = "Wert Y"\n')
    new = kept(2)
    effects = causes_by_rerun(old, new, run=audit_again).lines.iloc[0]
    change = float((new.tables["lines"]["estimate"] - old.tables["lines"]["estimate"]).iloc[0])
    assert abs(change) > 0.1
    assert effects["effect_curve"] == pytest.approx(change, abs=1e-9)
    assert effects["why"] == "curve"


def test_a_status_that_turned_and_turned_back_is_no_reason(small):
    """Two years make the line drift, a materiality of 20 % has it current again: only time moved its estimate."""
    folder, kept = small
    settings = (folder / "audit.toml").read_text()
    (folder / "audit.toml").write_text(settings.replace("2025-06-30", "2020-06-30"))
    old = kept(1)
    later = settings.replace("2025-06-30", "2022-12-31")
    (folder / "audit.toml").write_text(later)
    assert audit(folder).lines["status"].tolist() == ["drifting"]
    (folder / "audit.toml").write_text(later.replace("[files]", "materiality = 0.2\n[files]"))
    new = kept(2)
    assert [s.tables["lines"]["status"].tolist() for s in (old, new)] == [["current"], ["current"]]
    effects = causes_by_rerun(old, new, run=audit_again).lines.iloc[0]
    assert abs(effects["effect_time"]) > 0.1
    assert (effects["effect_setting"], effects["why"]) == (0.0, "time")
