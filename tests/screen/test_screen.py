"""Screening: the same estimates as an audit, every line once, sums that add up, what is unchanged is not done again."""

import json
import shutil

import numpy as np
import pandas as pd
import pytest
from screen_case import AS_OF, all_lines, hashes, make_dataset, plan_of, run, write_book, write_dataset, write_quotes

from bomaudit.audit import audit
from bomaudit.findings import BadInput
from bomaudit.report.files import write
from bomaudit.screen.run import screen
from bomaudit.screen.shared import make_plan


def test_a_folder_comes_out_as_its_audit(sample_folder, sample_audit, tmp_path):
    result = run([sample_folder], tmp_path / "out")
    lines = all_lines(tmp_path / "out")
    expected = sample_audit.lines
    for name in ("estimate", "estimate_low", "p_stale", "exposure_per_year", "booked_cost"):
        np.testing.assert_array_equal(lines[name], expected[name])
    assert (lines["status"] == expected["status"]).all()
    verdicts = sample_audit.decided.decisions["verdict"]
    assert result.summary.totals["decisions"] == len(verdicts)
    assert result.summary.totals["reopen"] == verdicts.isin(["reopen", "review"]).sum()


def test_what_is_assumed_is_counted_as_the_audit_counts_it(sample_folder, sample_audit, tmp_path):
    """Assemblies and charges have no date and no commodity either, and need none."""
    result = run([sample_folder], tmp_path / "out")
    told = {f.code: f.found for f in result.findings}
    asked = {f.code: int(f.found.split()[0]) for f in sample_audit.findings if f.code in ("B101", "B102", "B104")}
    assert told["N021"] == f"{asked['B104']} lines without"
    assert told["N022"] == f"{asked['B101']} lines without"
    assert told["N023"] == f"{asked['B102']} lines without"


def test_parts_without_a_number_are_ranked_each_by_its_description(tmp_path):
    """Cable ties and covers have no number here: neither stands for both."""
    frame = make_dataset().head(4).assign(
        part_no=["", "", "", "N1"], description=["cable tie", "cover", "cable tie", "screw"], row_kind="part",
        unit_cost=2.0, currency="EUR", qty_per=1.0, annual_volume=100.0,
    )  # fmt: skip
    parts = run([write_dataset(frame, tmp_path / "in", 2)], tmp_path / "out").summary.rankings["part"]
    told = parts.set_index(["name", "description"])[["lines", "spend_per_year"]].T.to_dict("list")
    assert told == {("", "cable tie"): [2, 400.0], ("", "cover"): [1, 200.0], ("N1", "screw"): [1, 200.0]}


def test_credits_of_a_dataset_are_in_no_total_as_in_an_audit(tmp_path):
    """A quantity below 0 is nothing that is built in: it took off the spend and turned below into above."""
    plan = plan_of(tables={"quotes": write_quotes(tmp_path)})
    frame = make_dataset()
    given_back = frame.assign(qty_per=-2.0, commodity="dc_motor")
    without = run([write_dataset(frame, tmp_path / "in")], tmp_path / "out", plan=plan)
    both = write_dataset(pd.concat([given_back, frame], ignore_index=True), tmp_path / "with")
    result = run([both], tmp_path / "out2", plan=plan)
    for name in ("audited", "stale", "spend_per_year", "stale_spend_per_year", "above_per_year", "below_per_year"):
        assert result.summary.totals[name] == without.summary.totals[name]
    assert result.summary.totals["lines"] == 2 * len(frame)
    lines = all_lines(tmp_path / "out2")
    assert (lines["qty_per"] >= 0).all()
    told = {f.code: f.found for f in result.findings}
    assert told["N028"] == f"{len(frame)} lines below 0"


