"""The bundled library keeps its rules, and each rule catches what breaks it."""

import dataclasses

import numpy as np
import pytest

from bomaudit.curves.library import Library, check_library, load_library
from bomaudit.curves.library_rules import parse_basket
from bomaudit.findings import BadInput, Severity

NEEDED = {
    "dc_motor", "pump", "fan", "power_module", "microcontroller", "memory", "passive_component", "circuit_board",
    "board_assembly", "connector", "wire_harness", "liion_cell", "liion_pack", "lead_acid_battery", "display", "led",
    "sensor", "camera_module", "radio_module", "magnet", "bearing", "gear", "casting_aluminium", "casting_iron",
    "stamping", "machined_part", "moulded_part", "extrusion_aluminium", "fastener", "elastomer_part", "composite_part",
    "glass_part", "valve", "heat_exchanger", "compressor", "solar_module", "solar_inverter", "packaging",
}  # fmt: skip


@pytest.fixture(scope="module")
def library():
    return load_library()


def test_bundled_library_breaks_no_rule(library):
    assert [f for f in check_library(library) if f.severity is Severity.ERROR] == []


def test_library_covers_what_engineering_boms_hold(library):
    assert set(library.commodities["commodity"]) >= NEEDED
    assert len(library.commodities) >= 35
    assert (library.curves["how_obtained"] != "class prior").sum() >= 45


def test_every_commodity_has_a_curve_and_every_row_a_source(library):
    assert set(library.commodities["commodity"]) <= set(library.curves["commodity"])
    for frame in (library.curves, library.commodities, library.volumes, library.input_prices):
        assert (frame["source"].str.len() > 0).all()


def test_where_no_rate_is_published_the_row_says_so_and_carries_its_class(library):
    """Published learning rates of these were looked for and not found; only their class speaks for them."""
    curves = library.curves.set_index("commodity")
    classes = library.curves.set_index("curve_id")["exponent"]
    class_of = library.commodities.set_index("commodity")["class"]
    for name in ("magnet", "power_module", "sensor", "fan", "pump", "dc_motor", "display", "heat_pump"):
        row = curves.loc[name]
        assert row["how_obtained"] == "class prior"
        assert "no published rate found" in row["source"]
        assert row["exponent"] == classes[f"class_{class_of[name]}"]


def test_raw_materials_do_not_learn(library):
    raw = library.commodities[library.commodities["class"] == "raw_material"]["commodity"]
    rows = library.curves[library.curves["commodity"].isin(raw)]
    assert len(rows) == len(raw) >= 5
    assert (rows["exponent"] == 0).all()
    assert (rows["exponent_sd"] == 0).all()


def test_baskets_add_up(library):
    for text in library.commodities["basket"]:
        assert sum(parse_basket(text).values()) == pytest.approx(1 if text else 0)


def test_keywords_come_in_several_languages(library):
    words = library.commodities.set_index("commodity")["keywords"]
    for name, found in words.items():
        assert len(found.split(";")) >= 6, name
    assert {"schraube", "vis", "tornillo", "vite", "śruba", "ねじ", "螺钉"} <= set(words["fastener"].split(";"))


BREAKS = [
    ("curves", "curve_id", "class_all", "L101"), ("curves", "commodity", "no_such_thing", "L102"),
    ("curves", "source", " ", "L103"), ("curves", "how_obtained", "guessed", "L104"),
    ("curves", "price_basis", "Euro", "L105"), ("curves", "measured_on", "margin", "L106"),
    ("curves", "applies_to", "half", "L107"), ("curves", "exponent_sd", -0.1, "L108"),
    ("curves", "exponent_sd", np.nan, "L108"), ("curves", "learning_rate", 0.9, "L109"),
    ("commodities", "commodity", "pump", "L201"), ("commodities", "class", "no_such_class", "L202"),
    ("commodities", "source", "", "L203"), ("commodities", "keywords", "", "L204"),
    ("commodities", "materials_share", 1.2, "L205"),
    ("commodities", "process_noise", 0.0, "L207"), ("commodities", "markup_early", 0.9, "L208"),
    ("commodities", "elasticity", 1.0, "L209"), ("commodities", "price_break_slope", 0.1, "L210"),
    ("commodities", "basket", "copper:0.5", "L211"), ("commodities", "basket", "copper", "L211"),
    ("volumes", "source", "", "L301"), ("volumes", "volume", -1.0, "L304"),
    ("input_prices", "value", 0.0, "L305"), ("input_prices", "currency", "", "L306"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "column", "value", "code"), BREAKS)
def test_each_rule_catches_what_breaks_it(library, table, column, value, code):
    frame = getattr(library, table).copy()
    row = 60 if table == "curves" else len(frame) - 1
    frame.loc[row, column] = value
    broken = dataclasses.replace(library, **{table: frame})
    found = [f for f in check_library(broken) if f.code == code]
    assert found
    assert found[0].row == row + 2
    assert found[0].column == column


def test_labour_and_energy_share_the_conversion(library):
    commodities = library.commodities.copy()
    commodities.loc[0, ["labour_share", "energy_share"]] = [0.7, 0.4]
    found = check_library(dataclasses.replace(library, commodities=commodities))
    assert "L206" in [f.code for f in found]


def test_a_raw_material_that_learns_is_refused(library):
    curves, commodities = library.curves.copy(), library.commodities.copy()
    curves.loc[curves["commodity"] == "copper", "exponent"] = 0.1
    commodities.loc[commodities["commodity"] == "copper", "trend"] = -0.02
    codes = {f.code for f in check_library(Library(curves, commodities, library.volumes, library.input_prices))}
    assert {"L110", "L212"} <= codes


def test_a_library_with_a_broken_row_is_refused_with_file_and_row(tmp_path, library):
    for name in ("curves", "commodities", "volumes", "input_prices"):
        frame = getattr(library, name)
        frame.to_csv(tmp_path / f"{name}.csv", index=False)
    text = (tmp_path / "commodities.csv").read_text(encoding="utf-8")
    (tmp_path / "commodities.csv").write_text(text.replace("copper:0.3;steel:0.5", "copper:0.4;steel:0.5", 1))
    with pytest.raises(BadInput, match=r"commodities.csv:basket row 2: basket shares must"):
        load_library(tmp_path)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(BadInput, match=r"curves\.csv"):
        load_library(tmp_path)


def test_words_where_numbers_belong_are_refused(tmp_path, library):
    for name in ("curves", "commodities", "volumes", "input_prices"):
        getattr(library, name).to_csv(tmp_path / f"{name}.csv", index=False)
    text = (tmp_path / "curves.csv").read_text(encoding="utf-8")
    (tmp_path / "curves.csv").write_text(text.replace("0.355", "about a third", 1))
    with pytest.raises(BadInput, match=r"curves.csv: numbers must be numbers"):
        load_library(tmp_path)
