"""The word that names the thing decides its market; other words in a description do not."""

import pandas as pd
import pytest

from bomaudit.prepare.commodity import HEAD, MAKING, WHOLE, classify

CATALOGUE = pd.DataFrame(
    [
        ("dc_motor", "purchased_parts", "dc motor;motor;moteur;gleichstrommotor"),
        ("cable", "purchased_parts", "cable;kabel;câble"),
        ("switch_relay", "purchased_parts", "relay;switch;relais"),
        ("casting_aluminium", "metalworking", "die cast;druckguss"),
        ("moulded_part", "moulding", "housing;gehäuse"),
        ("steel", "raw_material", "steel;stahl"),
        ("bearing", "purchased_parts", "bearing;kugellager;轴承"),
        ("spring", "metalworking", "spring"),
    ],
    columns=["commodity", "class", "keywords"],
)


@pytest.mark.parametrize(
    ("description", "commodity", "confidence"),
    [
        ("Motor", "dc_motor", WHOLE),
        ("Brush motor relay 100 A", "switch_relay", HEAD),
        ("Motor with cable", "dc_motor", WHOLE),
        ("Getriebemotoren 24 V", "dc_motor", HEAD),
        ("Moteur de traction", "dc_motor", HEAD),
        ("Deck housing, die cast", "casting_aluminium", MAKING),
        ("Housing, die cast", "casting_aluminium", MAKING),
        ("Motor, die cast", "dc_motor", WHOLE),
        ("Anschlusskabel DN 8, 15 m", "cable", HEAD),
        ("Kugellager 6202", "bearing", WHOLE),
        ("深沟轴承", "bearing", HEAD),
    ],
)
def test_the_head_of_the_description_decides(description, commodity, confidence):
    found, sure = classify(pd.Series([description]), CATALOGUE)
    assert found[0] == commodity
    assert sure[0] == confidence


def test_a_material_beside_a_noun_is_not_what_is_bought():
    found, sure = classify(pd.Series(["Steel bracket", "Widget, steel"]), CATALOGUE)
    assert found.tolist() == ["", ""]
    assert sure.tolist() == [0.0, 0.0]


def test_a_keyword_inside_another_word_is_none():
    found, _ = classify(pd.Series(["Springfield", "cabled", ""]), CATALOGUE)
    assert found.tolist() == ["", "", ""]


def test_a_misspelt_keyword_is_found_with_less_confidence():
    found, sure = classify(pd.Series(["Gleichstrommotr", "Gleichstrommotor"]), CATALOGUE)
    assert found.tolist() == ["dc_motor", "dc_motor"]
    assert 0 < sure[0] < sure[1]


def test_each_distinct_description_is_classified_alike_in_any_order():
    texts = pd.Series(["Motor", "Relay", "Motor", None])
    found, sure = classify(texts, CATALOGUE)
    assert found.tolist() == ["dc_motor", "switch_relay", "dc_motor", ""]
    assert sure[3] == 0.0
    assert texts[3] is None or pd.isna(texts[3])