def test_what_decisions_are_worth_together_is_what_the_audit_says(tmp_path):
    """D1 and D2 take out the same part: it can be taken out once."""
    (tmp_path / "bom.csv").write_text(
        "part_no,qty,unit_cost,currency,cost_date,commodity\n"
        "H1,1,40,EUR,2020-05-10,dc_motor\nH6,1,18,EUR,2022-02-02,wire_harness\n"
    )
    head = "decision,option,chosen,element,kind,part_no,qty,amount,currency,basis,annual_volume,years_left,change_cost"
    rows = [
        f"{name},now,y,part,part,{part},1,,EUR,per_unit,2000,5,\n{name},other,n,rest,other,,,{rest},EUR,per_unit,2000,5,9000"
        for name, part, rest in (("D1", "H1", 15), ("D2", "H1", 10), ("D3", "H6", 5))
    ]
    (tmp_path / "decisions.csv").write_text("\n".join([head, *rows]) + "\n")
    (tmp_path / "audit.toml").write_text(
        '[audit]\nas_of = 2026-06-30\ncurrency = "EUR"\n[files]\nbom = "bom.csv"\ndecisions = "decisions.csv"\n'
    )
    portfolio = audit(tmp_path).decided.portfolio
    assert portfolio["counted"].tolist().count(False) == 1
    result = run([tmp_path], tmp_path / "out")
    worth = float(portfolio["npv_counted"].sum())
    assert worth < float(portfolio["npv"].sum()) - 50_000
    assert result.summary.totals["reopen_npv"] == pytest.approx(worth)
    assert result.summary.rankings["bom"]["reopen_npv"].tolist() == pytest.approx([worth])


@pytest.fixture(scope="module")
def as_dataset(sample_audit, sample_folder, tmp_path_factory):
    """The sample's parts as a dataset, with the tables of the sample beside it."""
    lines, bom = sample_audit.lines, sample_audit.inputs.tables["bom"]
    frame = lines.rename(columns={"booked_price": "unit_cost"})[
        ["part_no", "description", "row_kind", "supplier", "sourcing", "qty_per", "annual_volume", "unit_cost"]
    ].assign(bom="sample", commodity=bom["commodity"], currency=lines["booked_currency"], cost_date=bom["cost_date"],
             agreed_reduction=bom["agreed_reduction"], agreed_until=bom["agreed_until"])  # fmt: skip
    folder = write_dataset(frame, tmp_path_factory.mktemp("sample") / "lines", 4)
    tables = {n: sample_folder / f"{n}.csv" for n in ("quotes", "volumes", "input_prices")}
    out = folder.parent / "out"
    return run([folder], out, plan=make_plan(as_of=AS_OF, currency="EUR", tables=tables)), out


def test_a_dataset_comes_out_as_the_audit_of_the_same_lines(as_dataset, sample_audit):
    """Prepared, fitted and estimated in partitions, against the one frame of an audit."""
    _, out = as_dataset
    lines = all_lines(out)
    for name in ("estimate", "estimate_low", "estimate_high", "p_stale", "exposure_per_year", "age_years"):
        np.testing.assert_allclose(lines[name], sample_audit.lines[name], rtol=1e-8)  # needs count in millionths
    assert lines["status"].to_list() == sample_audit.lines["status"].to_list()
    assert lines["stage"].to_list() == sample_audit.lines["stage"].to_list()


def test_sums_are_those_of_the_lines(tmp_path):
    folder = write_dataset(make_dataset(), tmp_path / "lines")
    result = run([folder], tmp_path / "out", plan=plan_of(tables={"quotes": write_quotes(tmp_path)}))
    lines = all_lines(tmp_path / "out")
    assert len(lines) == 400
    flagged = lines["status"].isin(["stale", "drifting"])
    above = lines["exposure_per_year"].where(flagged, 0).clip(lower=0).fillna(0)
    for by, column in (("bom", "bom"), ("commodity", "commodity"), ("supplier", "supplier"), ("part", "part_no")):
        ranking = result.summary.rankings[by].set_index("name")
        summed = above.groupby(lines[column]).sum()
        np.testing.assert_allclose(ranking["above_per_year"].sort_index(), summed, rtol=0, atol=0.01)
        counted = lines["status"].eq("stale").groupby(lines[column]).sum()
        assert (ranking["stale"].sort_index() == counted).all()
        stake = result.summary.rankings[by]["above_per_year"] + result.summary.rankings[by]["below_per_year"]
        assert stake.is_monotonic_decreasing
    assert result.summary.totals["lines"] == 400
    spend = (lines["booked_cost"] * lines["qty_per"] * lines["annual_volume"]).where(
        (lines["why_not"] == "") & (lines["row_kind"] == "part")
    )
    assert result.summary.totals["spend_per_year"] == pytest.approx(spend.sum(), abs=0.1)


def test_what_was_assumed_is_told(tmp_path):
    frame = make_dataset()
    result = run([write_dataset(frame, tmp_path / "lines")], tmp_path / "out")
    told = {f.code: f.found for f in result.findings}
    assert told["N024"] == f"{frame['qty_per'].isna().sum()} lines without"
    assert told["N020"] == f"{frame['unit_cost'].isna().sum()} lines: no booked cost"
    assert "N021" in told
    assert "N023" in told


