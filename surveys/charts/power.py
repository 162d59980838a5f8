"""The chance of detecting a decline, by routes and visits."""

from collections.abc import Sequence
from typing import Any

from surveys.charts.shares import finished, series_channels
from surveys.charts.vega import alt
from surveys.language import gettext, said_of
from surveys.trends.power import PowerCell


def power_spec(title: str, cells: Sequence[PowerCell], *, aim: float) -> dict[str, Any]:
    """Vega-Lite: one line for each number of visits, and the aim as a rule across."""
    names = [_name(visits) for visits in sorted({cell.visits for cell in cells})]
    rows = [
        {
            "routes": cell.routes,
            "chance": cell.chance.value,
            "low": cell.chance.low,
            "high": cell.chance.high,
            "visits": _name(cell.visits),
        }
        for cell in cells
    ]
    color, dash, shape = series_channels("visits", names)
    x = alt.X(
        "routes:Q",
        title=gettext("Routes"),
        scale=alt.Scale(zero=False, nice=False, padding=20),
        axis=alt.Axis(values=sorted({cell.routes for cell in cells}), format="d", grid=False),
    )
    chance = {
        "title": gettext("Chance to notice the decline"),
        "scale": alt.Scale(domain=[0, 1]),
        "axis": alt.Axis(format=".0%", tickCount=6),
    }
    base = alt.Chart(alt.Data(values=rows))
    bars = base.mark_rule(strokeWidth=1.2, opacity=0.6).encode(
        x=x, y=alt.Y("low:Q", **chance), y2="high:Q", color=color
    )
    lines = base.mark_line(strokeWidth=1.8).encode(
        x=x, y=alt.Y("chance:Q", **chance), color=color, strokeDash=dash
    )
    marks = base.mark_point(filled=True, size=52, opacity=1).encode(
        x=x, y=alt.Y("chance:Q", **chance), color=color, shape=shape
    )
    rule = (
        alt.Chart(alt.Data(values=[{"aim": aim}]))
        .mark_rule(strokeDash=[4, 4], strokeWidth=1.2)
        .encode(y=alt.Y("aim:Q", **chance))
    )
    return finished(alt.layer(rule, bars, lines, marks), title)


def _name(visits: int) -> str:
    return said_of("1 visit per year", "{number} visits per year", visits)
