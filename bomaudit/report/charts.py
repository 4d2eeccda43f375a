"""Charts of the report, each declared once; their data come by name, so that page and images share the declaration.

Colours are written as those of the light ground; the page swaps them for its own variables, so that dark mode and print
follow without drawing again.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from bomaudit.report import look
from bomaudit.report.look import Tone

Drawn = alt.Chart | alt.LayerChart
"""A finished declaration."""

FRAME = "#7d838c"
"""Axes and rules; also the placeholder that the page swaps for its own."""
_FONT = "system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"
_WIDE, _HIGH = 760, 340
_LARGE = "replace(replace(replace(format(datum.value, '~s'), 'G', ' bn'), 'T', ' tn'), 'M', ' m')"
"""Axis labels: thousands k, millions m, billions bn, trillions tn."""


def specifications(currency: str) -> dict[str, dict[str, Any]]:
    """Declare every chart of the page as plain data, by name.

    Parameters
    ----------
    currency : str
        Audit currency, for the axes.

    Returns
    -------
    dict of str to dict
        Specification whose data set bears the name of the chart.
    """
    charts = {
        "map": line_map(currency),
        "ageing": ageing(currency),
        "bridge": bridge(currency),
        "tornado": tornado(currency),
        "paths": paths(currency),
        "curve": curve(currency),
    }
    return {name: chart.to_dict(validate=False) for name, chart in charts.items()}


def line_map(currency: str) -> Drawn:
    """Draw lines by age and drift, size the money a year, one mark a line.

    Data columns: age [year], drift [share], money [currency/year], status, id, label.
    """
    base = alt.Chart(alt.NamedData("map"))
    shapes = alt.Scale(domain=list(look.SHAPES), range=list(look.SHAPES.values()))
    points = base.mark_point(filled=True, opacity=0.75, strokeWidth=1, cursor="pointer").encode(
        x=alt.X(
            "age:Q", title="age of the booked cost, years", axis=alt.Axis(format="d", tickMinStep=1),
            scale=alt.Scale(zero=True, nice=True),
        ),
        y=alt.Y("drift:Q", title="estimate against booked cost", axis=alt.Axis(format="+.0%")),
        size=alt.Size(
            "money:Q", title=f"{currency} a year at stake", scale=alt.Scale(range=[24, 1400]),
            legend=alt.Legend(symbolFillColor=FRAME, symbolStrokeWidth=0, labelExpr=_LARGE, tickCount=4),
        ),
        color=_states("status", look.STATUS, "status"),
        shape=alt.Shape("status:N", title="status", scale=shapes),
        tooltip=[
            alt.Tooltip("label:N", title="line"), alt.Tooltip("age:Q", title="years", format=".1f"),
            alt.Tooltip("drift:Q", title="drift", format="+.0%"),
            alt.Tooltip("money:Q", title=f"{currency} a year", format=",.0f"), alt.Tooltip("status:N"),
        ],
        order=alt.Order("money:Q", sort="descending"),
    )  # fmt: skip
    nought = alt.Chart(alt.NamedData("map")).mark_rule(color=FRAME, strokeDash=[4, 3]).encode(y=alt.datum(0))
    return _sized(nought + points)


def ageing(currency: str) -> Drawn:
    """Draw booked spend a year by age of the booked cost, stacked by status.

    Data columns: age (whole years), spend [currency/year], status, rank.
    """
    return _sized(
        alt.Chart(alt.NamedData("ageing"))
        .mark_bar(stroke=look.GROUND, strokeWidth=1)
        .encode(
            x=alt.X("age:O", title="age of the booked cost, whole years", axis=alt.Axis(labelAngle=0)),
            y=alt.Y("spend:Q", title=f"booked spend, {currency} a year", axis=alt.Axis(labelExpr=_LARGE)),
            color=_states("status", look.STATUS, "status"),
            order=alt.Order("rank:Q"),
            tooltip=["age:O", alt.Tooltip("spend:Q", format=",.0f"), "status:N", "lines:Q"],
        ),
        high=240,
    )


def bridge(currency: str) -> Drawn:
    """Draw a saving as booked, the elements that moved, and the saving today.

    Data columns: rank, label, start, end [currency/unit], kind (saving, helps …, speaks against it), text, right.
    """
    base = alt.Chart(alt.NamedData("bridge")).encode(
        y=alt.Y("label:N", sort=alt.SortField("rank"), title=None, axis=alt.Axis(labelLimit=330, ticks=False))
    )
    tones = {"saving": look.STATUS["unknown"], "helps the choice": look.DOWN, "speaks against it": look.UP}
    bars = base.mark_bar(height={"band": 0.62}).encode(
        x=alt.X("start:Q", title=f"the choice saves, {currency} a unit (below 0: it costs more)"),
        x2="end:Q",
        color=_states("kind", tones, None),
    )
    text = base.mark_text(align="left", dx=6, color=look.INK).encode(x="right:Q", text="text:N")
    nought = base.mark_rule(color=FRAME).encode(x=alt.datum(0))
    return _sized(bars + nought + text, high=alt.Step(30))


def tornado(currency: str) -> Drawn:
    """Draw what moves a decision: its net present value at the low and high end of each driver.

    Data columns: rank, driver, low, high [currency], at_low, at_high (the driver there, as written), now [currency].
    """
    base = alt.Chart(alt.NamedData("tornado")).encode(
        y=alt.Y("driver:N", sort=alt.SortField("rank"), title=None, axis=alt.Axis(labelLimit=330, ticks=False))
    )
    few = alt.Axis(labelExpr=_LARGE, tickCount=7)
    bars = base.mark_bar(height={"band": 0.55}, color=look.STATUS["drifting"].light).encode(
        x=alt.X("low:Q", title=f"switching is worth, {currency}; below 0 it costs", axis=few),
        x2="high:Q",
        tooltip=["driver:N", "at_low:N", alt.Tooltip("low:Q", format="+,.0f"), "at_high:N",
                 alt.Tooltip("high:Q", format="+,.0f")],
    )  # fmt: skip
    now = base.mark_rule(color=look.INK, strokeWidth=1.5).encode(x="min(now):Q", y=alt.value(0), y2=alt.value("height"))
    nought = base.mark_rule(color=FRAME, strokeDash=[4, 3]).encode(
        x=alt.datum(0), y=alt.value(0), y2=alt.value("height")
    )
    return _sized(bars + nought + now, high=alt.Step(28))


def paths(currency: str) -> Drawn:
    """Draw cost per unit of the options over time, today marked.

    Data columns: date, cost [currency/unit], option, today (date of the audit).
    """
    base = alt.Chart(alt.NamedData("paths"))
    lines = base.mark_line(strokeWidth=2.5).encode(
        x=alt.X("date:T", title="year", axis=alt.Axis(format="%Y")),
        y=alt.Y("cost:Q", title=f"fully accounted, {currency} a unit", scale=alt.Scale(zero=False)),
        color=alt.Color("option:N", title="option", scale=alt.Scale(range=_OPTIONS)),
        strokeDash=alt.StrokeDash("option:N", title="option"),
        tooltip=["option:N", alt.Tooltip("date:T", format="%Y-%m"), alt.Tooltip("cost:Q", format=",.2f")],
    )
    today = base.mark_rule(color=FRAME, strokeDash=[2, 2]).encode(x="min(today):T")
    return _sized(lines + today, high=260)


def curve(currency: str) -> Drawn:
    """Draw a market: real price against cumulative volume, own quotes, the curve and its band, log by log.

    Data columns: kind (quote, curve), date, volume [units made], price, low, high [curve today = 1], label.
    """
    del currency  # prices are ratios here
    x = alt.X(
        "volume:Q", title="units made, cumulative", scale=alt.Scale(type="log", nice=False),
        axis=alt.Axis(labelExpr=_LARGE, tickCount=4),
    )  # fmt: skip
    y = alt.Y(
        "price:Q", title="real price, 1 = curve today", scale=alt.Scale(type="log", zero=False, nice=False),
        axis=alt.Axis(tickCount=4, format="~g"),
    )  # fmt: skip
    base, tone = alt.Chart(alt.NamedData("curve")), look.VERDICT["watch"].light
    fit = base.transform_filter("datum.kind == 'curve'")
    band = fit.mark_area(opacity=0.22, color=tone).encode(
        x=x, y=alt.Y("low:Q", title="real price, 1 = curve today"), y2="high:Q"
    )
    line = fit.mark_line(color=tone, strokeWidth=2).encode(x=x, y=y)
    dots = base.transform_filter("datum.kind == 'quote'").mark_point(
        filled=True, size=30, color=look.STATUS["stale"].light, opacity=0.8
    )
    dots = dots.encode(x=x, y=y, tooltip=["label:N", "date:T", alt.Tooltip("price:Q", format=".2f")])
    return _sized(band + line + dots, high=180)


_OPTIONS = [look.STATUS["stale"].light, look.STATUS["current"].light, look.VERDICT["watch"].light,
            look.STATUS["drifting"].light]  # fmt: skip


def _states(field: str, tones: dict[str, Tone], title: str | None) -> alt.Color:
    scale = alt.Scale(domain=list(tones), range=[t.light for t in tones.values()])
    return alt.Color(f"{field}:N", title=title, scale=scale)


def _sized(chart: Any, high: Any = _HIGH) -> Drawn:
    """Set size and the look that all charts share."""
    drawn: Drawn = (
        chart.properties(width=_WIDE, height=high, background="transparent", padding=4)
        .configure(font=_FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelColor=look.INK, titleColor=look.INK, gridColor=FRAME, gridOpacity=0.25, domainColor=FRAME,
            tickColor=FRAME, labelFontSize=12, titleFontSize=12, titleFontWeight="normal",
        )
        .configure_legend(labelColor=look.INK, titleColor=look.INK, labelFontSize=12, titleFontSize=12,
                          titleFontWeight="normal", orient="top", direction="horizontal")
    )  # fmt: skip
    return drawn
