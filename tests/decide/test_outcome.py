"""The joint draws against closed forms, nested simulation, and each other."""

from __future__ import annotations

import numpy as np
import pytest
from made_decisions import market_of, row
from scipy.special import ndtr, stdtr, stdtrit

from bomaudit.decide.causes import KINDS, find_causes
from bomaudit.decide.draws import normal_scores, price_ratios, tails
from bomaudit.decide.outcome import simulate
from bomaudit.decide.simulate import assign_columns, draw
from bomaudit.decide.value_of_asking import unit_normal_loss


def outcome(market, *rows, **settings):
    market = market.with_settings(**settings)
    case = market.case(rows)
    return case, simulate(case.model, case.target, rules=market.settings.decide, confidence=0.8, quote_noise=0.02)


def two_parts(sd_a, sd_b, shared=0.0, today=(10.0, 11.0), **more):
    factors = {"input:steel": shared} if shared else {}
    return market_of(
        [
            {"part_no": "A", "booked": 10, "today": today[0], "sd": sd_a, "factors": factors, **more},
            {"part_no": "B", "booked": 10, "today": today[1], "sd": sd_b, "factors": factors, **more},
        ]
    )


PAIR = (row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="B"))


@pytest.mark.parametrize("shared", [0.0, 0.1, 0.15])
def test_two_lognormals_against_the_closed_form(shared):
    """ln A - ln B is normal with variance s² + t² - 2 × the shared part."""
    _, found = outcome(two_parts(0.2, 0.15, shared), *PAIR)
    spread = np.sqrt(0.2**2 + 0.15**2 - 2 * shared**2)
    closed = 1 - ndtr(np.log(1.1) / spread)
    head = found.decisions.iloc[0]
    assert head["p_error"] <= 0.005
    assert head["p_flip"] == pytest.approx(float(closed), abs=3 * max(head["p_error"], 5e-4))
    assert head["p_pays_back"] == head["p_flip"]


def test_linear_normal_against_the_closed_form():
    """Stated amounts with a standard deviation add up to a normal saving: chance, interval and value of information."""
    rows = [
        row("D", "old", "a", kind="other", amount=10.0, sd=1.0, years_left=1.0, annual_volume=1000.0),
        row("D", "old", "b", kind="other", amount=5.0, sd=2.0),
        row("D", "new", "c", kind="other", amount=16.0, sd=2.0),
    ]
    _, found = outcome(two_parts(0.1, 0.1), *rows, discount_rate=0.0, inflation=0.0, reopen_npv=0.0)
    head = found.decisions.iloc[0]
    assert head["p_flip"] == pytest.approx(float(ndtr(-1 / 3)), abs=3 * max(head["p_error"], 5e-4))
    assert head[["saving_low", "saving_high"]].to_numpy(dtype=float) == pytest.approx(
        [1 - 3.8447, 1 + 3.8447], abs=0.06
    )
    assert head["npv_mean"] == pytest.approx(-1000.0, abs=10.0)
    assert head["evpi_all"] == pytest.approx(1000 * 3 * float(unit_normal_loss(1 / 3)), rel=0.02)
    assert head["evpi"] == 0.0
    known = found.known.set_index("position")
    assert [KINDS[1]] * 3 == found.known["kind"].tolist()
    for position, sd in ((0, 1.0), (1, 2.0), (2, 2.0)):
        assert known.loc[position, "evpi"] == pytest.approx(1000 * sd * float(unit_normal_loss(1 / sd)), rel=0.03)


def test_few_degrees_of_freedom_give_students_tails():
    """The marginal of each part is the t interval that its line shows, also in the tails."""
    scores = normal_scores(1, draws=1 << 16, seed=1)
    for dof in (2.0, 5.0, 8.0, 30.0):
        drawn = tails(scores, np.array([dof]))[0]
        for q in (0.001, 0.01, 0.1, 0.4, 0.9, 0.999):
            at = np.quantile(drawn, q)
            assert float(stdtr(dof, at)) == pytest.approx(q, rel=0.03, abs=2e-4)


