"""The sample product rolls up to what its bill states, to the cent, through five levels and four currencies."""

from datetime import date
from decimal import Decimal

import pytest

from bomaudit.curves.library import load_library
from bomaudit.finance.reconcile import reconcile
from bomaudit.frames import conform
from bomaudit.glossary import LINES
from bomaudit.prepare.currency import reference_rates
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.resources import data_folder
from bomaudit.settings import load
from bomaudit.tables import read_audit


@pytest.fixture(scope="module")
def sample():
    """The sample as booked: nothing is estimated, so that the bridge ends where it is booked."""
    folder = data_folder("sample_boms") / "floor_scrubber"
    settings, as_of, fx = load(folder / "audit.toml"), date(2026, 6, 30), reference_rates("EUR")
    tables = read_audit(folder, settings).tables
    quotes, _ = prepare_quotes(tables["quotes"], fx=fx, as_of=as_of)
    lines, _ = prepare_lines(
        tables["bom"], quotes=quotes, commodities=load_library().commodities, fx=fx, settings=settings, as_of=as_of
    )
    audited = conform(lines, LINES)[list(LINES.names)]
    return reconcile(
        standards=tables["standards"], bom=tables["bom"], lines=lines, audited=audited, quotes=quotes,
        settings=settings, as_of=as_of, fx=fx,
    )  # fmt: skip


def test_every_assembly_agrees_with_what_is_stated(sample):
    stated = sample.rolled.iloc[:-1]
    assert len(stated) == 29
    assert stated["booked_stated"].notna().all()
    assert (stated["booked_difference"] == Decimal(0)).all()
    assert stated["booked_rounding"].isin(["total", "lines", "assemblies"]).all()


def test_product_is_its_top_assembly(sample):
    product, top = sample.rolled.iloc[-1], sample.rolled.iloc[0]
    assert product["rolled_booked"] == pytest.approx(top["rolled_booked"])
    assert round(product["rolled_booked"], 2) == top["booked_stated"]


def test_nothing_estimated_ends_where_it_is_booked(sample):
    rows = sample.bridge[sample.bridge["starts_at"] == "booked"]
    assert (rows["start"] == rows["end"]).all()
    assert sample.bridge.loc[sample.bridge["scope"] == "year", "rounding"].abs().max() <= Decimal("0.05")
