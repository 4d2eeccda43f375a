"""The model's own record: held-out quotes from older ones alone, four rules beside it, proper scores."""

import io
from datetime import date

import numpy as np
import pandas as pd
import pytest
from rich.console import Console
from scipy import integrate, stats

from bomaudit.backtest import METHODS, backtest
from bomaudit.curves.library import load_library
from bomaudit.frames import conform
from bomaudit.glossary import BOM, INPUT_PRICES, QUOTES, VOLUMES
from bomaudit.prepare.currency import reference_rates
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.report import terminal_backtest
from bomaudit.report.page_tables import RECORD_COLUMNS
from bomaudit.settings import Settings

AS_OF = date(2024, 12, 31)
FX = reference_rates("EUR", None)
LIBRARY = load_library()
SETTINGS = Settings.model_validate({"files": {"bom": "bom.csv"}, "audit": {"currency": "EUR"}})
PLACES = {"source_file": "quotes.csv", "source_sheet": ""}
YEARS = range(2012, 2025)


def made_quotes(slopes, *, parts=4, noise=0.02, seed=0):
    """Yearly quotes of a few parts of each commodity, falling by a slope a year."""
    rng = np.random.default_rng(seed)
    rows = [
        {
            "part_no": f"{name}-{k}", "commodity": name, "quote_date": pd.Timestamp(year, 12, 31), "currency": "EUR",
            "unit_price": 10 * np.exp(slope * (year - 2012) + rng.normal(0, noise)), "kind": "firm",
        }
        for name, slope in slopes.items() for k in range(parts) for year in YEARS
    ]  # fmt: skip
    return pd.DataFrame(rows)


def run(table, *, volumes=None, inflation=0.0, settings=SETTINGS, named=True, **options):
    stated = table if named else table.assign(commodity="")
    raw = conform(stated, QUOTES).assign(**PLACES, source_row=np.arange(1, len(table) + 1))
    quotes, _ = prepare_quotes(raw, fx=FX, as_of=AS_OF)
    parts = table.drop_duplicates("part_no")
    bom = conform(parts[["part_no", "commodity"]].assign(qty=1.0, unit_cost=1.0, currency="EUR"), BOM).assign(
        **PLACES, source_row=np.arange(1, len(parts) + 1), row_kind="part", parent_row=-1
    )
    lines, _ = prepare_lines(bom, quotes=quotes, commodities=LIBRARY.commodities, fx=FX, settings=SETTINGS, as_of=AS_OF)
    prices = pd.DataFrame(
        {
            "series": "general_inflation", "currency": "EUR", "source": "made up",
            "period": pd.to_datetime([f"{y}-12-31" for y in range(2005, 2025)]),
            "value": 100 * np.exp(inflation * np.arange(20)),
        }
    )  # fmt: skip
    return backtest(
        quotes=quotes, lines=lines, volumes=conform(pd.DataFrame() if volumes is None else volumes, VOLUMES),
        input_prices=conform(prices, INPUT_PRICES), library=LIBRARY, fx=FX, settings=settings, as_of=AS_OF, **options,
    )  # fmt: skip


@pytest.fixture(scope="module")
def record():
    return run(made_quotes({"made_a": -0.08, "made_b": 0.01}), origins=(date(2017, 12, 31), date(2021, 12, 31)))


def mae(record, method, scope="all", group=""):
    s = record.summary
    return float(s[(s["scope"] == scope) & (s["group"] == group) & (s["method"] == method)]["mae"].iloc[0])


def test_a_falling_market_is_estimated_better_than_left_or_inflated(record):
    assert mae(record, "estimate", "commodity", "made_a") < 0.7 * mae(record, "unchanged", "commodity", "made_a")
    assert mae(record, "estimate") < mae(record, "unchanged")
    assert mae(record, "estimate") < mae(record, "inflation")


