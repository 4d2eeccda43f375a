"""Look into learning curves: list, fit, compare."""

import io
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_market import bare_library, flat_inflation, make_curves, make_lines, make_quotes, make_volumes
from rich.console import Console
from scipy.special import stdtrit
from statsmodels.regression.linear_model import OLS
from typer.testing import CliRunner

from bomaudit.cli import app
from bomaudit.curves.explore import (
    compare_with_library,
    doubts_of_table,
    fit_curve,
    list_curves,
    observe_quotes,
    observe_table,
)
from bomaudit.curves.library import load_library
from bomaudit.findings import BadInput
from bomaudit.report import terminal_curves

SAMPLE = Path(__file__).resolve().parents[2] / "sample_boms" / "floor_scrubber"


@pytest.fixture(scope="module")
def library():
    return load_library()


def price_table(exponent=0.32, noise=0.0, years=15, growth=0.4, seed=0):
    rng = np.random.default_rng(seed)
    cumulative = 100 * np.exp(growth * np.arange(years))
    price = 50 * (cumulative / 100) ** -exponent * np.exp(rng.normal(0, noise, years))
    period = pd.to_datetime([f"{2008 + k}-12-31" for k in range(years)])
    return pd.DataFrame({"period": period, "price": price, "cumulative_volume": cumulative})


def test_an_exact_curve_is_read_off_exactly():
    """An 80 % slope is an exponent of 0.3219 (exact: -log2 0.8)."""
    fit = fit_curve(observe_table(price_table(exponent=-np.log2(0.8))))
    assert fit.exponent == pytest.approx(0.321928, abs=1e-6)
    assert fit.learning_rate == pytest.approx(0.2, abs=1e-6)
    assert fit.exponent_differences == pytest.approx(0.321928, abs=1e-6)
    assert fit.r_squared == pytest.approx(1)
    assert fit.doublings == pytest.approx(14 * 0.4 / np.log(2))
    assert fit.warnings == ()


def test_agrees_with_a_general_regression():
    """Against statsmodels with an intercept of its own."""
    seen = observe_table(price_table(noise=0.1))
    fit = fit_curve(seen)
    design = np.column_stack([np.ones(len(seen)), seen["log_experience"]])
    expected = OLS(seen["log_price"].to_numpy(), design).fit()
    assert fit.exponent == pytest.approx(-expected.params[1])
    assert fit.r_squared == pytest.approx(expected.rsquared)
    np.testing.assert_allclose(fit.residuals["residual"], expected.resid, atol=1e-10)


def test_parts_keep_levels_of_their_own():
    one, other = observe_table(price_table()), observe_table(price_table())
    both = pd.concat([one.assign(part_no="A"), other.assign(part_no="B", log_price=other["log_price"] + 3)])
    fit = fit_curve(both)
    assert fit.exponent == pytest.approx(0.32)
    assert fit.parts == 2


def test_clustered_intervals_have_as_many_degrees_of_freedom_as_parts_allow():
    """Parts are the independent pieces, and their levels lie within them.

    Of 30 parts of three quotes each 97.5 % of the intervals held the truth, of ten parts of thirty 92 %.
    """
    rng = np.random.default_rng(8)
    tables = [observe_table(price_table(noise=0.1, years=3, seed=k)).assign(part_no=f"P{k}") for k in range(30)]
    seen = pd.concat(tables, ignore_index=True)
    seen["log_price"] += rng.normal(0, 0.1, 30).repeat(3)
    x, y = (seen[c] - seen.groupby("part_no")[c].transform("mean") for c in ("log_experience", "log_price"))
    score = (x * (y - (x @ y) / (x @ x) * x)).groupby(seen["part_no"]).sum()
    fit = fit_curve(seen)
    assert fit.exponent_se == pytest.approx(np.sqrt(30 / 29 * score @ score) / (x @ x))
    assert (fit.exponent_high - fit.exponent_low) / 2 == pytest.approx(stdtrit(29, 0.975) * fit.exponent_se)


def test_the_interval_holds_the_truth_as_stated():
    inside = []
    for seed in range(120):
        fit = fit_curve(observe_table(price_table(noise=0.15, years=40, growth=0.2, seed=seed)))
        inside.append(fit.exponent_low <= 0.32 <= fit.exponent_high)
    assert 0.88 <= np.mean(inside) <= 0.99


