"""Interval widths learned from the client's own held-out quotes."""

import json

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from scipy import stats
from typer.testing import CliRunner

from bomaudit.audit import audit
from bomaudit.cli import app
from bomaudit.interval_width import learned_width, widened
from bomaudit.opened import open_audit
from bomaudit.settings import Settings, load, overridden


def record(scores, *, width=1.0, dof=7.0):
    """Held-out quotes whose normal scores are given, two parts a commodity, two cases a part."""
    scores = np.asarray(scores, dtype=float)
    sd = np.linspace(0.1, 0.4, scores.size)
    error = stats.t.ppf(stats.norm.cdf(scores.ravel()), dof) * sd
    rows = [(f"c{c}", f"p{c}.{p}") for c, p, _ in np.ndindex(scores.shape)]
    frame = pd.DataFrame(rows, columns=["commodity", "part_no"])
    return frame.assign(error_estimate=error, sd_log=sd * width, dof=dof)


def by_hand(scores, published=16):
    mean = np.mean(np.clip(scores, -3, 3) ** 2, axis=(1, 2))
    return np.sqrt((published + mean.sum()) / (published + len(mean)))


def test_width_is_the_record_beside_published_series():
    scores = 1.8 * np.random.default_rng(3).normal(size=(30, 2, 2))
    assert learned_width(record(scores), 1.0) == pytest.approx(by_hand(scores))
    assert 1.2 < by_hand(scores) < 1.8


def test_the_factor_that_was_in_use_is_counted():
    scores = 1.8 * np.random.default_rng(3).normal(size=(30, 2, 2))
    assert learned_width(record(scores, width=1.5), 1.5) == pytest.approx(by_hand(scores))


def test_one_slip_hardly_widens():
    scores = np.random.default_rng(4).normal(size=(30, 2, 2))
    slipped = scores.copy()
    slipped[0, 0, 0] = 8.0
    assert learned_width(record(slipped), 1.0) < learned_width(record(scores), 1.0) + 0.03


def test_a_good_record_narrows_nothing():
    assert learned_width(record(np.zeros((40, 2, 2))), 1.0) == 1.0


def test_without_a_record_there_is_nothing_to_learn():
    assert learned_width(record(np.zeros((1, 1, 1))).iloc[:0], 1.0) == 1.0


def test_few_commodities_say_little():
    few, many = np.full((2, 2, 2), 2.0), np.full((60, 2, 2), 2.0)
    assert learned_width(record(few), 1.0) < 1.2
    assert 1.7 < learned_width(record(many), 1.0) < 2.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Parts of four commodities whose prices jump about far more than a market's."""
    made = tmp_path_factory.mktemp("jumpy")
    rng = np.random.default_rng(8)
    names = ("dc_motor", "fan", "bearing", "connector")
    parts = [(f"{n}-{k}", n) for n in names for k in range(4)]
    quotes = [
        {"part_no": part, "quote_date": f"{year}-12-31", "unit_price": round(10 * np.exp(rng.standard_t(2) * 0.3), 4),
         "currency": "EUR", "kind": "firm"}
        for part, _ in parts for year in range(2012, 2025)
    ]  # fmt: skip
    bom = [{"part_no": p, "commodity": c, "qty": 1, "unit_cost": 10, "cost_date": "2024-12-31"} for p, c in parts]
    pd.DataFrame(bom).to_csv(made / "bom.csv", index=False)
    pd.DataFrame(quotes).to_csv(made / "quotes.csv", index=False)
    (made / "audit.toml").write_text(
        '[audit]\nas_of = 2025-12-31\ncurrency = "EUR"\nannual_volume = 100\n'
        '[files]\nbom = "bom.csv"\nquotes = "quotes.csv"\n[report]\nkeep = false\n'
    )
    return made


def test_every_standard_deviation_is_so_many_times_as_wide(folder):
    settings = load(folder / "audit.toml")
    plain = audit(folder, settings=settings)
    wide = audit(folder, settings=overridden(settings, ["model.interval_width=1.3"]))
    a, b = plain.estimates, wide.estimates
    assert np.allclose(b.frame["sd_log"], 1.3 * a.frame["sd_log"])
    assert np.allclose(b.frame["estimate"], a.frame["estimate"])
    reach = [np.log(e.frame["estimate_high"] / e.frame["estimate"]) for e in (a, b)]
    assert np.allclose(reach[1], 1.3 * reach[0])
    shares = [c for c in a.frame if c.startswith("var_")]
    assert np.allclose(b.frame[shares], a.frame[shares])
    together = np.asarray(b.loadings.power(2).sum(axis=1)).ravel() + b.sd_own**2
    assert np.allclose(together, b.frame["sd_log"] ** 2)


def run(*arguments):
    result = CliRunner().invoke(app, [*map(str, arguments)])
    assert result.exit_code == 0, result.output
    return result


def assumed(out):
    """What the workbook says of the width: value and who stated it."""
    rows = load_workbook(out / "report.xlsx")["Assumptions"].iter_rows(values_only=True)
    _name, value, stated, *_ = next(r for r in rows if r[0] == "model.interval_width")
    return float(value), stated


def test_an_audit_with_its_record_is_as_wide_as_the_record_asks_for(folder, tmp_path):
    asked = json.loads(run("backtest", folder, "--json").stdout)["interval_width"]
    assert asked > 1.02
    run("audit", folder, "--out", tmp_path / "plain", "--quiet")
    run("audit", folder, "--out", tmp_path / "tested", "--backtest", "--quiet")
    plain, tested = (pd.read_csv(tmp_path / name / "lines.csv") for name in ("plain", "tested"))
    assert np.allclose(tested["sd_log"], asked * plain["sd_log"])
    findings = pd.read_csv(tmp_path / "tested" / "findings.csv")
    assert findings.loc[findings["code"] == "S018", "found"].item() == f"model.interval_width={asked:g}"
    assert assumed(tmp_path / "tested") == (asked, "own quotes")
    assert f"All intervals of this report are {asked:.2f} times" in (tmp_path / "tested" / "report.html").read_text()


def test_a_stated_width_is_not_overruled(folder, tmp_path):
    run("audit", folder, "--out", tmp_path, "--backtest", "--quiet", "--set", "model.interval_width=1.5")
    assert assumed(tmp_path) == (1.5, "--set")
    assert "S018" not in (tmp_path / "findings.csv").read_text()


def test_later_quotes_are_held_as_often_as_stated_only_with_the_learned_width():
    """Made parts whose own prices waver twice as much as the intervals say: learned on one half, held by the other."""
    scores = 2.0 * np.random.default_rng(5).normal(size=(80, 2, 2))
    width = learned_width(record(scores[:40]), 1.0)
    later = record(scores[40:])
    reach = stats.t.ppf(0.9, later["dof"]) * later["sd_log"]
    inside = [(later["error_estimate"].abs() <= w * reach).mean() for w in (1.0, width)]
    assert abs(inside[1] - 0.8) < 0.6 * abs(inside[0] - 0.8)


def test_a_record_that_asks_for_nothing_changes_nothing(folder):
    read = open_audit(folder)
    assert widened(read, 1.0, quotes=40) is read
    assert widened(read, 1.2, quotes=40).settings.model.interval_width == 1.2


@pytest.mark.parametrize("width", [0.0, -1.0, 11.0, float("nan")])
def test_widths_that_mean_nothing_are_refused(width):
    with pytest.raises(ValueError, match="interval_width"):
        Settings.model_validate({"files": {"bom": "b.csv"}, "model": {"interval_width": width}})