def test_the_amount_that_matters_is_said_of_a_dataset_in_a_currency_of_another_size(tmp_path):
    """What matters of a dataset counts in the currency of the screening: 5,000 yen a year is 30 euros."""
    folder = write_dataset(make_dataset(40), tmp_path / "lines", 1)
    told = {c: run([folder], tmp_path / c, plan=plan_of(currency=c)).findings for c in ("JPY", "USD")}
    said = {c: [f.assumed for f in findings if f.code == "S019"] for c, findings in told.items()}
    assert [s.startswith("audit.materiality_per_year = 5000 JPY (") for s in said["JPY"]] == [True]
    assert "decide" not in said["JPY"][0]
    assert said["USD"] == []


def test_a_bad_file_is_named_and_passed_over(tmp_path):
    folder = write_dataset(make_dataset(), tmp_path / "lines", 4)
    (folder / "part-002.parquet").write_bytes(b"PAR1 not a table at all")
    good, bad = write_book(tmp_path / "good.csv"), tmp_path / "bad.xlsx"
    bad.write_bytes(b"PK\x03\x04 truncated")
    result = run([folder, good, bad, tmp_path / "nowhere"], tmp_path / "out")
    assert [d.piece.path.name for d in result.passed_over] == ["bad.xlsx", "part-002.parquet"]
    assert not result.complete
    assert result.summary.totals["lines"] == 300 + 12
    listed = pd.read_csv(tmp_path / "out" / "findings.csv")
    errors = listed[listed["severity"] == "error"]["file"].to_list()
    assert any("part-002.parquet" in f for f in errors)
    assert any("bad.xlsx" in f for f in errors)
    assert any("nowhere" in f for f in errors)
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert len(summary["passed_over"]) == 2
    assert len(summary["partitions"]) == 4


def test_findings_of_loose_workbooks_name_files_that_there_are(tmp_path):
    books = tmp_path / "books"
    books.mkdir()
    paths = [write_book(books / name) for name in ("one.csv", "two.csv")]
    for path in paths:
        path.write_text(path.read_text().replace("EUR", "", 1))
    quotes = tmp_path / "q.csv"
    quotes.write_text("part_no,quote_date,unit_price,currency\nX1,2025-01-01,much,EUR\nX1,2025-03-01,5.5,EUR\n")
    result = run(paths, tmp_path / "out", plan=plan_of(tables={"quotes": quotes}))
    assert {f.file for f in result.findings} <= {"", "q.csv", *(p.as_posix() for p in paths)}
    assert [f.file for f in result.findings if f.code == "S011"] == [p.as_posix() for p in paths]
    assert sum(f.code == "Q001" for f in result.findings) == 1


def test_nothing_to_screen_is_bad_input(tmp_path):
    with pytest.raises(BadInput, match="no such file"):
        screen([tmp_path / "nowhere"], plan_of(), tmp_path / "out")


def test_unchanged_pieces_are_not_done_again(tmp_path):
    folder = write_dataset(make_dataset(), tmp_path / "lines", 4)
    write_book(tmp_path / "book.csv")
    paths, out = [folder, tmp_path / "book.csv"], tmp_path / "out"
    plan = plan_of(tables={"quotes": write_quotes(tmp_path)})
    assert all(d.fresh for d in run(paths, out, plan=plan).done)
    first = hashes(out)
    again = run(paths, out, plan=plan)
    assert not any(d.fresh for d in again.done)
    assert hashes(out) == first
    frame = pd.read_parquet(folder / "part-001.parquet")
    frame.assign(supplier="another").to_parquet(folder / "part-001.parquet", index=False)
    assert [d.piece.path.name for d in run(paths, out, plan=plan).done if d.fresh] == ["part-001.parquet"]
    assert all(d.fresh for d in run(paths, out, plan=plan_of(overrides=("audit.materiality=0.2",))).done)


def test_a_new_partition_leaves_the_others_alone_unless_it_bears_on_them(tmp_path):
    """Curves and needs that stay as they are make no partition new."""
    frame = make_dataset()
    folder, out = write_dataset(frame, tmp_path / "lines", 3), tmp_path / "out"
    run([folder], out)
    newest = frame["cost_date"].max()
    other = frame.head(50).assign(part_no="Q1", bom="new", commodity="dc_motor", currency="EUR", cost_date=newest)
    older = other.assign(cost_date=pd.Timestamp("2013-01-01"))
    older.to_parquet(folder / "part-900.parquet", index=False)
    assert [d.piece.path.name for d in run([folder], out).done if d.fresh] == ["part-900.parquet"]