def test_volumes_serve_as_well_as_cumulative_volume():
    table = price_table()
    volume = table["cumulative_volume"].diff().fillna(table["cumulative_volume"].iloc[0] * (1 - np.exp(-0.4)))
    fit = fit_curve(observe_table(table.drop(columns="cumulative_volume").assign(volume=volume)))
    assert fit.exponent == pytest.approx(0.32, abs=0.01)


def test_rows_without_a_price_count_in_the_volume():
    table = price_table()
    table.loc[[3, 7], "price"] = np.nan
    fit = fit_curve(observe_table(table))
    assert (fit.n, fit.exponent) == (13, pytest.approx(0.32))


WARNED = [
    (price_table(years=5), {}, "only 5 observations"),
    (price_table(years=8, growth=0.1), {}, "doublings of cumulative volume, under 3"),
    (price_table(exponent=-0.2), {}, "rises with experience"),
    (price_table(), {"until": 1e9}, "extrapolation"),
]


@pytest.mark.parametrize(("table", "given", "words"), WARNED)
def test_a_fit_says_when_not_to_trust_it(table, given, words):
    assert any(words in w for w in fit_curve(observe_table(table), **given).warnings)


def test_a_break_in_the_rate_is_flagged_near_its_year():
    table = price_table(noise=0.01, years=24)
    late = np.maximum(np.log(table["cumulative_volume"]) - np.log(table["cumulative_volume"].iloc[12]), 0)
    fit = fit_curve(observe_table(table.assign(price=table["price"] * np.exp(0.32 * late))))
    broke = [w for w in fit.warnings if "the rate broke about" in w]
    assert broke
    assert abs(int(broke[0].split("about ")[1][:4]) - 2020) <= 2


def test_residuals_that_hang_together_are_flagged():
    table = price_table(years=30, growth=0.2)
    wave = 0.3 * np.sin(np.arange(30) / 4)
    assert any(
        "hang together" in w
        for w in fit_curve(observe_table(table.assign(price=table["price"] * np.exp(wave)))).warnings
    )


def test_what_cannot_be_fitted_says_why():
    with pytest.raises(BadInput, match="needs period, price and volume"):
        observe_table(pd.DataFrame({"period": [], "price": []}))
    with pytest.raises(BadInput, match="needs 3 observations"):
        observe_table(price_table(years=2))
    flat = observe_table(price_table()).assign(log_experience=1.0)
    with pytest.raises(BadInput, match="must change"):
        fit_curve(flat)
    alone = observe_table(price_table()).assign(part_no=[f"P{k}" for k in range(15)])
    with pytest.raises(BadInput, match="found 0"):
        fit_curve(alone)


def test_own_quotes_are_fitted_in_real_money_beside_their_market():
    grown = [100 * 1.35**k for k in range(16)]
    volumes = make_volumes("gadget", 2010, grown, cumulative_volume=np.cumsum(grown) + 300)
    reached = dict(zip(range(2010, 2026), np.cumsum(grown) + 300, strict=True))
    rows = [(f"P{p}", f"{y}-12-31", (5 + p) * (reached[y] / 400) ** -0.3) for p in range(3) for y in range(2011, 2025)]
    lines = make_lines(3, commodity="gadget")
    curves = make_curves(
        lines, quotes=make_quotes(*rows), volumes=volumes, library=bare_library(), input_prices=flat_inflation()
    )
    fit = fit_curve(observe_quotes(curves, "gadget"))
    assert fit.exponent == pytest.approx(0.3, abs=1e-3)
    assert (fit.parts, fit.n) == (3, 42)
    assert observe_quotes(curves, "pump").empty


def test_price_breaks_of_one_day_are_one_observation_and_hide_no_break():
    """Their change over no time at all drowned the others: the rate broke in 2013 and no word was said."""
    grown = [100 * 1.35**k for k in range(24)]
    reached = np.cumsum(grown) + 300
    volumes = make_volumes("gadget", 2002, grown, cumulative_volume=reached)
    noise = np.random.default_rng(3).normal(0, 0.01, 24)
    log_price = -0.6 * np.log(np.minimum(reached, reached[11])) - 0.05 * np.log(np.maximum(reached / reached[11], 1))
    rows = [("P0", f"{2002 + k}-12-31", 1000 * np.exp(log_price[k] + noise[k])) for k in range(24)]
    breaks = [(part, day, 0.93 * price) for part, day, price in rows[16:19]]
    alone, beside = (
        observe_quotes(
            make_curves(
                make_lines(1, commodity="gadget"), quotes=make_quotes(*quoted), volumes=volumes,
                library=bare_library(), input_prices=flat_inflation(),
            ),
            "gadget",
        )
        for quoted in (rows, rows + breaks)
    )  # fmt: skip
    assert len(beside) == len(alone)
    assert beside["log_price"].iloc[16] == pytest.approx(alone["log_price"].iloc[16] + np.log(0.93) / 2)
    for seen in (alone, beside):
        assert any("the rate broke about 201" in w for w in fit_curve(seen).warnings)


