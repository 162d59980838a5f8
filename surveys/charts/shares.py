"""The charts of Trends: Altair specifications, rendered on the server.

The page, the download and the printed report show the same file, dark on white; the night theme
inverts and tints the whole picture. Series differ by shape and line, never by color alone.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import vl_convert

from surveys.charts.borrowed import lenders_of
from surveys.charts.vega import alt, unchecked
from surveys.charts.words import sites_in_words, steps_of, trend_line
from surveys.language import gettext, gettext_noop, said
from surveys.trends import Estimate, SpeciesResult, SpeciesYear

INK = "#1f2a2c"
STRONG = "#1c525c"
PALE = "#7d8a8d"
GRID = "#e3e6e4"
FONT = "Helvetica, Arial, sans-serif"
CORRECTED, NAIVE = gettext_noop("Corrected for detection"), gettext_noop("Heard, not corrected")
BORROWED = gettext_noop("Corrected, detection borrowed")
_WIDTH, _HEIGHT = 720, 320
# Where the axis of shares may end; it always begins at zero.
_TOPS = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
# The width that fits a phone of 360 px without scaling, so that the type keeps its size.
_NARROW_WIDTH, _NARROW_HEIGHT = 260, 300
_NARROW_TICKS, _NARROW_TITLE = 5, 38
_PNG_SCALE = 2.0
# Dash and mark differ as well, so that nobody needs to see the colors.
LINES = ("#1c525c", "#a04c1c", "#5a4a8a", "#3d6b2e", "#8a2c4a", "#555f61")
DASHES = ([1, 0], [6, 3], [2, 2], [8, 3, 2, 3], [12, 3], [4, 6])
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")


@dataclass(frozen=True, kw_only=True)
class ChartPoint:
    """A share with its limits, None where unknown; of a season not over when ``is_open``."""

    year: int
    value: float | None
    low: float | None
    high: float | None
    is_open: bool = False


@dataclass(frozen=True, kw_only=True)
class SpeciesChart:
    """Yearly shares of one species, and the line through them with its band; it has a step at
    ``steps``. ``borrowed`` says that shares are corrected by the detection of other species."""

    title: str
    site_words: str
    corrected: tuple[ChartPoint, ...]
    naive: tuple[ChartPoint, ...]
    line: tuple[ChartPoint, ...]
    steps: tuple[int, ...] = ()
    borrowed: bool = False


@dataclass(frozen=True, kw_only=True)
class Series:
    """One line of a comparison."""

    name: str
    points: tuple[ChartPoint, ...]


def species_chart(result: SpeciesResult, *, site: str, title: str) -> SpeciesChart:
    """The one picture of a species: on the page, in the download and in the report."""
    return SpeciesChart(
        title=title,
        site_words=sites_in_words(site),
        corrected=tuple(year_point(year, year.occupancy) for year in result.years),
        naive=tuple(year_point(year, year.naive) for year in result.years),
        line=tuple(point(year, share) for year, share in trend_line(result)[0]),
        steps=steps_of(result),
        borrowed=bool(lenders_of(result)),
    )


def point(year: int, estimate: Estimate) -> ChartPoint:
    return ChartPoint(year=year, value=estimate.value, low=estimate.low, high=estimate.high)


def year_point(year: SpeciesYear, share: Estimate) -> ChartPoint:
    """One of the shares of a season year."""
    return replace(point(year.season_year, share), is_open=year.is_open)


@unchecked
def species_spec(chart: SpeciesChart) -> dict[str, Any]:
    """Vega-Lite: corrected and naive share of each season year side by side, and the trend."""
    # A little to either side of the year, so that the bars do not hide one another.
    top = species_top(chart)
    corrected = gettext(BORROWED if chart.borrowed else CORRECTED)
    rows = [
        {**row, "year": row["year"] + shift, "series": name}
        for name, points, shift in (
            (corrected, chart.corrected, -0.12),
            (gettext(NAIVE), chart.naive, 0.12),
        )
        for row in _rows(points, top)
    ]
    series = alt.Scale(domain=[corrected, gettext(NAIVE)], range=[STRONG, PALE])
    shapes = alt.Scale(domain=[corrected, gettext(NAIVE)], range=["circle", "diamond"])
    years = sorted({point.year for point in (*chart.corrected, *chart.naive, *chart.line)})
    x = _years(years)
    y = partial(_shares, chart.site_words, top)
    base = alt.Chart(alt.Data(values=rows))
    bars = base.mark_rule(strokeWidth=1.6).encode(
        x=x,
        y=y("low"),
        y2="high:Q",
        color=alt.Color("series:N", scale=series, title=None),
    )
    marks = (
        base.transform_filter("isValid(datum.value)")
        .mark_point(filled=True, size=64, opacity=1)
        .encode(
            x=x,
            y=y(),
            color=alt.Color("series:N", scale=series, title=None),
            shape=alt.Shape("series:N", scale=shapes, title=None),
        )
    )
    color = alt.Color("series:N", scale=series, title=None)
    layers: list[Any] = [bars, marks, *_arrows(base, rows, x, y, top, color)]
    if any(point.is_open for point in (*chart.corrected, *chart.naive)):
        layers += _open_seasons(base, x, y)
    if chart.line:
        stretches = [
            {**row, "stretch": sum(step <= row["year"] for step in chart.steps)}
            for row in _rows(chart.line, top)
        ]
        line = alt.Chart(alt.Data(values=stretches))
        band = line.mark_area(color=STRONG, opacity=0.12).encode(
            x=x, y=y("low"), y2="high:Q", detail="stretch:N"
        )
        slope = line.mark_line(color=STRONG, strokeWidth=2, strokeDash=[7, 4]).encode(
            x=x, y=y(), detail="stretch:N"
        )
        layers = [band, slope, *layers]
    return finished(alt.layer(*layers), chart.title)


def _arrows(
    base: alt.Chart,
    rows: Sequence[dict[str, Any]],
    x: alt.X,
    y: Callable[..., alt.Y],
    top: float,
    color: alt.Color,
) -> list[Any]:
    """An arrow at the top of each bar that goes on beyond the picture."""
    if not any(row["cut"] for row in rows):
        return []
    cut = base.transform_filter("datum.cut").transform_calculate(top=str(top))
    return [
        cut.mark_point(shape="triangle-up", filled=True, size=44, opacity=1).encode(
            x=x, y=y("top"), color=color
        )
    ]


def _open_seasons(base: alt.Chart, x: alt.X, y: Callable[..., alt.Y]) -> list[Any]:
    """White hearts on the marks of a season that is not over, and the word."""
    of_open = base.transform_filter("datum.open && isValid(datum.value)")
    hearts = of_open.mark_point(filled=True, size=26, opacity=1, color="#ffffff").encode(
        x=x,
        y=y(),
        shape=alt.Shape(
            "series:N",
            scale=alt.Scale(
                domain=[gettext(CORRECTED), gettext(NAIVE)], range=["circle", "diamond"]
            ),
            legend=None,
        ),
    )
    word = (
        of_open.transform_aggregate(value="max(value)", high="max(high)", year="mean(year)")
        .transform_calculate(top="isValid(datum.high) ? datum.high : datum.value")
        .mark_text(dy=-8, font=FONT, fontSize=12, color=INK)
        .encode(x=x, y=y("top"), text=alt.value(gettext("open")))
    )
    return [hearts, word]


@unchecked
def comparison_spec(title: str, site_words: str, series: Sequence[Series]) -> dict[str, Any]:
    """Vega-Lite: one line for each series with its limits; at most six series."""
    if len(series) > len(LINES):
        raise ValueError(f"at most {len(LINES)} series can be told apart, got {len(series)}")
    names = [line.name for line in series]
    step = 0.12
    top = top_of_axis(point for line in series for point in line.points)
    rows = [
        {**row, "year": row["year"] + step * (place - (len(series) - 1) / 2), "series": line.name}
        for place, line in enumerate(series)
        for row in _rows(line.points, top)
    ]
    x = _years(sorted({point.year for line in series for point in line.points}))
    y = partial(_shares, site_words, top)
    color, dash, shape = series_channels("series", names)
    base = alt.Chart(alt.Data(values=rows))
    bars = base.mark_rule(strokeWidth=1.2, opacity=0.6).encode(
        x=x, y=y("low"), y2="high:Q", color=color
    )
    known = base.transform_filter("isValid(datum.value)")
    lines = known.mark_line(strokeWidth=1.8).encode(x=x, y=y(), color=color, strokeDash=dash)
    marks = known.mark_point(filled=True, size=52, opacity=1).encode(
        x=x, y=y(), color=color, shape=shape
    )
    hearts = (
        known.transform_filter("datum.open")
        .mark_point(filled=True, size=18, opacity=1, color="#ffffff")
        .encode(x=x, y=y(), shape=shape)
    )
    is_open = any(point.is_open for line in series for point in line.points)
    arrows = _arrows(base, rows, x, y, top, color)
    return finished(alt.layer(bars, lines, marks, *arrows, *([hearts] if is_open else [])), title)


def series_channels(
    field: str, names: Sequence[str]
) -> tuple[alt.Color, alt.StrokeDash, alt.Shape]:
    """Color, dash and mark that tell the named series of a field apart."""

    def scale(values: Sequence[Any]) -> alt.Scale:
        return alt.Scale(domain=names, range=values[: len(names)])

    return (
        alt.Color(f"{field}:N", sort=names, scale=scale(LINES), title=None),
        alt.StrokeDash(f"{field}:N", sort=names, scale=scale(DASHES), title=None),
        alt.Shape(f"{field}:N", sort=names, scale=scale(SHAPES), title=None),
    )


def species_top(chart: SpeciesChart) -> float:
    """Where the axis of the picture ends."""
    return top_of_axis((*chart.corrected, *chart.naive), chart.line)


def has_cut_bars(chart: SpeciesChart) -> bool:
    """Whether the interval of a season goes on beyond the picture."""
    top = species_top(chart)
    return any((point.high or 0.0) > top for point in (*chart.corrected, *chart.naive))


def top_of_axis(
    points: Iterable[ChartPoint],
    line: Iterable[ChartPoint] = (),
    *,
    tops: Sequence[float] = _TOPS,
    with_bars: bool = True,
) -> float:
    """The least of `tops` that holds every share, the trend with its band, and the intervals of
    seasons as far as twice as high: one year of which little is known would flatten all others."""
    points = list(points)
    inside = [one for point in points for one in (point.value, point.low) if one is not None]
    inside += [one for point in line for one in (point.value, point.high) if one is not None]
    highest = max(inside, default=0.0)
    bars = [point.high for point in points if point.high is not None and with_bars]
    highest = max(highest, min(max(bars, default=0.0), 2 * highest or 1.0))
    return next((top for top in tops if top >= highest), tops[-1])


def to_svg(spec: dict[str, Any]) -> str:
    return str(vl_convert.vegalite_to_svg(spec))


def to_png(spec: dict[str, Any]) -> bytes:
    return bytes(vl_convert.vegalite_to_png(spec, scale=_PNG_SCALE))


def _rows(points: Sequence[ChartPoint], top: float) -> list[dict[str, Any]]:
    """What is known of each season year, bars no longer than the axis."""
    return [
        {
            "year": point.year,
            "value": point.value,
            "low": point.low,
            "high": None if point.high is None else min(point.high, top),
            "cut": point.high is not None and point.high > top,
            "open": point.is_open,
        }
        for point in points
        if point.value is not None or (point.low is not None and point.high is not None)
    ]


def _years(years: Sequence[int]) -> alt.X:
    first, last = (years[0], years[-1]) if years else (0, 1)
    # With many years, only every second one has a tick.
    step = 1 if len(years) <= 20 else 2
    return alt.X(
        "year:Q",
        title=gettext("Season year"),
        scale=alt.Scale(domain=[first - 0.5, last + 0.5], nice=False),
        axis=alt.Axis(
            values=list(range(first, last + 1, step)), format="d", grid=False, labelAngle=0
        ),
    )


def _shares(site_words: str, top: float, field: str = "value") -> alt.Y:
    return alt.Y(
        f"{field}:Q",
        title=said("Share of {sites}", sites=site_words),
        scale=alt.Scale(domain=[0, top]),
        axis=alt.Axis(format=".0%", tickCount=6),
    )


def finished(chart: alt.LayerChart, title: str) -> dict[str, Any]:
    """The specification with the type, sizes and colors of every chart of Trends."""
    styled = (
        chart.properties(
            width=_WIDTH,
            height=_HEIGHT,
            background="#ffffff",
            padding=12,
            title=alt.TitleParams(title, anchor="start", fontSize=15, color=INK, font=FONT),
        )
        .configure_axis(
            labelColor=INK,
            titleColor=INK,
            labelFont=FONT,
            titleFont=FONT,
            labelFontSize=12,
            titleFontSize=12,
            gridColor=GRID,
            domainColor=PALE,
            tickColor=PALE,
        )
        .configure_legend(
            orient="bottom",
            labelFont=FONT,
            labelFontSize=12,
            labelColor=INK,
            labelLimit=300,
            # The reader's font may be wider than the one that was measured here.
            columns=2,
            columnPadding=90,
            symbolOpacity=1,
        )
        .configure_view(stroke=None)
    )
    spec: dict[str, Any] = styled.to_dict(validate=False)
    return spec


def narrow(spec: dict[str, Any]) -> dict[str, Any]:
    """The same picture for a phone: no wider than the screen, with type of the same size."""
    config, title = spec["config"], spec["title"]
    narrowed = {
        **spec,
        "width": _NARROW_WIDTH,
        "height": _NARROW_HEIGHT,
        "padding": 4,
        "title": {**title, "fontSize": 13, "text": textwrap.wrap(title["text"], _NARROW_TITLE)},
        "config": {**config, "legend": {**config["legend"], "columns": 1}},
    }
    narrowed["layer"] = [_fewer_ticks(layer) for layer in spec["layer"]]
    return narrowed


def _fewer_ticks(layer: dict[str, Any]) -> dict[str, Any]:
    """Every second or third label across, the last one always among them."""
    x = layer.get("encoding", {}).get("x", {})
    values = x.get("axis", {}).get("values", [])
    if len(values) <= _NARROW_TICKS:
        return layer
    kept = values[:: -math.ceil(len(values) / _NARROW_TICKS)][::-1]
    x = {**x, "axis": {**x["axis"], "values": kept}}
    return {**layer, "encoding": {**layer["encoding"], "x": x}}
