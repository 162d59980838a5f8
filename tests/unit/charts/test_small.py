"""The small picture: where its marks stand, and which of the shares it shows."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from surveys.charts.shares import ChartPoint, SpeciesChart
from surveys.charts.small import HEIGHT, WIDTH, small_svg

SVG = "{http://www.w3.org/2000/svg}"
YEARS = (2019, 2020, 2021)


def points(*values):
    return tuple(
        ChartPoint(
            year=year,
            value=value,
            low=None if value is None else value - 0.05,
            high=None if value is None else value + 0.05,
        )
        for year, value in zip(YEARS, values, strict=True)
    )


def draw(corrected=(), naive=(), line=()):
    chart = SpeciesChart(title="T", site_words="stops", corrected=corrected, naive=naive, line=line)
    return ET.fromstring(small_svg(chart))


def dots(root):
    return [
        (float(one.get("cx")), float(one.get("cy")), one.get("fill"))
        for one in root.iter(f"{SVG}circle")
    ]


def words(root):
    return [one.text for one in root.iter(f"{SVG}text")]


def test_dots_are_the_corrected_shares_and_a_gap_stays_a_gap():
    root = draw(points(0.4, None, 0.2), points(0.3, 0.3, 0.3))
    (x1, y1, fill), (x2, y2, _) = dots(root)
    assert x1 < x2
    assert y1 < y2, "a larger share stands higher"
    assert fill != "#ffffff"
    assert words(root) == ["50%", "0", "2019", "2021"]


def test_where_nothing_is_corrected_open_dots_show_what_was_heard():
    root = draw(points(None, None, None), points(0.3, 0.2, 0.1))
    assert [fill for _, _, fill in dots(root)] == ["#ffffff"] * 3


@pytest.mark.parametrize(
    ("share", "top"),
    [
        (0.03, "5%"),
        (0.1, "10%"),
        (0.11, "25%"),
        (0.25, "25%"),
        (0.26, "50%"),
        (0.51, "100%"),
        (1.0, "100%"),
    ],
)
def test_top_of_the_axis_is_the_least_that_holds_every_dot(share, top):
    root = draw(points(share, 0.01, 0.01))
    assert words(root)[0] == top
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y, _ in dots(root))


def test_band_of_the_trend_stays_within_the_axis():
    root = draw(points(0.2, 0.2, 0.2), line=points(0.24, 0.46, 0.99))
    polygon = next(root.iter(f"{SVG}polygon"))
    heights = [float(pair.split(",")[1]) for pair in polygon.get("points").split()]
    assert words(root)[0] == "100%"
    assert all(0 < y < HEIGHT for y in heights)


def test_a_species_without_years_is_an_empty_axis():
    root = draw()
    assert dots(root) == []
    assert words(root) == ["5%", "0"]


def test_an_open_season_is_a_ring_and_a_step_parts_the_line():
    open_last = (*points(0.4, 0.3, 0.2)[:2], replace(points(0.4, 0.3, 0.2)[2], is_open=True))
    root = draw(open_last, points(0.3, 0.3, 0.3), points(0.4, 0.3, 0.2))
    assert [fill for _, _, fill in dots(root)] == ["#1c525c", "#1c525c", "#ffffff"]
    assert len(list(root.iter(f"{SVG}polyline"))) == 1
    chart = SpeciesChart(
        title="T", site_words="stops", corrected=open_last, naive=(), line=points(0.4, 0.3, 0.2),
        steps=(2021,),
    )  # fmt: skip
    stepped = ET.fromstring(small_svg(chart))
    assert len(list(stepped.iter(f"{SVG}polyline"))) == 2
