"""Charts of the report, each declared once, in the grammar of Vega-Lite; their data come by name.

Plain data rather than a builder's objects: nothing has to be imported to make a page, and the declarations are held to
the grammar's own schema by a test. Colours are written as those of the light ground; the page swaps them for its own
variables, so that dark mode and print follow without drawing again.

References
----------
.. [1] A. Satyanarayan et al., "Vega-Lite: A Grammar of Interactive Graphics", IEEE TVCG 23(1), 2017.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bomaudit.report import look
from bomaudit.report.look import Tone

Declaration = dict[str, Any]
"""A chart, a layer or a part of one, in the grammar."""

FRAME = "#7d838c"
"""Axes and rules; also the placeholder that the page swaps for its own."""
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
"""Version of the grammar; a name only, nothing is loaded from there."""

_FONT = "system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"
_WIDE, _HIGH = 760, 340
_LARGE = "replace(replace(replace(format(datum.value, '~s'), 'G', ' bn'), 'T', ' tn'), 'M', ' m')"
"""Axis labels: thousands k, millions m, billions bn, trillions tn."""
_NOUGHT = {"type": "rule", "color": FRAME, "strokeDash": [4, 3]}
_TEXT = {"labelColor": look.INK, "titleColor": look.INK, "labelFontSize": 12, "titleFontSize": 12,
         "titleFontWeight": "normal"}  # fmt: skip


def specifications(currency: str) -> dict[str, Declaration]:
    """Declare every chart of the page, by name.

    Parameters
    ----------
    currency : str
        Audit currency, for the axes.

    Returns
    -------
    dict of str to dict
        Declaration whose data set bears the name of the chart.
    """
    return {
        "map": line_map(currency),
        "ageing": ageing(currency),
        "bridge": bridge(currency),
        "tornado": tornado(currency),
        "spread": spread(currency),
        "paths": paths(currency),
        "curve": curve(),
    }


def line_map(currency: str) -> Declaration:
    """Draw lines by age and drift, size the money a year, one mark a line.

    Data columns: age [year], drift [share], money [currency/year; 0 also where it is not known: it sets the size],
    worth (the money as written), status, id, label.
    """
    shapes = {"domain": list(look.SHAPES), "range": list(look.SHAPES.values())}
    key = {"symbolFillColor": FRAME, "symbolStrokeWidth": 0, "labelExpr": _LARGE, "tickCount": 4}
    points = _layer(
        {"type": "point", "filled": True, "opacity": 0.75, "strokeWidth": 1, "cursor": "pointer"},
        x=_number("age", "age of the booked cost, years", axis={"format": "d", "tickMinStep": 1},
                  scale={"zero": True, "nice": True}),
        y=_number("drift", "estimate against booked cost", axis={"format": "+.0%"}),
        size=_number("money", f"{currency} a year at stake", scale={"range": [24, 1400]}, legend=key),
        color=_state("status", look.STATUS, title="status"),
        shape={"field": "status", "type": "nominal", "title": "status", "scale": shapes},
        order={"field": "money", "type": "quantitative", "sort": "descending"},
        tooltip=[_said("label", "line"), _figure("age", ".1f", "years"), _figure("drift", "+.0%"),
                 _said("worth", f"{currency} a year"), _said("status")],
    )  # fmt: skip
    return _chart("map", [_layer(_NOUGHT, y={"datum": 0}), points])


def ageing(currency: str) -> Declaration:
    """Draw booked spend a year by age of the booked cost, stacked by status.

    Data columns: age (whole years), spend [currency/year], status, rank, lines.
    """
    bars = _layer(
        {"type": "bar", "stroke": look.GROUND, "strokeWidth": 1},
        x={"field": "age", "type": "ordinal", "title": "age of the booked cost, whole years",
           "axis": {"labelAngle": 0}},
        y=_number("spend", f"booked spend, {currency} a year", axis={"labelExpr": _LARGE}),
        color=_state("status", look.STATUS, title="status"),
        order={"field": "rank", "type": "quantitative"},
        tooltip=[_said("age", "years"), _figure("spend", ",.0f"), _said("status"), _said("lines")],
    )  # fmt: skip
    return _chart("ageing", [bars], high=240)


def bridge(currency: str) -> Declaration:
    """Draw a saving as booked, the elements that moved, and the saving today.

    Data columns: rank, label, start, end [currency/unit], kind (saving, helps …, speaks against it), text, right.
    """
    tones = {"saving": look.STATUS["unknown"], "helps the choice": look.DOWN, "speaks against it": look.UP}
    rows = _rows("label")
    bars = _layer(
        {"type": "bar", "height": {"band": 0.62}}, y=rows, x2={"field": "end"},
        x=_number("start", f"the choice saves, {currency} a unit (below 0: it costs more)",
                  scale={"padding": 50, "nice": False}, axis={"tickCount": 8}),
        color=_state("kind", tones, title=None),
    )  # fmt: skip
    text = _layer(
        {"type": "text", "align": "left", "dx": 6, "color": look.INK}, y=rows, text=_said("text"),
        x={"field": "right", "type": "quantitative"},
    )  # fmt: skip
    return _chart("bridge", [bars, _layer({"type": "rule", "color": FRAME}, x={"datum": 0}), text], high={"step": 30})


def tornado(currency: str) -> Declaration:
    """Draw what moves a decision: its net present value at the low and high end of each driver.

    Data columns: rank, driver, low, high [currency], at_low, at_high (the driver there, as written), now [currency].
    """
    bars = _layer(
        {"type": "bar", "height": {"band": 0.55}, "color": look.STATUS["drifting"].light}, y=_rows("driver"),
        x=_number("low", f"switching is worth, {currency}; below 0 it costs",
                  axis={"labelExpr": _LARGE, "tickCount": 7}),
        x2={"field": "high"},
        tooltip=[_said("driver"), _said("at_low"), _figure("low", "+,.0f"), _said("at_high"),
                 _figure("high", "+,.0f")],
    )  # fmt: skip
    whole = {"y": {"value": 0}, "y2": {"value": "height"}}
    now = _layer({"type": "rule", "color": look.INK, "strokeWidth": 1.5},
                 x={"field": "now", "aggregate": "min", "type": "quantitative"}, **whole)  # fmt: skip
    return _chart("tornado", [bars, _layer(_NOUGHT, x={"datum": 0}, **whole), now], high={"step": 28})


def spread(currency: str) -> Declaration:
    """Draw the distribution of a saving as equally likely outcomes, one dot each, stacked where they lie close.

    Data columns: saving [currency/unit], rank (place in its stack), side, text.
    """
    tones = {"choice saves": look.DOWN, "choice costs more": look.UP}
    dots = _layer(
        {"type": "point", "filled": True, "size": 150, "opacity": 1},
        x=_number("saving", f"the choice saves, {currency} a unit (below 0: it costs more)"),
        y={"field": "rank", "type": "quantitative", "title": None, "axis": None,
           "scale": {"domain": {"unionWith": [-0.6, 6]}, "nice": False}},
        color=_state("side", tones, title=None),
        shape={"field": "side", "type": "nominal", "title": None,
               "scale": {"domain": list(tones), "range": ["circle", "triangle-up"]}},
        tooltip=[_said("text", f"{currency} a unit"), _said("side")],
    )  # fmt: skip
    return _chart("spread", [_layer(_NOUGHT, x={"datum": 0}), dots], high=110)


def paths(currency: str) -> Declaration:
    """Draw cost per unit of the options over time; today, and the day on which the balance tips, marked.

    Data columns: date, cost [currency/unit], option; and one row with ``mark`` (its words) and ``date`` for each mark.
    """
    tones = [t.light for t in (look.STATUS["stale"], look.STATUS["current"], look.VERDICT["watch"],
                               look.STATUS["drifting"])]  # fmt: skip
    title = "option, the choice first"
    year = {"field": "date", "type": "temporal", "title": "year", "axis": {"format": "%Y"}}
    lines = _layer(
        {"type": "line", "strokeWidth": 2.5}, x=year,
        y=_number("cost", f"fully accounted, {currency} of today a unit", scale={"zero": False}),
        color={"field": "option", "type": "nominal", "title": title, "sort": None, "scale": {"range": tones}},
        strokeDash={"field": "option", "type": "nominal", "title": title, "sort": None},
        tooltip=[_said("option"), {"field": "date", "type": "temporal", "format": "%Y-%m"}, _figure("cost", ",.2f")],
    )  # fmt: skip
    lines["transform"] = [{"filter": "isValid(datum.cost)"}]
    place = {"expr": "14 * datum.level"}  # marks of days close together stand below each other
    marks = [
        _layer({"type": "rule", "color": FRAME, "strokeDash": [2, 2]}, x=year),
        _layer({"type": "text", "align": "left", "baseline": "top", "dx": 4, "dy": place, "color": look.INK}, x=year,
               y={"value": 0}, text=_said("mark")),
    ]  # fmt: skip
    for layer in marks:
        layer["transform"] = [{"filter": "isValid(datum.mark)"}]
    return _chart("paths", [lines, *marks], high=260)


def curve() -> Declaration:
    """Draw a market: real price against cumulative volume, own quotes, the curve and its band, log by log.

    Data columns: kind (quote, curve), date, volume [units made], price, low, high [curve today = 1], label.
    """
    log = {"type": "log", "nice": False}
    x = _number("volume", "units made, cumulative", scale=log, axis={"labelExpr": _LARGE, "tickCount": 4})
    tone, title, ticks = look.VERDICT["watch"].light, "real price, 1 = curve today", {"tickCount": 4, "format": "~g"}
    y = _number("price", title, scale=log, axis=ticks)
    dots = _layer(
        {"type": "point", "filled": True, "size": 30, "color": look.STATUS["stale"].light, "opacity": 0.8}, x=x, y=y,
        tooltip=[_said("label"), {"field": "date", "type": "temporal"}, _figure("price", ".2f")],
    )  # fmt: skip
    band = _layer({"type": "area", "opacity": 0.22, "color": tone}, x=x, y2={"field": "high"},
                  y=_number("low", title, scale=log, axis=ticks))  # fmt: skip
    line = _layer({"type": "line", "color": tone, "strokeWidth": 2}, x=x, y=y)
    for layer, kind in ((band, "curve"), (line, "curve"), (dots, "quote")):
        layer["transform"] = [{"filter": f"datum.kind == '{kind}'"}]
    return _chart("curve", [band, line, dots], high=180)


def _layer(mark: Declaration, **encoding: object) -> Declaration:
    return {"mark": mark, "encoding": encoding}


def _number(field: str, title: str, **more: object) -> Declaration:
    return {"field": field, "type": "quantitative", "title": title, **more}


def _rows(field: str) -> Declaration:
    """Names of bars down the side, in the order of ``rank``; the page narrows them on narrow screens."""
    return {"field": field, "type": "nominal", "title": None, "sort": {"field": "rank"},
            "axis": {"labelLimit": 330, "ticks": False}}  # fmt: skip


def _state(field: str, tones: dict[str, Tone], *, title: str | None) -> Declaration:
    scale = {"domain": list(tones), "range": [t.light for t in tones.values()]}
    return {"field": field, "type": "nominal", "title": title, "scale": scale}


def _said(field: str, title: str = "") -> Declaration:
    return {"field": field, "type": "nominal", **({"title": title} if title else {})}


def _figure(field: str, form: str, title: str = "") -> Declaration:
    return {"field": field, "type": "quantitative", "format": form, **({"title": title} if title else {})}


def _chart(name: str, layers: Iterable[Declaration], high: object = _HIGH) -> Declaration:
    """Put layers together over the data set of that name, with the size and look that all charts share."""
    axis = {"gridColor": FRAME, "gridOpacity": 0.25, "domainColor": FRAME, "tickColor": FRAME}
    return {
        "$schema": SCHEMA,
        "data": {"name": name},
        "layer": list(layers),
        "width": _WIDE,
        "height": high,
        "background": "transparent",
        "padding": 4,
        "config": {
            "font": _FONT,
            "view": {"stroke": None},
            "axis": _TEXT | axis,
            "legend": _TEXT | {"orient": "top", "direction": "horizontal"},
        },
    }