def test_drawn_prices_have_the_interval_of_their_line_and_stay_within_ten_times():
    """Exact Student-t quantiles of the log price (scipy) against the drawn ones; a wild price is held at ten times."""
    scores = normal_scores(1, draws=4096, seed=1)
    for sd, dof in ((0.05, 4.0), (0.3, 9.0), (0.5, 0.0)):
        drawn = price_ratios(scores, np.array([sd]), np.array([dof]))[0]
        inside = np.abs(scores[0]) < 3
        exact = np.exp(sd * (stdtrit(dof, ndtr(scores[0])) if dof else scores[0]))
        assert drawn[inside] == pytest.approx(exact[inside], rel=2e-3)
    wild = price_ratios(scores, np.array([2.0]), np.array([3.0]))
    assert wild.min() == pytest.approx(0.1)
    assert wild.max() == pytest.approx(10.0)


def test_shared_causes_move_parts_together_and_own_noise_does_not():
    market = market_of(
        [
            {"part_no": "A", "booked": 1, "today": 1, "sd": 0.2, "factors": {"input:steel": 0.2}},
            {"part_no": "B", "booked": 1, "today": 1, "sd": 0.2, "factors": {"input:steel": 0.2}},
            {"part_no": "C", "booked": 1, "today": 1, "sd": 0.2, "factors": {"input:steel": -0.12}},
            {"part_no": "D", "booked": 1, "today": 1, "sd": 0.2},
        ]
    )
    case = market.case([row("X", "old", p, part_no=p) for p in "ABC"] + [row("X", "new", "D", part_no="D")])
    columns = assign_columns(case.model, 0)
    scores = normal_scores(columns.count, draws=1 << 14, seed=2)
    joint = np.corrcoef(columns.mix @ scores)
    expected = [[1, 1, -0.6, 0], [1, 1, -0.6, 0], [-0.6, -0.6, 1, 0], [0, 0, 0, 1]]
    assert joint == pytest.approx(np.array(expected), abs=0.02)


def test_a_common_part_cancels():
    """Both options hold the same part: its price moves nothing, so the saving is certain."""
    rows = [row("D", o, "a", part_no="A") for o in ("old", "new")]
    rows.append(row("D", "new", "c", kind="other", amount=0.5))
    _, found = outcome(two_parts(0.5, 0.5), *rows)
    head = found.decisions.iloc[0]
    assert (head["p_flip"], head["p_pays_back"], head["p_error"]) == (0.0, 0.0, 0.0)
    assert head["saving_low"] == pytest.approx(0.5)
    assert head["saving_high"] == pytest.approx(0.5)


def test_options_that_are_alike_do_not_flip():
    rows = [row("D", o, "a", part_no="A", qty=q) for o, q in (("old", 0.3), ("new", 0.1), ("new", 0.2))]
    _, found = outcome(two_parts(0.5, 0.5), *rows)
    assert found.decisions.loc[0, ["p_flip", "p_pays_back"]].tolist() == [0.0, 0.0]


