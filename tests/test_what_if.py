"""What-ifs: inputs given for one run reach the estimate, the decisions and the outputs, or say why not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from bomaudit.audit import run
from bomaudit.cli import app
from bomaudit.findings import BadInput
from bomaudit.opened import changed, open_audit
from bomaudit.report.as_data import summarise
from bomaudit.report.content import gather
from bomaudit.report.stories import found
from bomaudit.what_if import KINDS, told_apart


@pytest.fixture(scope="module")
def read(sample_folder):
    return open_audit(sample_folder)


def given(read, *texts):
    return changed(read, told_apart(texts)[1])


def test_settings_are_told_from_inputs():
    settings, changes = told_apart(["decide.seed=1", "audit.title=a:b", "price:A=1", "decision:a.b.years_left=2"])
    assert settings == ["decide.seed=1", "audit.title=a:b"]
    assert [(c.kind, c.name, c.at, c.value) for c in changes] == [
        ("price", "A", "", "1"), ("decision", "a.b", "years_left", "2"),
    ]  # fmt: skip


def test_a_part_number_may_hold_the_mark_of_a_period():
    _, changes = told_apart(["price:A@B=3", "booked:A@B=+5%", "volume:bearing@2024=x2", "input:copper@2025-06=x2"])
    assert [(c.name, c.at) for c in changes] == [("A@B", ""), ("A@B", ""), ("bearing", "2024"), ("copper", "2025-06")]


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("prise:A=1", "S014", "did you mean price?"),
        ("price:A", "S014", "price:PART=12.50 EUR"),
        ("price:FS55-1101=cheap", "S014", "amount above 0"),
        ("price:FS55-1101=-5", "S014", "amount above 0"),
        ("price:FS55-1101=5 XYZ", "S014", "a currency with exchange rates"),
        ("booked:FS55-1101=5 XYZ", "S014", "convert it to EUR"),
        ("price:FS55-110=12", "S015", "did you mean FS55-"),
        ("booked:Fs55-1101=12", "S015", "did you mean FS55-1101"),
        ("date:FS55-1101=yesterday", "S014", "2024-03-31"),
        ("volume:bearings@2024=x2", "S015", "did you mean bearing"),
        ("volume:bearing@2031=x2", "S015", "2025-12-31"),
        ("volume:bearing@20=x2", "S015", "one period"),
        ("volume:bearing@2024=twice", "S014", "factor"),
        ("input:coper=+20%", "S015", "copper"),
        ("input:copper=-120%", "S014", "not negative"),
        ("exponent:dc_moter=0.3", "S015", "dc_motor"),
        ("learning_rate:dc_motor=120%", "S014", "below 1"),
        ("trend:dc_motor=-2%", "S014", "exponent:dc_motor"),
        ("price:FS55-1101@2024=12", "S015", "found 'FS55-1101@2024'"),
        ("exponent:dc_motor@2024=0.3", "S015", "found 'dc_motor@2024'"),
        ("exponent:chemical=0.2", "S015", "there are"),
        ("price:FS55-1101=1e400", "S014", "amount above 0"),
        ("booked:FS55-1101=5 XYZ", "S014", "a currency with exchange rates"),
        ("booked:FS55-1101=-100%", "S014", "above 0"),
        ("date:FS55-1101=2030-01-01", "S014", "up to the as-of date"),
        ("volume:bearing@2024=x0", "S014", "above 0"),
        ("volume:bearing@2024=1e400", "S014", "finite"),
        ("input:copper=-100%", "S014", "above 0"),
        ("exponent:dc_motor=-50", "S014", "from -5 to 5"),
        ("exponent:dc_motor=1e400", "S014", "finite"),
        ("decision:battery.years_left=1e9", "S014", "at most 100 years"),
        ("decision:battery.years_left=0", "S014", "above 0"),
        ("decision:battery.annual_volume=0", "S014", "above 0"),
        ("decision:battery.volume_growth=-2", "S014", "above -100%"),
        ("decision:battery.volume_growth=500", "S014", "at most 100%, as 5% or 0.05"),
        ("volume:bearing@=5", "S014", "a period after @, or no @ for the newest one"),
        ("input:copper@ =+20%", "S014", "a period after @, or no @ for the newest one"),
        ("decision:batery.years_left=3", "S015", "did you mean battery?"),
        ("decision:battery.life=3", "S015", "years_left"),
        ("decision:battery=3", "S015", "years_left"),
    ],
)
def test_what_cannot_be_followed_is_one_clear_error(read, text, code, said):
    with pytest.raises(BadInput) as problem:
        given(read, text)
    (finding,) = problem.value.findings
    assert finding.code == code
    assert said in str(finding)


def test_a_trend_is_the_change_of_a_year(read):
    """-20% is ln 0.8, not -0.2: the price is to fall by a fifth a year."""
    world = given(read, "trend:aluminium=-20%")
    assert world.library.trends["aluminium"] == pytest.approx(np.log(0.8))
    assert "real change of -20 % a year" in " ".join(f.assumed for f in world.findings)


def test_a_change_of_decision_may_cost_nothing(read):
    table = given(read, "decision:battery.change_cost=0").inputs.tables["decisions"]
    assert (table.loc[table["decision"] == "battery", "change_cost"] == 0).all()


def test_all_errors_at_once(read):
    with pytest.raises(BadInput) as problem:
        given(read, "price:NOBODY=1", "input:coper=2", "decision:battery.years_left=3")
    assert [f.code for f in problem.value.findings] == ["S015", "S015"]


def test_nothing_but_the_named_value_changes(read):
    """Every table that a change does not name stays as it was, and the types of all columns do."""
    touched = {
        "price:FS55-1101=40": {"quotes"}, "booked:FS55-1101=+5%": {"bom"}, "booked:FS55-1101=50 USD": {"bom"},
        "date:FS55-1101=2024-03-31": {"bom", "quotes"}, "volume:bearing@2024=x2": {"volumes"},
        "input:copper=+20%": {"input_prices"}, "decision:battery.years_left=3": {"decisions"},
        "exponent:dc_motor=0.3": set(), "learning_rate:dc_motor=20%": set(), "decision:battery.volume_growth=5%":
        {"decisions"}, "decision:battery.annual_volume=x2": {"decisions"},
    }  # fmt: skip
    assert {t.partition(":")[0] for t in touched} == set(KINDS) - {"trend"}
    for text, expected in touched.items():
        after = given(read, text)
        for name, frame in read.inputs.tables.items():
            assert after.inputs.tables[name].dtypes.equals(frame.dtypes), text
            assert after.inputs.tables[name].equals(frame) == (name not in expected), (text, name)
        assert [f.found for f in after.findings if f.code == "S013"] == [text]


def test_the_sample_itself_is_not_touched(read, sample_folder):
    given(read, "booked:FS55-1101=1", "volume:bearing@2024=x2", "input:copper=x2", "decision:battery.years_left=3")
    fresh = open_audit(sample_folder)
    assert all(fresh.inputs.tables[n].equals(f) for n, f in read.inputs.tables.items())


def test_a_volume_moves_what_was_made_since(read):
    before, after = (o.inputs.tables["volumes"] for o in (read, given(read, "volume:bearing@2024=x1.5")))
    mine = before["commodity"] == "bearing"
    more = before.loc[mine & (before["period"] == "2024-12-31"), "volume"].iloc[0] / 2
    moved = after["cumulative_volume"] - before["cumulative_volume"]
    later = mine & (before["period"] >= "2024-12-31")
    assert moved[later].tolist() == pytest.approx([more] * later.sum())
    assert moved[~later].abs().sum() == 0
    assert (after["volume"] - before["volume"])[mine].sum() == pytest.approx(more)


def test_an_input_price_moves_its_newest_period(read):
    before, after = (o.inputs.tables["input_prices"] for o in (read, given(read, "input:copper=+20%")))
    ratio = after["value"] / before["value"]
    (row,) = np.flatnonzero(ratio != 1)
    assert ratio[row] == pytest.approx(1.2)
    newest = before[before["series"] == "copper"]["period"].max()
    assert (before["series"][row], before["period"][row]) == ("copper", newest)


def test_a_series_of_the_library_is_taken_over_before_it_is_changed(sample_folder, read):
    """Where the audit has no rows of its own, the library's stand in; one of them changed, the others still do."""
    bare = read.inputs.tables | {"volumes": read.inputs.tables["volumes"].iloc[:0]}
    opened = replace(read, inputs=replace(read.inputs, tables=bare))
    after = given(opened, "volume:solar_module=x2").inputs.tables["volumes"]
    assert set(after["commodity"]) == {"solar_module"}
    assert len(after) > 5
    assert after.dtypes.equals(read.inputs.tables["volumes"].dtypes)


