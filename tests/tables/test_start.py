"""An audit folder proposed from a spreadsheet is valid, refers to its source, and says what is missing first."""

import tomllib

import pytest

from bomaudit.findings import BadInput
from bomaudit.glossary import QUOTES
from bomaudit.settings import from_dict
from bomaudit.tables import read_audit
from bomaudit.tables.start import propose_audit

BOM = 'Teil "A",Menge,Preis\nPlatte,2,3.50\nMotor,1,41.00\n'


def propose(tmp_path, text=BOM, **others):
    (tmp_path / "client").mkdir()
    (tmp_path / "client" / "liste.csv").write_text(text)
    folder = tmp_path / "audit"
    return propose_audit(tmp_path / "client" / "liste.csv", others, folder=folder), folder


def test_the_proposed_settings_are_valid_and_refer_to_the_source(tmp_path):
    got, _ = propose(tmp_path)
    settings = from_dict(tomllib.loads(got.files["audit.toml"]))
    assert settings.files.bom == (tmp_path / "client" / "liste.csv").as_posix()
    assert list(tmp_path.iterdir()) == [tmp_path / "client"]  # nothing was written


def test_the_proposed_folder_can_be_read_once_written(tmp_path):
    got, folder = propose(tmp_path)
    folder.mkdir()
    for name, text in got.files.items():
        (folder / name).write_text(text)
    inputs = read_audit(folder, from_dict(tomllib.loads(got.files["audit.toml"])))
    assert inputs.tables["bom"]["unit_cost"].tolist() == [3.5, 41.0]


def test_the_detected_mapping_can_be_uncommented_as_it_stands(tmp_path):
    got, folder = propose(tmp_path)
    lines = [
        ln.removeprefix("# ") if ' = "' in ln and "column " in ln else ln for ln in got.files["audit.toml"].splitlines()
    ]
    settings = from_dict(tomllib.loads("\n".join(lines)))
    folder.mkdir()
    inputs = read_audit(folder, settings)
    assert settings.columns["bom"]["qty"] == "Menge"
    assert inputs.tables["bom"]["qty"].tolist() == [2.0, 1.0]


def test_what_is_missing_comes_in_order_of_what_it_improves(tmp_path):
    got, _ = propose(tmp_path)
    codes = [f.code for f in got.findings if f.code.startswith("I")]
    assert codes[:3] == ["I002", "I003", "I004"]
    assert got.missing["what"].iloc[0] == "currency is missing"


def test_templates_only_for_missing_tables(tmp_path):
    (tmp_path / "q.csv").write_text("part_no,quote_date,unit_price\nA,2020-01-01,3\n")
    got, _ = propose(tmp_path, quotes=tmp_path / "q.csv")
    assert "quotes_template.csv" not in got.files
    assert got.files["volumes_template.csv"].startswith("commodity,period,volume")
    assert "I004" not in {f.code for f in got.findings}
    assert set(got.read) == {"bom", "quotes"}


def test_a_template_has_the_columns_of_its_table(tmp_path):
    got, _ = propose(tmp_path)
    assert got.files["quotes_template.csv"].strip().split(",") == list(QUOTES.names)


def test_a_table_that_is_none_is_refused(tmp_path):
    with pytest.raises(BadInput, match="prices names no table"):
        propose(tmp_path, prices=tmp_path / "x.csv")


def test_columns_that_are_not_used_are_named(tmp_path):
    got, _ = propose(tmp_path, 'Teil "A",Menge,Preis,Lagerplatz\nPlatte,2,3.50,R7\nMotor,1,41.00,R9\n')
    assert got.read["bom"].unused == ("Lagerplatz",)
    assert '# not used: "Lagerplatz"' in got.files["audit.toml"].splitlines()