def test_a_fit_to_quotes_tells_of_volumes_guessed_carried_back_and_forecast(tmp_path):
    """Four of six quotes lay outside the index, over a guessed stock, and the curve was read at a forecast: no word."""
    (tmp_path / "bom.csv").write_text(
        "part_no,description,qty,unit_cost,currency,cost_date,commodity\n"
        "A1,Hall sensor,2,10.00,USD,2016-06-30,sensor\nA2,Hall sensor,1,5.00,USD,2018-06-30,sensor\n",
        encoding="utf-8",
    )
    quoted = (
        ("A1", 2010, 12.0), ("A1", 2012, 11.0), ("A1", 2016, 10.0), ("A2", 2018, 5.0), ("A2", 2020, 4.8),
        ("A2", 2021, 4.6),
    )  # fmt: skip
    rows = "".join(f"{part},{year}-06-30,{price},USD,firm\n" for part, year, price in quoted)
    (tmp_path / "quotes.csv").write_text("part_no,quote_date,unit_price,currency,kind\n" + rows, encoding="utf-8")
    made = "".join(f"sensor,{2014 + k},{v}\n" for k, v in enumerate((100, 150, 225, 340, 510, 760)))
    (tmp_path / "volumes.csv").write_text("commodity,period,volume\n" + made, encoding="utf-8")
    (tmp_path / "audit.toml").write_text(
        '[audit]\ncurrency = "USD"\nas_of = 2026-06-30\n'
        '[files]\nbom = "bom.csv"\nquotes = "quotes.csv"\nvolumes = "volumes.csv"\n',
        encoding="utf-8",
    )
    result = CliRunner().invoke(app, ["curves", "fit", str(tmp_path), "--commodity", "sensor", "--json"])
    assert result.exit_code == 0, result.output
    guessed, outside = result.stderr.splitlines()
    assert "what was made before the first period is not stated, found 1 commodity: sensor" in guessed
    assert "found 2 before and 2 after it, of 6" in outside
    assert any("doublings past the data: extrapolation" in w for w in json.loads(result.stdout)["warnings"])


def test_search_finds_every_word(library):
    assert set(list_curves(library, "lithium pack")["commodity"]) == {"liion_pack"}
    assert (list_curves(library, "from memory")["how_obtained"] == "from memory").all()
    assert len(list_curves(library)) == len(library.curves)
    assert list_curves(library, "no such thing anywhere").empty


def test_the_nearest_curves_come_first(library):
    fit = fit_curve(observe_table(price_table(exponent=0.82, noise=0.02)))
    found = compare_with_library(fit, library)
    assert (found["distance"].diff().dropna() >= 0).all()
    assert "fitted_transistor" in set(found["curve_id"])
    assert found["difference"].iloc[0] == pytest.approx(fit.exponent - found["exponent"].iloc[0])
    own = compare_with_library(fit, library, commodity="memory")
    assert set(own["commodity"]) == {"memory", "class:electronics"}
    assert len(compare_with_library(fit, library, most=3)) == 3


def test_results_show_themselves(library):
    fit = fit_curve(observe_table(price_table(noise=0.05)))
    assert repr(fit).startswith("CurveFit(learning rate ")
    summary = fit.to_frame().set_index("figure")["value"]
    assert summary["learning rate"] == pytest.approx(fit.learning_rate)
    assert summary["observations"] == 15


def test_neither_table_nor_library_is_changed(library):
    table, before = price_table(), library.curves.copy(deep=True)
    copy = table.copy(deep=True)
    compare_with_library(fit_curve(observe_table(table)), library)
    pd.testing.assert_frame_equal(table, copy)
    pd.testing.assert_frame_equal(library.curves, before)


def test_parts_that_share_in_the_market_differently_do_not_stretch_its_span():
    """A custom part has half of the market's experience, in logs: its level lies far off, one doubling stays one."""
    volume = np.log([100.0, 140.0, 200.0])
    parts = [
        pd.DataFrame({"part_no": name, "date": pd.to_datetime(["2018-12-31", "2020-12-31", "2022-12-31"]),
                      "log_price": -0.3 * share * volume, "log_experience": share * volume})
        for name, share in (("standard", 1.0), ("custom", 0.5))
    ]  # fmt: skip
    assert fit_curve(pd.concat(parts, ignore_index=True)).doublings == pytest.approx(1.0)


