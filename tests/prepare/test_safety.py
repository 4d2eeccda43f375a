"""What a remark says about safety is heard; what the column says stands."""

import pandas as pd
import pytest

from bomaudit.prepare.safety import said_in_remarks


def said(remark: str, stated=pd.NA) -> bool:
    return bool(said_in_remarks(pd.Series([stated], dtype="boolean"), pd.Series([remark], dtype="str")).iloc[0])


@pytest.mark.parametrize(
    "remark",
    [
        "sicherheitsrelevant", "Sicherheitsbauteil!", "safety relevant", "Safety-critical, keep", "safety part",
        "pièce de sécurité", "critique pour la sécurité", "relevante para la seguridad", "componente di sicurezza",
        "istotne dla bezpieczeństwa", "保安部品", "安全关键", "not painted, but safety relevant",
    ],
)  # fmt: skip
def test_a_remark_says_that_a_part_bears_on_safety(remark):
    assert said(remark)


@pytest.mark.parametrize(
    "remark",
    ["", "safety stock 200", "nicht sicherheitsrelevant", "not safety-relevant", "not a safety part",
     "Sicherheitsdatenblatt", "kein Sicherheitsteil", "non safety critical"],
)  # fmt: skip
def test_other_remarks_do_not(remark):
    assert not said(remark)


@pytest.mark.parametrize("stated", [True, False])
def test_the_column_needs_no_remark_and_is_not_overruled_by_one(stated):
    assert not said("sicherheitsrelevant", stated)