def test_only_older_quotes_are_known(record):
    """Every case was estimated from a quote before its origin, for a day after it."""
    cases = record.cases
    assert (cases["basis_date"] <= cases["origin"]).all()
    assert (cases["quote_date"] > cases["origin"]).all()


def test_held_out_prices_do_not_reach_their_own_estimate():
    table = made_quotes({"made_a": -0.08})
    other = table.assign(unit_price=table["unit_price"].where(table["quote_date"] <= "2018-12-31", 99.0))
    day = (date(2018, 12, 31),)
    one, two = (run(t, origins=day).cases for t in (table, other))
    np.testing.assert_array_equal(one["estimate"], two["estimate"])
    assert not np.array_equal(one["actual"], two["actual"])


def test_rules_are_what_they_say():
    record = run(
        made_quotes({"made_a": -0.05}, noise=0.0), inflation=0.03, origins=(date(2018, 12, 31),), price_down=0.02
    )
    cases = record.cases
    age = cases["age_years"]
    np.testing.assert_allclose(cases["unchanged"], 10 * np.exp(-0.05 * 6))
    np.testing.assert_allclose(cases["inflation"], cases["unchanged"] * np.exp(0.03 * age), rtol=1e-3)
    np.testing.assert_allclose(cases["price_down"], cases["unchanged"] * 0.98**age)
    np.testing.assert_allclose(cases["error_trend"], 0.0, atol=1e-3)


def test_scores_agree_with_their_definitions(record):
    """CRPS as the integral of (F - step)²; interval score by A. Raftery and T. Gneiting's formula."""
    for _, case in record.cases.iloc[::37].iterrows():
        y, m, s, nu = np.log(case["actual"]), np.log(case["estimate"]), case["sd_log"], case["dof"]
        law = stats.t(nu, m, s)
        below = integrate.quad(lambda x, law=law: law.cdf(x) ** 2, y - 60 * s, y, limit=200)[0]
        above = integrate.quad(lambda x, law=law: law.sf(x) ** 2, y, y + 60 * s, limit=200)[0]
        assert case["crps"] == pytest.approx(below + above, rel=1e-3)
        low, high = law.ppf([0.1, 0.9])
        expected = high - low + 2 / 0.2 * (max(low - y, 0) + max(y - high, 0))
        assert case["interval_score"] == pytest.approx(expected)
        assert case["rank"] == pytest.approx(law.cdf(y))


def test_coverage_and_errors_count_each_part_the_same(record):
    inside = ((record.cases["rank"] - 0.5).abs() <= 0.4).groupby(record.cases["part_no"]).mean().mean()
    c = record.coverage
    assert float(c[(c["scope"] == "all") & (c["nominal"] == 0.8)]["inside"].iloc[0]) == pytest.approx(inside)
    error = record.cases["error_estimate"].abs().groupby(record.cases["part_no"]).mean().mean()
    assert mae(record, "estimate") == pytest.approx(error)


def test_skill_is_one_less_the_ratio_of_errors(record):
    rows = record.to_frame()
    whole = rows[rows["scope"] == "all"].set_index("method")
    assert list(whole.index) == list(METHODS)
    np.testing.assert_allclose(whole["skill"], 1 - whole.loc["estimate", "mae"] / whole["mae"])
    assert {"all", "commodity", "age", "stage"} == set(rows["scope"])


def test_it_is_said_that_what_is_spared_is_a_share_of_logarithms(record):
    """An error of 8.3 % beside one of 35.0 % spares 73.3 %, not the 76.2 % that the two shown give."""
    out = io.StringIO()
    terminal_backtest.show_backtest(record, "made up", Console(file=out, width=80, no_color=True))
    lines = out.getvalue().splitlines()
    said = lines.index("spared: share of the error as a logarithm, not of the percentages beside it")
    (head,) = (k for k, line in enumerate(lines) if "spared by ours" in line)
    assert head < said < lines.index("Typical error by commodity")
    assert terminal_backtest.as_data(record)["errors_in"].startswith("ln; skill is 1 - mae of the estimate / mae")
    assert any("as a logarithm" in head["unit"] for head in RECORD_COLUMNS if head["head"] == "spared")