def test_what_a_table_leaves_open_is_told():
    """A guess of what was made before moved an exponent from 0.35 to 0.32, four of its standard errors, in silence."""
    table = price_table()
    assert doubts_of_table(table, "t.csv") == []
    volume = np.diff(table["cumulative_volume"], prepend=50.0)
    doubtful = table.drop(columns="cumulative_volume").assign(volume=volume)
    doubtful.loc[3, "price"] = -1.0
    doubtful = pd.concat([doubtful, doubtful.iloc[[5]]])
    told = {f.code: f for f in doubts_of_table(doubtful, "t.csv")}
    assert set(told) == {"X004", "X005", "V004"}
    assert told["X004"].found == "1 more"
    assert told["X005"].found == "1 periods without both"
    assert told["V004"].found == "1 commodity: the market"


def test_a_cumulative_volume_that_never_rises_fits_nothing():
    """It was taken as nearly unchanged, and an exponent of 190 read off it."""
    with pytest.raises(BadInput, match="cumulative volume must change"):
        observe_table(price_table().assign(cumulative_volume=7.0))


def test_volumes_add_up_from_the_cumulative_volume_stated_before_them():
    table = price_table()
    opening = table["cumulative_volume"].where(table.index == 0)
    volume = table["cumulative_volume"].diff()
    seen = observe_table(table.assign(cumulative_volume=opening, volume=volume))
    np.testing.assert_allclose(seen["log_experience"], np.log(table["cumulative_volume"]))


def test_standard_errors_allow_for_the_level_that_was_fitted():
    """Against statsmodels with an intercept, its correction for two coefficients on."""
    seen = observe_table(price_table(noise=0.1))
    design = np.column_stack([np.ones(len(seen)), seen["log_experience"]])
    lags = int(np.floor(4 * (len(seen) / 100) ** (2 / 9)))
    expected = OLS(seen["log_price"].to_numpy(), design).fit(
        cov_type="HAC", cov_kwds={"maxlags": lags, "use_correction": True}
    )
    assert fit_curve(seen).exponent_se == pytest.approx(expected.bse[1])