def test_a_trend_is_the_share_by_which_real_prices_change_a_year(read):
    bare = read.inputs.tables | {"volumes": read.inputs.tables["volumes"].iloc[:0]}
    opened = replace(read, inputs=replace(read.inputs, tables=bare))
    assert given(opened, "trend:dc_motor=-20%").library.trends == {"dc_motor": pytest.approx(np.log(0.8))}
    with pytest.raises(BadInput, match="above -100%"):
        given(opened, "trend:dc_motor=-100%")


def test_a_given_price_is_what_the_part_costs_however_far_from_the_estimate(read):
    """Whoever asks what a price would do means that price, not a slip; it is as sure as any firm quote."""
    for amount in (60.0, 30.0, 2.0):
        line = run(given(read, f"price:FS55-1101={amount} EUR")).lines.set_index("part_no").loc["FS55-1101"]
        assert line["estimate"] == pytest.approx(amount, rel=0.01)
        assert line["sd_log"] == pytest.approx(0.02, rel=0.2)


def test_of_two_given_prices_of_a_part_each_counts_half(read):
    lines = run(given(read, "price:FS55-1101=20 EUR", "price:FS55-1101=40 EUR")).lines.set_index("part_no")
    assert lines.loc["FS55-1101", "estimate"] == pytest.approx(np.sqrt(20 * 40), rel=0.01)


