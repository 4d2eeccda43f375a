"""What is known of a commodity before its own quotes."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from bomaudit.curves.library import load_library
from bomaudit.curves.priors import CHANGE_SD, build_catalogue, drift_spread


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture(scope="module")
def catalogue(library):
    return build_catalogue(library, {"gadget"}).frame


def test_a_published_rate_is_drawn_to_its_class(library, catalogue):
    curves = library.curves.set_index("curve_id")
    own = library.curves[library.curves["commodity"] == "solar_module"]["exponent"].mean()
    pool = curves.loc["class_energy", "exponent"]
    prior = catalogue.loc["solar_module"]
    assert pool < prior["exponent_mean"] < own
    assert prior["kind"] == "published"
    assert "solar_module_consensus" in prior["source"]
    assert prior["exponent_sd"] < curves.loc["class_energy", "exponent_sd"]


def test_weight_of_a_published_rate_is_that_of_normal_distributions(library, catalogue):
    curves = library.curves.set_index("curve_id")
    own, pool = curves.loc["fitted_transistor"], curves.loc["class_electronics"]
    noise = own["exponent_sd"] ** 2 + CHANGE_SD**2
    weight = pool["exponent_sd"] ** 2 / (pool["exponent_sd"] ** 2 + noise)
    prior = catalogue.loc["discrete_semiconductor"]
    assert prior["exponent_mean"] == pytest.approx(pool["exponent"] + weight * (own["exponent"] - pool["exponent"]))
    assert prior["exponent_sd"] == pytest.approx(np.sqrt(weight * noise))


def test_without_a_published_rate_the_class_speaks(library, catalogue):
    pool = library.curves.set_index("curve_id").loc["class_electronics"]
    prior = catalogue.loc["sensor"]
    assert (prior["exponent_mean"], prior["exponent_sd"]) == (pool["exponent"], pool["exponent_sd"])
    assert prior["kind"] == "class prior"


def test_a_rate_of_the_conversion_is_carried_to_the_whole_price_before_pooling(library, catalogue):
    curves = library.curves.set_index("curve_id")
    prior = catalogue.loc["stamping"]
    carried = 1 - prior["materials_share"]
    low, high = sorted([curves.loc["hb_stamped", "exponent"], curves.loc["class_metalworking", "exponent"]])
    assert carried * low - 1e-12 <= prior["exponent_mean"] <= carried * high + 1e-12
    assert prior["applies_to"] == "conversion"


def test_raw_materials_are_pinned(catalogue):
    raw = catalogue[catalogue["class"] == "raw_material"]
    assert (raw[["exponent_mean", "exponent_sd", "trend_mean", "trend_sd"]] == 0).all(axis=None)


def test_a_commodity_of_the_clients_own_leaves_everything_to_the_pool(catalogue):
    prior = catalogue.loc["gadget"]
    assert prior[["exponent_mean", "exponent_sd", "trend_mean", "trend_sd", "process_noise"]].isna().all()
    assert (prior["kind"], prior["listed"]) == ("pool", False)
    assert prior["materials_share"] == 0


def test_a_commodity_that_is_not_known_only_follows_inflation(catalogue):
    prior = catalogue.loc[""]
    assert (prior["exponent_mean"], prior["trend_mean"], prior["exponent_sd"]) == (0, 0, 0)


def test_nominal_rates_stand_alone_and_never_beside_real_ones(library):
    curves = library.curves.copy()
    alone = curves["commodity"] == "laser_diode"
    curves.loc[alone, "price_basis"] = "nominal"
    row = curves[curves["curve_id"] == "solar_module_consensus"].assign(
        curve_id="odd", price_basis="nominal", exponent=3.0
    )
    mixed = dataclasses.replace(library, curves=pd.concat([curves, row], ignore_index=True))
    frame = build_catalogue(mixed, set()).frame
    assert frame.loc["laser_diode", "price_basis"] == "nominal"
    assert frame.loc["laser_diode", "exponent_mean"] == pytest.approx(float(curves.loc[alone, "exponent"].iloc[0]))
    before = build_catalogue(library, set()).frame.loc["solar_module", "exponent_mean"]
    assert frame.loc["solar_module", "exponent_mean"] == pytest.approx(before)


def test_order_of_rows_does_not_matter(library):
    shuffled = dataclasses.replace(
        library, curves=library.curves.sample(frac=1, random_state=3), commodities=library.commodities.iloc[::-1]
    )
    one, other = (build_catalogue(lib, {"x"}).frame for lib in (library, shuffled))
    assert list(one.index) == list(other.index)
    np.testing.assert_allclose(one["exponent_mean"], other["exponent_mean"])


def test_spread_of_yearly_changes_holds_the_catalogue(library):
    catalogue = build_catalogue(library, set())
    mean, sd = drift_spread(catalogue)
    trends = catalogue.frame["trend_mean"][catalogue.frame["listed"]]
    assert trends.min() < mean < trends.max()
    assert sd > trends.std()


def test_sources_say_in_words_which_class_stands_in(catalogue):
    """No name of the library's own, such as class_purchased_parts, reaches a reader who cannot look it up."""
    listed = catalogue[catalogue["kind"].isin(["published", "class prior"])]
    assert listed.loc["pump", "source"].startswith("no published rate: prior of the class purchased parts: ")
    assert listed.loc["sheet_metal_part", "source"].endswith("; pool of the class sheet welding")
    assert not listed["source"].str.contains("class_").any()
