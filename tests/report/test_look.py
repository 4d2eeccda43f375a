"""Colours: readable on their grounds, and told apart by people who see few colours."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from bomaudit.report import look

GROUPS = {"status": look.STATUS, "verdict": look.VERDICT, "severity": look.SEVERITY}
# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG
# 15(6), 2009, severity 1.0; matrices written from memory, rows sum to 1.
SIGHT = {
    "full": np.eye(3),
    "no red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}


def linear(color: str) -> np.ndarray:
    rgb = np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    """WCAG 2.2 contrast ratio, from relative luminance."""
    bright = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (bright[1] + 0.05) / (bright[0] + 0.05)


def lab(color: str, sight: np.ndarray) -> np.ndarray:
    """CIELAB of a colour as seen; sRGB primaries, D65."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    v = xyz @ np.clip(sight @ linear(color), 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(v > 0.008856, np.cbrt(v), 7.787 * v + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_is_that_of_the_guideline():
    # WCAG 2.2, G18: black on white 21:1; #777777 on white 4.48:1 (a figure often cited, from memory)
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("group", GROUPS)
def test_words_of_each_state_are_readable_on_page_and_tag(group):
    for tone in GROUPS[group].values():
        for ink, ground in ((tone.light, look.GROUND), (tone.light, tone.soft), (tone.dark, look.GROUND_DARK),
                            (tone.dark, tone.soft_dark)):  # fmt: skip
            assert contrast(ink, ground) >= 4.5, (tone, ink, ground)


def test_text_is_readable_on_both_grounds():
    assert contrast(look.INK, look.GROUND) > 7
    assert contrast(look.INK_DARK, look.GROUND_DARK) > 7


@pytest.mark.parametrize("group", ["status", "verdict"])
@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("ground", ["light", "dark"])
def test_states_differ_for_every_eye_by_colour_or_mark(group, sight, ground):
    for a, b in combinations(GROUPS[group].values(), 2):
        apart = np.linalg.norm(lab(getattr(a, ground), SIGHT[sight]) - lab(getattr(b, ground), SIGHT[sight]))
        assert a.mark != b.mark
        assert apart > 8, (group, sight, ground, a, b, apart)


def test_every_status_has_a_shape_on_the_map_of_its_own():
    assert len(set(look.SHAPES.values())) == len(look.STATUS) == len(look.SHAPES)