def test_a_half_written_result_is_done_again(tmp_path):
    folder, out = write_dataset(make_dataset(), tmp_path / "lines", 2), tmp_path / "out"
    run([folder], out)
    first = hashes(out)
    victim = min((out / "lines").iterdir())
    victim.write_bytes(victim.read_bytes()[:100])
    (out / "lines" / ".abc.part").write_bytes(b"left by a process that was killed")
    assert sum(d.fresh for d in run([folder], out).done) == 1
    assert hashes(out) == first


def test_what_is_gone_goes_from_the_result(tmp_path):
    folder, out = write_dataset(make_dataset(), tmp_path / "lines", 3), tmp_path / "out"
    run([folder], out)
    (folder / "part-001.parquet").unlink()
    run([folder], out)
    assert len(list((out / "lines").iterdir())) == 2
    shutil.rmtree(tmp_path / "fresh", ignore_errors=True)
    run([folder], tmp_path / "fresh")
    assert hashes(out) == hashes(tmp_path / "fresh")


def test_other_currencies_are_added_at_the_day_s_rate(tmp_path):
    from bomaudit.prepare.currency import reference_rates  # noqa: PLC0415  (one test)

    write_book(tmp_path / "euro.csv")
    write_book(tmp_path / "dollar.csv", currency="USD")
    result = run([tmp_path / "euro.csv", tmp_path / "dollar.csv"], tmp_path / "out")
    spend = {
        n.rpartition("/")[2]: v for n, v in result.summary.rankings["bom"].set_index("name")["spend_per_year"].items()
    }
    rate = reference_rates("EUR").rate(["USD"], [np.datetime64(AS_OF)])[0]
    assert spend["dollar.csv"] / spend["euro.csv"] == pytest.approx(rate, rel=1e-6)


def test_rates_that_are_given_go_before_the_bundled_ones_for_every_kind_of_piece(tmp_path):
    """Folders in another currency were added up at the bundled rate, loose BOMs took rates per euro for rates per
    their own main currency, and a currency with no bundled rate ended in an error of our own."""
    rates = tmp_path / "fx.csv"
    rates.write_text("date,currency,per_base\n2010-01-01,USD,4\n2010-01-01,GBP,8\n")
    (tmp_path / "us").mkdir()
    write_book(tmp_path / "us" / "bom.csv", currency="USD")
    (tmp_path / "us" / "audit.toml").write_text('[audit]\ncurrency = "USD"\n[files]\nbom = "bom.csv"\n')
    write_book(tmp_path / "euro.csv")
    mixed = pd.read_csv(write_book(tmp_path / "dollar.csv", currency="USD"))
    mixed.loc[0, "Currency"] = "GBP"
    mixed.to_csv(tmp_path / "dollar.csv", index=False)
    paths = [tmp_path / n for n in ("us", "euro.csv", "dollar.csv")]
    result = run(paths, tmp_path / "out", plan=plan_of(tables={"fx": rates}))
    spend = result.summary.rankings["bom"].set_index("name")["spend_per_year"]
    folder, euro, loose = (spend[spend.index.str.endswith(n)].iloc[0] for n in ("us", "euro.csv", "dollar.csv"))
    assert folder == pytest.approx(euro / 4)
    pound = float(mixed["Unit cost"].iloc[0]) * 2 * 900
    assert loose == pytest.approx((euro - pound) / 4 + pound / 8)
    rates.write_text("date,currency,per_base\n2010-01-01,EUR,0.01\n")
    other = run([tmp_path / "euro.csv"], tmp_path / "other", plan=plan_of(currency="ARS", tables={"fx": rates}))
    assert other.summary.totals["spend_per_year"] == pytest.approx(euro * 100)


def test_the_results_are_not_screened_themselves(tmp_path):
    write_dataset(make_dataset(50), tmp_path, 1)
    run([tmp_path], tmp_path / "out")
    assert len(run([tmp_path], tmp_path / "out").done) == 1


def test_results_of_earlier_runs_are_not_screened_as_bills(sample_folder, sample_audit, tmp_path):
    """An audit written beside the client's files, a reconciliation's and a screening's too: none of it counts again."""
    book = tmp_path / "client" / "own.csv"
    write(sample_audit, tmp_path / "client")
    write_book(book)
    run([book], tmp_path / "client" / "screened")
    result = run([tmp_path / "client"], tmp_path / "out")
    assert [done.piece.path for done in result.done] == [book]
    (found,) = [f for f in result.findings if f.code == "N014"]
    assert found.found.startswith("2 folders with results")