def test_known_volumes_help():
    """The fall follows a volume that jumps: who knows the volume knows the price."""
    growth = np.where(np.arange(len(YEARS)) < 7, 0.1, 0.5)
    x = np.concatenate([[0.0], np.cumsum(growth[1:])])
    table = made_quotes({"made_a": 0.0}, parts=3)
    table["unit_price"] *= np.exp(-0.4 * x[table["quote_date"].dt.year - 2012])
    volumes = pd.DataFrame(
        {
            "commodity": "made_a", "period": pd.to_datetime([f"{y}-12-31" for y in YEARS]),
            "cumulative_volume": 1000 * np.exp(x), "source": "made up",
        }
    )  # fmt: skip
    day = (date(2018, 12, 31),)
    blind, sighted = run(table, origins=day), run(table, volumes=volumes, origins=day)
    assert mae(sighted, "estimate") < 0.6 * mae(blind, "estimate")


@pytest.mark.parametrize("annual", [10.0, 1e6])
def test_a_held_out_quote_is_estimated_for_the_quantity_it_is_for(annual):
    """Quotes that all ask for one annual quantity know no step of own volume, whatever the product takes today."""
    table, day = made_quotes({"made_a": -0.05}, parts=2).assign(annual_qty=5000.0), (date(2018, 12, 31),)
    asked = SETTINGS.model_copy(update={"audit": SETTINGS.audit.model_copy(update={"annual_volume": annual})})
    cases = run(table, origins=day, settings=asked).cases
    np.testing.assert_allclose(cases["estimate"], run(table, origins=day).cases["estimate"], rtol=1e-12)
    more = table.assign(annual_qty=table["annual_qty"].where(table["quote_date"] <= "2018-12-31", 50000.0))
    assert (run(more, origins=day, settings=asked).cases["estimate"] < 0.9 * cases["estimate"]).all()


def test_single_quotes_make_no_record():
    table = made_quotes({"made_a": -0.05})
    record = run(table[table["quote_date"].dt.year == 2015])
    assert record.cases.empty
    assert record.summary.empty
    assert any(f.code == "K003" for f in record.findings)


def test_it_is_said_that_volumes_and_input_prices_are_as_known_today(record):
    """They reach beyond the quotes that are estimated; only the quotes are as they were known."""
    (told,) = (f for f in record.findings if f.code == "K002")
    assert told.assumed == "quotes as known on them, volumes and input prices as known today"


def test_input_is_left_as_it_was_and_the_record_is_the_same_again():
    table = made_quotes({"made_a": -0.05}, parts=2)
    before = table.copy()
    one, two = (run(table, origins=(date(2017, 12, 31),)) for _ in range(2))
    pd.testing.assert_frame_equal(table, before)
    pd.testing.assert_frame_equal(one.cases, two.cases)


@pytest.mark.parametrize("parts", [2, 5])
def test_what_else_is_quoted_later_says_nothing_of_a_forecast(parts):
    """Neither which parts are quoted again, whose commodity the BOM alone states, nor on how many days."""
    table = made_quotes({"made_a": -0.08}, parts=parts)
    moved = pd.to_timedelta(np.where(table["quote_date"] > "2018-12-31", np.arange(len(table)) % 90, 0), unit="D")
    table = table.assign(quote_date=table["quote_date"] - moved)
    others = (table["quote_date"] > "2018-12-31") & (table["part_no"] != "made_a-0")
    one, two = (
        run(t, origins=(date(2018, 12, 31),), inflation=0.1, named=False).cases.query("part_no == 'made_a-0'")
        for t in (table, table[~others])
    )
    assert len(one) > 0
    np.testing.assert_array_equal(one[["estimate", "sd_log"]], two[["estimate", "sd_log"]])