def test_value_of_knowing_a_part_against_nested_simulation():
    """Outer loop over the part's price, inner mean over everything else given it (two alternatives, shared causes)."""
    market = market_of(
        [
            {"part_no": "A", "booked": 30, "today": 30, "sd": 0.2, "factors": {"input:steel": 0.12}},
            {
                "part_no": "B",
                "booked": 40,
                "today": 29,
                "sd": 0.3,
                "factors": {"exponent:motor": 0.2, "input:steel": 0.05},
            },
            {"part_no": "C", "booked": 40, "today": 31, "sd": 0.25, "factors": {"exponent:motor": 0.15}},
        ]
    )
    rows = [row("D", o, p, part_no=p) for o, p in (("old", "A"), ("new", "B"), ("third", "C"))]
    case, found = outcome(market, *rows)
    parts = case.model.prices
    sd = parts.parts["sd_log"].to_numpy()
    cover = (parts.loadings @ parts.loadings.T).toarray() + np.diag(parts.sd_own**2)
    known = found.known[found.known["kind"] == "part"].set_index("position")
    outer = normal_scores(1, draws=1024, seed=3)[0]
    inner = normal_scores(3, draws=1024, seed=4)
    for j in range(3):
        slope = cover[:, j] / sd[j] ** 2
        rest = np.linalg.cholesky(cover - np.outer(cover[:, j], slope) + 1e-12 * np.eye(3))
        for noise, column in ((0.0, "evpi"), (0.02, "evsi")):
            share = sd[j] ** 2 / (sd[j] ** 2 + noise**2)
            # given the quote, the log price of the part is normal around its shrunk mean; the rest follow it
            left = np.sqrt(1 - share) * normal_scores(1, draws=1024, seed=5)[0]
            mean = []
            for u in outer:
                price = parts.median[:, None] * np.exp(
                    slope[:, None] * sd[j] * (np.sqrt(share) * u + left) + rest @ inner
                )
                mean.append(price.mean(axis=1))
            cost = np.array(mean)
            benefit = case.accounts.products[0] * (cost[:, :1] - cost[:, 1:])
            nested = np.maximum(benefit.max(axis=1), 0).mean() - max(benefit.mean(axis=0).max(), 0)
            assert known.loc[j, column] == pytest.approx(nested, rel=0.03)
        assert known.loc[j, "evsi"] <= known.loc[j, "evpi"] <= found.decisions.loc[0, "evpi"] * 1.001


def test_nothing_is_worth_knowing_where_one_option_dominates():
    case, found = outcome(two_parts(0.01, 0.01, today=(10.0, 30.0)), *PAIR)
    assert found.decisions.loc[0, "evpi"] == 0.0
    assert found.known.empty
    assert find_causes(case.model).first.tolist() == [0, 2]


def test_draws_grow_until_a_probability_is_sure_enough():
    _, few = outcome(two_parts(0.2, 0.15), *PAIR, draws=256, standard_error=0.002)
    _, many = outcome(two_parts(0.2, 0.15), *PAIR, draws=256, standard_error=0.5)
    assert few.decisions.loc[0, "draws"] > many.decisions.loc[0, "draws"] == 256
    assert few.decisions.loc[0, "p_error"] <= 0.002


def test_same_seed_same_answer_other_seed_within_its_error():
    _, one = outcome(two_parts(0.2, 0.15), *PAIR)
    _, again = outcome(two_parts(0.2, 0.15), *PAIR)
    _, other = outcome(two_parts(0.2, 0.15), *PAIR, seed=7)
    assert one.decisions.equals(again.decisions)
    gap = abs(one.decisions.loc[0, "p_flip"] - other.decisions.loc[0, "p_flip"])
    assert 0 < gap < 5 * one.decisions.loc[0, "p_error"] + 0.003


def test_every_cause_of_a_decision_has_a_column_of_its_own():
    """Factors first, then parts and ranges by what they move: the first columns are spread best."""
    model = three_decisions().model
    for d in range(3):
        columns = assign_columns(model, d)
        assert columns.parts.tolist() == [2 * d, 2 * d + 1]
        factors = columns.factor[columns.factor >= 0]
        own = np.setdiff1d(columns.mix.indices, factors)
        assert sorted([*factors, *own, *columns.spread]) == list(range(columns.count))
        assert sorted(factors) == list(range(len(factors)))


