"""A chart of one species, small enough for a row of a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surveys.charts.shares import (
    GRID,
    INK,
    PALE,
    STRONG,
    ChartPoint,
    SpeciesChart,
    top_of_axis,
)

WIDTH, HEIGHT = 150, 58
_LEFT, _RIGHT, _TOP, _BOTTOM = 24.0, 4.0, 6.0, 11.0
_RADIUS = 1.9
# Upper ends of the axis: few of them, so that pictures stay comparable.
_TOPS = (0.05, 0.1, 0.25, 0.5, 1.0)


def small_svg(chart: SpeciesChart) -> str:
    """Shares from 0 at the foot to 5, 10, 25, 50 or 100% at the top: dots corrected for detection,
    else or where it is borrowed pale rings as heard, with the line of the trend; a season that is
    not over is a ring. The first and the last season year below."""
    points = [point for point in chart.corrected if point.value is not None]
    uncorrected = chart.borrowed or not points
    if uncorrected:
        points = [point for point in chart.naive if point.value is not None]
    # The dots have no bars.
    top = top_of_axis(points, chart.line, tops=_TOPS, with_bars=False)
    years = [point.year for point in (*chart.corrected, *chart.naive, *chart.line)]
    parts = [*_axis(top)]
    if years:
        frame = _Frame(first=min(years), last=max(years), top=top)
        if chart.line:
            for stretch in _stretches(chart):
                parts += _band(stretch, frame)
        parts += [
            f'<circle cx="{frame.x(point.year):.1f}" cy="{frame.y(point.value or 0):.1f}" '
            f'r="{_RADIUS}" {_dot(point, uncorrected=uncorrected)}/>'
            for point in points
        ]
        parts += _ends(frame)
    # White paper, as in every chart: the night theme inverts the whole picture.
    ground = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">{ground}{"".join(parts)}</svg>'
    )


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """Coordinates of season years and shares in the picture."""

    first: int
    last: int
    top: float

    def x(self, year: int) -> float:
        along = (year - self.first) / (self.last - self.first) if self.last > self.first else 0.5
        return _LEFT + 2 * _RADIUS + along * (WIDTH - _LEFT - _RIGHT - 4 * _RADIUS)

    def y(self, share: float) -> float:
        return _TOP + (1 - min(share / self.top, 1.0)) * (HEIGHT - _TOP - _BOTTOM)


def _stretches(chart: SpeciesChart) -> list[list[ChartPoint]]:
    """The line in its parts between steps."""
    parts: dict[int, list[ChartPoint]] = {}
    for point in chart.line:
        parts.setdefault(sum(step <= point.year for step in chart.steps), []).append(point)
    return list(parts.values())


def _dot(point: ChartPoint, *, uncorrected: bool) -> str:
    color = PALE if uncorrected else STRONG
    if uncorrected or point.is_open:
        return f'fill="#ffffff" stroke="{color}"'
    return f'fill="{color}" stroke="none"'


def _axis(top: float) -> list[str]:
    frame = _Frame(first=0, last=0, top=top)
    parts = []
    for part in (0.0, 0.5, 1.0):
        y = frame.y(part * top)
        parts.append(
            f'<line x1="{_LEFT}" x2="{WIDTH - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}" '
            f'stroke="{GRID if part else PALE}" stroke-width="0.7"/>'
        )
    parts += [
        _text(_LEFT - 3, frame.y(share) + 2.5, "end", words)
        for share, words in ((top, f"{top:.0%}"), (0.0, "0"))
    ]
    return parts


def _band(line: Sequence[ChartPoint], frame: _Frame) -> list[str]:
    known = [point for point in line if point.value is not None]
    edge = [(point.year, point.low) for point in known if point.low is not None]
    edge += [(point.year, point.high) for point in reversed(known) if point.high is not None]
    slope = [(point.year, point.value) for point in known]
    return [
        f'<polygon points="{_path(edge, frame)}" fill="{STRONG}" fill-opacity="0.14"/>',
        (
            f'<polyline points="{_path(slope, frame)}" fill="none" stroke="{STRONG}" '
            'stroke-width="1.1" stroke-dasharray="4 2.4"/>'
        ),
    ]


def _ends(frame: _Frame) -> list[str]:
    words = [_text(_LEFT, HEIGHT - 1.5, "start", str(frame.first))]
    if frame.last > frame.first:
        words.append(_text(WIDTH - _RIGHT, HEIGHT - 1.5, "end", str(frame.last)))
    return words


def _text(x: float, y: float, anchor: str, words: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="7.5" fill="{INK}" '
        f'font-family="DejaVu Sans, sans-serif">{words}</text>'
    )


def _path(points: Sequence[tuple[int, float | None]], frame: _Frame) -> str:
    return " ".join(f"{frame.x(year):.1f},{frame.y(share or 0):.1f}" for year, share in points)