def test_commands_fit_a_table_by_the_names_of_its_columns(tmp_path):
    price_table().to_csv(tmp_path / "t.csv", index=False)
    runner = CliRunner()
    result = runner.invoke(app, ["curves", "fit", str(tmp_path / "t.csv"), "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["figures"]["exponent"] == pytest.approx(0.32)
    wrong = runner.invoke(app, ["curves", "fit", str(tmp_path / "t.csv"), "--column", "prise=price"])
    assert wrong.exit_code == 2
    assert "one of period, price, volume, cumulative_volume" in wrong.stderr
    price_table().rename(columns={"price": "amount of it"}).to_csv(tmp_path / "t.csv", index=False)
    unnamed = runner.invoke(app, ["curves", "fit", str(tmp_path / "t.csv")])
    assert "--column NAME=HEADER" in unnamed.stderr
    assert "audit.toml" not in unnamed.stderr


def test_what_could_not_be_read_is_said_before_too_few_rows_are_left(tmp_path):
    """'found 0 ... give more quotes' was all that was said of a table without one period that can be read."""
    rows = "".join(f"{2015 + k}/{16 + k},{50 - k},{10 + k}\n" for k in range(4))
    (tmp_path / "t.csv").write_text("period,price,volume\n" + rows, encoding="utf-8")
    result = CliRunner().invoke(app, ["curves", "fit", str(tmp_path / "t.csv")])
    assert result.exit_code == 2
    *said, last = result.stderr.splitlines()
    assert len(said) == 4
    assert all("period must be a date" in line for line in said)
    assert "needs 3 observations" in last


def test_prices_of_a_table_may_carry_a_currency_mark(tmp_path):
    """'$ 50' was not known; a price in another currency among them is told."""
    rows = [f"{2012 + k},{p},{v}\n" for k, (p, v) in enumerate([("$ 50", 100), ("$45", 140), ("$ 41", 190)])]
    (tmp_path / "t.csv").write_text("period,price,volume\n" + "".join(rows), encoding="utf-8")
    result = CliRunner().invoke(app, ["curves", "fit", str(tmp_path / "t.csv"), "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["figures"]["observations"] == 3
    assert "price" not in result.stderr
    assert "currency" not in result.stderr
    (tmp_path / "t.csv").write_text("period,price,volume\n" + "".join(rows) + "2015,38 EUR,260\n", encoding="utf-8")
    result = CliRunner().invoke(app, ["curves", "fit", str(tmp_path / "t.csv"), "--json"])
    assert "several currencies, found EUR 1, USD 3" in result.stderr


def test_a_table_whose_volumes_have_another_name_is_told_which_are_missing(tmp_path):
    """A growth column is no volume: 'give more quotes' was the remedy."""
    price_table().rename(columns={"cumulative_volume": "growth of it"}).to_csv(tmp_path / "t.csv", index=False)
    result = CliRunner().invoke(app, ["curves", "fit", str(tmp_path / "t.csv")])
    assert result.exit_code == 2
    assert "needs period, price and volume or cumulative_volume, found period, price; name its columns" in result.stderr


@pytest.mark.parametrize(("name", "near"), [("memry", "did you mean memory"), ("zzzz", "there are")])
def test_a_table_is_compared_with_no_commodity_that_the_library_does_not_hold(tmp_path, name, near):
    """It was compared with curves of all markets under the unknown name, without a word."""
    price_table().to_csv(tmp_path / "t.csv", index=False)
    result = CliRunner().invoke(app, ["curves", "compare", str(tmp_path / "t.csv"), "--commodity", name])
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert f"found '{name}'; {near}" in line
    assert line.endswith("(all of them: bomaudit curves list)")


@pytest.mark.parametrize("name", ["memory", "class:electronics", "brush"])
def test_a_table_is_compared_with_a_commodity_or_class_that_the_library_holds(tmp_path, name):
    price_table().to_csv(tmp_path / "t.csv", index=False)
    result = CliRunner().invoke(app, ["curves", "compare", str(tmp_path / "t.csv"), "--commodity", name])
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize("command", ["fit", "compare"])
def test_headers_of_a_table_are_refused_for_an_audit_folder(command):
    """They were ignored: the folder was fitted as if they had not been given."""
    given = ["--commodity", "brushless_motor", "--column", "price=Unit cost"]
    result = CliRunner().invoke(app, ["curves", command, str(SAMPLE), *given])
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert "--column is for a table, not for an audit folder, found 'price=Unit cost'" in line


@pytest.mark.parametrize("width", [80, 100, 120, 200])
@pytest.mark.parametrize("search", ["", "memory", "electronics"])
def test_names_of_the_list_stand_in_one_piece_and_nothing_is_cut(library, width, search):
    """At 80 columns 'prior_adhes' stood above 'ive_coating': no name could be copied."""
    rows, out = list_curves(library, search), io.StringIO()
    terminal_curves.show_rows(rows, Console(file=out, width=width, no_color=True))
    lines = out.getvalue().splitlines()
    assert max(map(len, lines)) <= width
    assert "…" not in out.getvalue()
    begun = [line.split()[:2] for line in lines]
    assert [b for b in begun if b in rows[["curve_id", "commodity"]].to_numpy().tolist()] == rows[
        ["curve_id", "commodity"]
    ].to_numpy().tolist()
    heads, rate = " ".join(lines[1:3]), f"{100 * rows['learning_rate'].iloc[0]:.1f} %"
    assert rate in next(line for line in lines if line.startswith(rows["curve_id"].iloc[0]))
    for header in ("obtained", "source", "period", "money"):
        assert header in heads or header in lines[-2] + lines[-1]


def test_names_of_a_comparison_stand_in_one_piece(library):
    fit = fit_curve(observe_table(price_table()))
    rows = compare_with_library(fit, library, most=len(library.curves))
    out = io.StringIO()
    terminal_curves.show_comparison(fit, rows, "t", Console(file=out, width=80, no_color=True))
    assert max(map(len, out.getvalue().splitlines())) <= 80
    begun = {" ".join(line.split()[:2]) for line in out.getvalue().splitlines()}
    assert set(rows["curve_id"] + " " + rows["commodity"]) <= begun


def test_a_window_narrower_than_a_name_folds_it_and_cuts_nothing(library):
    rows, out = list_curves(library, "polyethylene high"), io.StringIO()
    terminal_curves.show_rows(rows, Console(file=out, width=20, no_color=True))
    assert rows["curve_id"].iloc[0] in "".join(out.getvalue().split())