def test_another_decision_leaves_every_figure_of_one_as_it_is():
    """Its draws are its own: an unrelated decision took battery's value of information from 45,100 to 35,000."""
    market = market_of(
        [{"part_no": f"P{k}", "booked": 10, "today": 10 + k / 5, "sd": 0.2, "dof": 9.0,
          "factors": {"input:steel": 0.05 + k / 100, "exponent:motor": 0.1 - k / 100}} for k in range(9)]
    )  # fmt: skip
    rows = [row("D", o, f"a{k}", part_no=f"P{k}", qty=1) for k, o in enumerate(("old", "old", "new", "new"))]
    rows.append(row("D", "new", "fit", kind="labour", amount=2.0, low=1.0, high=5.0))
    more = [row("C", o, "b", part_no=f"P{k}", qty=9) for k, o in enumerate(("old", "new"), 2)]
    more += [row("E", o, "c", part_no=f"P{k}", qty=900) for k, o in enumerate(("old", "new", "third"), 6)]
    alone, beside = (market.decide(r) for r in (rows, [*more[:2], *rows, *more[2:]]))
    assert alone.drivers["evpi"].max() > 1000
    for name in ("decisions", "drivers", "savings"):
        mine = getattr(beside, name).query("decision == 'D'").reset_index(drop=True)
        assert mine.equals(getattr(alone, name)), name


def test_the_distribution_of_a_saving_holds_its_interval_and_its_chance():
    """Quantiles are those of the draws: 10 and 90 % are the ends of the 80 % interval, and the sign agrees."""
    decided = market_of([{"part_no": "A", "booked": 30, "today": 32, "sd": 0.3},
                         {"part_no": "B", "booked": 45, "today": 30, "sd": 0.2}]).decide(
        [row("D", "old", "mech", part_no="A"), row("D", "new", "el", part_no="B", change_cost=1000.0)]
    )  # fmt: skip
    savings = decided.savings.set_index("quantile")["saving"]
    head = decided.decisions.iloc[0]
    assert savings.is_monotonic_increasing
    assert len(savings) == 39
    assert savings[0.1] == pytest.approx(head["saving_low"], rel=2e-3)
    assert savings[0.9] == pytest.approx(head["saving_high"], rel=2e-3)
    below = float((savings < 0).mean())
    assert below == pytest.approx(head["p_flip"], abs=0.03)


def three_decisions():
    factors = ({"input:steel": 0.1}, {"input:steel": 0.05, "exponent:motor": 0.1}, {"exponent:motor": 0.12})
    market = market_of(
        [{"part_no": f"P{k}", "booked": 10, "today": 9 + k, "sd": 0.2, "dof": (3.0, 9.0, np.inf)[k % 3],
          "factors": factors[k % 3]} for k in range(6)]
    )  # fmt: skip
    rows = [row(f"D{d}", o, "a", part_no=f"P{2 * d + j}") for d in range(3) for j, o in enumerate(("old", "new"))]
    rows += [row(f"D{d}", "new", "fit", kind="labour", amount=2.0, low=1.0, high=5.0) for d in range(3)]
    return market.case(rows)


def test_single_precision_is_enough():
    """Costs drawn in single precision are those of double precision to six figures, in any unit of money."""
    model = three_decisions().model
    for d in range(3):
        columns = assign_columns(model, d)
        scores = normal_scores(columns.count, draws=1024, seed=1)
        exact = draw(model, columns, scores, d).cost
        single = draw(model, columns, scores.astype(np.float32), d)
        assert single.part_scores.dtype == np.float32
        assert single.cost == pytest.approx(exact, rel=3e-6)


def test_decisions_that_need_more_draws_do_not_cost_more_for_the_others_beside_them(monkeypatch):
    """Scores for a second reading are made once for all decisions of about as many causes."""
    made = []

    def counted(columns, *, draws, seed):
        made.append((columns, draws))
        return normal_scores(columns, draws=draws, seed=seed)

    monkeypatch.setattr("bomaudit.decide.outcome.kept_scores", counted)
    monkeypatch.setattr("bomaudit.decide.outcome._MOST_DRAWS", 512)
    market = two_parts(0.2, 0.15).with_settings(draws=256, standard_error=1e-9, seed=77)
    case = market.case([r | {"decision": f"D{k}"} for k in range(20) for r in PAIR])
    simulate(case.model, case.target, rules=market.settings.decide, confidence=0.8, quote_noise=0.02)
    assert {draws for _, draws in made} == {256, 512}
    assert len(made) <= 3  # two threads may begin at once