def test_changes_reach_the_estimate_the_decisions_and_the_assumptions(read, sample_audit):
    texts = [
        "price:FS55-1101=60 EUR", "learning_rate:pump=30%", "decision:battery.years_left=16", "input:lead=x1.5",
        "date:FS55-5101=2025-06-30",
    ]  # fmt: skip
    after = run(given(read, *texts))
    was, now = (a.lines.set_index("part_no") for a in (sample_audit, after))
    assert now.loc["FS55-1101", "estimate"] == pytest.approx(60, rel=0.02)
    assert now.loc["FS55-1101", "booked_cost"] == was.loc["FS55-1101", "booked_cost"]
    assert now.loc["FS55-6101", "walk_input_prices"] > was.loc["FS55-6101", "walk_input_prices"] + 1
    assert now.loc["FS55-5101", "basis_date"] == pd.Timestamp(2025, 6, 30)
    pump = after.curves.catalogue.frame.loc["pump"]
    assert (pump["exponent_mean"], pump["exponent_sd"]) == (pytest.approx(-np.log2(0.7)), 0.0)
    assert after.curves.experience.frame.loc["pump", "exponent"] == pytest.approx(-np.log2(0.7), rel=1e-6)
    decisions = after.decided.decisions.set_index("decision")
    assert decisions.loc["battery", "years_left"] == 16
    given_rows = after.assumptions[after.assumptions["stated"] == "--set"]
    assert set(given_rows["name"] + "=" + given_rows["value"]) == set(texts)
    assert given_rows["source"].str.len().min() > 10
    assert {f.found for f in after.findings if f.code == "S013"} == set(texts)
    content = gather(after)
    said, summary = found(content, content.numbers)[0], summarise(content)["given_for_this_run"]
    for text in texts:
        assert text in said
        assert sum(text in one for one in summary) == 1


def test_the_command_line_shows_what_was_given_and_keeps_no_what_if(sample_folder, tmp_path):
    command = CliRunner()
    shown = command.invoke(app, ["check", str(sample_folder), "--json", "--set", "price:FS55-1101=40"])
    assert shown.exit_code == 0
    assert "as if a firm quote of 40 EUR had come in on 2026-06-30" in shown.stdout
    wrong = command.invoke(app, ["check", str(sample_folder), "--set", "price:FS55-110=40"])
    assert (wrong.exit_code, "did you mean" in wrong.stderr) == (2, True)
    kept = command.invoke(
        app, ["audit", str(sample_folder), "--out", str(tmp_path / "o"), "--keep", "--set", "price:FS55-1101=40"]
    )
    assert (kept.exit_code, "not kept" in kept.stderr, (tmp_path / "o").exists()) == (2, True, False)
