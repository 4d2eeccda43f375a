"""audit.toml: every mistake is named with its place, every override counts as stated."""

import pytest

from bomaudit import settings
from bomaudit.findings import BadInput
from bomaudit.opened import MONEY_SETTINGS, open_audit


def test_defaults_are_documented():
    """Each setting says why its default is what it is."""
    for section in settings.Settings.model_fields.values():
        model = section.annotation
        if isinstance(model, type) and issubclass(model, settings._Section) and model is not settings.FilesSection:
            for name, field in model.model_fields.items():
                assert field.description, name


def test_all_mistakes_are_named_at_once():
    with pytest.raises(BadInput) as caught:
        settings.from_dict({"files": {"bom": "b.csv"}, "audit": {"confidence": 1.5, "curency": "EUR"}})
    text = str(caught.value)
    assert "audit.confidence" in text
    assert "audit.curency is not a setting" in text


def test_a_column_mapping_must_name_a_canonical_column():
    with pytest.raises(BadInput, match=r"columns.bom.price is no column of bom"):
        settings.from_dict({"files": {"bom": "b.csv"}, "columns": {"bom": {"price": "Preis"}}})


def test_a_missing_file_says_how_to_make_one(tmp_path):
    with pytest.raises(BadInput, match="bomaudit init"):
        settings.load(tmp_path / "audit.toml")


def test_broken_toml_is_one_clear_error(tmp_path):
    (tmp_path / "audit.toml").write_text("[audit\n")
    with pytest.raises(BadInput, match="valid TOML"):
        settings.load(tmp_path / "audit.toml")


def test_an_override_counts_as_stated():
    plain = settings.from_dict({"files": {"bom": "b.csv"}})
    changed = settings.overridden(plain, ["decide.discount_rate=0.1", "audit.currency=USD", "audit.as_of=2026-06-30"])
    assert changed.decide.discount_rate == pytest.approx(0.1)
    assert changed.audit.currency == "USD"
    assert changed.audit.as_of.isoformat() == "2026-06-30"
    assert "discount_rate" in changed.decide.model_fields_set
    assert plain.decide.discount_rate == pytest.approx(0.08)


@pytest.mark.parametrize("change", ["discount_rate=0.1", "decide.discount_rate", "decide.rate=0.1"])
def test_an_override_that_names_no_setting_is_refused(change):
    plain = settings.from_dict({"files": {"bom": "b.csv"}})
    with pytest.raises(BadInput):
        settings.overridden(plain, [change])


@pytest.mark.parametrize("name", ["years_left", "use_years"])
def test_no_product_is_made_or_used_for_more_than_a_hundred_years(name):
    plain = settings.from_dict({"files": {"bom": "b.csv"}})
    assert getattr(settings.overridden(plain, [f"decide.{name}=100"]).decide, name) == 100
    with pytest.raises(BadInput, match="100"):
        settings.overridden(plain, [f"decide.{name}=2026"])


@pytest.mark.parametrize(
    ("override", "said"),
    [
        ("decide.discount_rate=8", "less than or equal to 1"),
        ("decide.inflation=2", "less than or equal to 1"),
        ("audit.materiality=10", "less than or equal to 1"),
        ("audit.annual_volume=inf", "finite"),
        ("decide.reopen_npv=inf", "finite"),
        ("model.undated_range_years=[10, 1]", "the least and the greatest age"),
        ("model.quote_noise={firm = -0.02}", "firm, purchase, budgetary, catalogue"),
        ("model.quote_noise={spoken = 0.02}", "firm, purchase, budgetary, catalogue"),
    ],
)
def test_a_setting_that_cannot_be_meant_is_refused_with_what_may_be(override, said):
    """8 is no discount rate of 8 %: counted as 800 %, it would leave every choice as it stands."""
    plain = settings.from_dict({"files": {"bom": "b.csv"}})
    with pytest.raises(BadInput) as problem:
        settings.overridden(plain, [override])
    (finding,) = problem.value.findings
    assert override.partition("=")[0] in str(finding)
    assert said in str(finding)


def test_a_kind_of_quote_whose_noise_is_not_stated_keeps_its_default():
    plain = settings.from_dict({"files": {"bom": "b.csv"}})
    noise = settings.overridden(plain, ["model.quote_noise={firm = 0.01}"]).model.quote_noise
    assert noise == plain.model.quote_noise | {"firm": 0.01}


def opened_in(folder, currency, *lines, fx=""):
    folder.mkdir(exist_ok=True)
    (folder / "bom.csv").write_text(f"Part number,Qty,Unit cost,Currency\nP1,1,12.5,{currency}\n")
    (folder / "fx.csv").write_text(f"date,currency,per_base\n{fx}")
    (folder / "audit.toml").write_text(
        f'[audit]\nas_of = 2025-06-30\ncurrency = "{currency}"\n[files]\nbom = "bom.csv"\n'
        + ('fx = "fx.csv"\n' if fx else "")
        + "\n".join(lines)
    )
    return open_audit(folder)


@pytest.mark.parametrize(
    ("currency", "found", "assumed"),
    [
        ("KRW", "1,588.21 KRW for one EUR", "decide.cost_of_asking = 150 KRW (0.09 EUR)"),
        ("CNY", "8.3", "decide.reopen_npv = 5000 CNY"),
        ("JPY", "169.17", "audit.materiality_per_year = 5000 JPY (29.56 EUR)"),
    ],
)
def test_amounts_that_nobody_set_are_said_in_a_currency_of_another_size_than_the_euro(
    tmp_path, currency, found, assumed
):
    """A quote that costs 150 won costs nothing, and all that is undecided would be asked for."""
    said = [f for f in opened_in(tmp_path, currency).findings if f.code == "S019"]
    assert [f.severity for f in said] == ["warning"]
    assert found in said[0].found
    assert assumed in said[0].assumed
    assert all(name in said[0].assumed for name in MONEY_SETTINGS)


@pytest.mark.parametrize("currency", ["EUR", "USD", "CHF", "GBP", "AUD", "CAD"])
def test_amounts_that_nobody_set_are_as_good_in_a_currency_like_the_euro(tmp_path, currency):
    assert not [f for f in opened_in(tmp_path, currency).findings if f.code == "S019"]


def test_amounts_that_are_set_are_not_said(tmp_path):
    some = opened_in(tmp_path, "KRW", "[decide]", "cost_of_asking = 200000")
    said = [f.assumed for f in some.findings if f.code == "S019"]
    assert len(said) == 1
    assert "cost_of_asking" not in said[0]
    changes = [f"{name}=200000" for name in MONEY_SETTINGS]
    stated = settings.overridden(settings.load(tmp_path / "audit.toml"), changes)
    assert not [f for f in open_audit(tmp_path, settings=stated).findings if f.code == "S019"]


def test_amounts_that_nobody_set_are_said_where_the_euro_is_worth_nobody_knows_what(tmp_path):
    read = opened_in(tmp_path, "VND", fx="2025-06-01,USD,0.00004\n")
    said = [f for f in read.findings if f.code == "S019"]
    assert [f.found for f in said] == ["no rate of VND to EUR"]
    assert "decide.cost_of_asking = 150 VND, " in said[0].assumed
