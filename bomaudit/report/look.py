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

_TEAL = Tone("#1f6b70", "#6cc5c1", "#ddefee", "#17383a", "●", "cyan")
_OCHRE = Tone("#8a5a00", "#e9b44c", "#f8ecd2", "#43330f", "◆", "yellow")
_BERRY = Tone("#9c1f4a", "#f58aa9", "#f9e0e8", "#4a1b2c", "▲", "magenta")
_STONE = Tone("#5b616b", "#a9b0ba", "#e9e9e7", "#2f353c", "○", "bright_black")
_BLUE = Tone("#34509c", "#9db4f5", "#e2e8f8", "#232f52", "◷", "blue")

STATUS: dict[str, Tone] = {"current": _TEAL, "drifting": _OCHRE, "stale": _BERRY, "unknown": _STONE}
_PLUM = Tone("#6d3aa0", "#c7a3ee", "#eee4f7", "#3a2650", "◼", "bright_magenta")
VERDICT: dict[str, Tone] = {"reopen": _BERRY, "review": _PLUM, "requote": _OCHRE, "watch": _BLUE, "stands": _TEAL}
SEVERITY: dict[str, Tone] = {"error": _BERRY, "warning": _OCHRE, "note": _STONE}

UP = _BERRY
"""A cost that rose."""
DOWN = _TEAL
"""A cost that fell."""
SHAPES = {"current": "circle", "drifting": "diamond", "stale": "triangle-up", "unknown": "square"}
