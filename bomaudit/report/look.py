"""Colours and marks of the report, in one place.

Every state has a colour, a mark and a word, so that none has to be told by its colour alone. The light and the dark
variants are held to contrast and colour-vision rules by ``tests/report/test_look.py``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Tone:
    """How one state looks.

    Attributes
    ----------
    light, dark : str
        Text and mark colour on a light and on a dark ground.
    soft : str
        Cell ground of the workbook and tag ground of the light page.
    soft_dark : str
        Tag ground of the dark page.
    mark : str
        One character that says the state without colour.
    terminal : str
        Style name for the terminal.
    """

    light: str
    dark: str
    soft: str
    soft_dark: str
    mark: str
    terminal: str


GROUND = "#fbfaf7"
GROUND_DARK = "#16191d"
INK = "#20262e"
INK_DARK = "#e8e6e1"

_TEAL = Tone("#0d4456", "#bef4ec", "#dcebee", "#143438", "●", "cyan")
_OCHRE = Tone("#894c01", "#f4b854", "#f8ead4", "#402d0c", "◆", "yellow")
_BERRY = Tone("#910f30", "#e76886", "#f8dfe4", "#41121f", "▲", "magenta")
_STONE = Tone("#636567", "#afb3bf", "#ececea", "#2b3036", "○", "dim")
_BLUE = Tone("#164bda", "#6691e8", "#e3e9fb", "#17233f", "◷", "blue")
_PLUM = Tone("#691991", "#eab1f4", "#efe3f5", "#3c1a48", "◼", "bright_magenta")

STATUS: dict[str, Tone] = {"current": _TEAL, "drifting": _OCHRE, "stale": _BERRY, "unknown": _STONE}
VERDICT: dict[str, Tone] = {"reopen": _BERRY, "review": _PLUM, "requote": _OCHRE, "watch": _BLUE, "stands": _TEAL}
SEVERITY: dict[str, Tone] = {"error": _BERRY, "warning": _OCHRE, "note": _STONE}

UP = _BERRY
"""A cost that rose."""
DOWN = _TEAL
"""A cost that fell."""
SHAPES = {"current": "circle", "drifting": "diamond", "stale": "triangle-up", "unknown": "square"}
