"""Pictures: what is drawn, and that the file is safe and whole."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import altair as alt
import pytest
from jsonschema import ValidationError

from surveys.charts.shares import (
    ChartPoint,
    Series,
    SpeciesChart,
    comparison_spec,
    has_cut_bars,
    narrow,
    species_spec,
    to_png,
    to_svg,
)

SVG = "{http://www.w3.org/2000/svg}"


def point(year, value, half=0.1):
    if value is None:
        return ChartPoint(year=year, value=None, low=0.2, high=1.0)
    return ChartPoint(year=year, value=value, low=value - half, high=value + half)


def chart(line=True):
    years = (2020, 2021, 2022)
    return SpeciesChart(
        title="Spring peeper <all>",
        site_words="stops",
        corrected=(point(2020, 0.5), point(2021, None), point(2022, 0.4)),
        naive=tuple(point(year, 0.3) for year in years),
        line=tuple(point(year, 0.45) for year in years) if line else (),
    )


def drawn(svg, role):
    return [
        node
        for node in ET.fromstring(svg).iter(f"{SVG}path")
        if node.get("aria-roledescription") == role
    ]


@pytest.fixture(scope="module")
def svg():
    return to_svg(species_spec(chart()))


def test_every_value_has_a_mark(svg):
    points = drawn(svg, "point")
    # Two corrected values (one year has only limits) and three plain ones.
    assert len(points) == 5
    assert len([p for p in points if "Corrected" in p.get("aria-label", "")]) == 2


def test_file_stands_alone(svg):
    """Nothing that the content security policy of the site would block."""
    assert "Spring peeper &lt;all&gt;" in svg
    for forbidden in ("<script", "style=", "<style", "@import", "href=", "<foreignObject"):
        assert forbidden not in svg


def test_shares_go_from_0_to_100(svg):
    """One year has an interval up to 100 %."""
    texts = [node.text for node in ET.fromstring(svg).iter(f"{SVG}text")]
    assert {"0%", "100%", "2020", "2021", "2022", "Share of stops"} <= set(texts)


@pytest.mark.parametrize(
    ("shares", "half", "top"),
    [
        ((0.02, 0.1, 0.04), 0.01, 0.2),
        ((0.02, 0.04, 0.04), 0.01, 0.05),
        ((0.02, 0.04, 0.04), 0.02, 0.1),
        ((0.2, 0.3, 0.25), 0.1, 0.4),
        ((0.7, 0.6, 0.75), 0.1, 1.0),
    ],
)
def test_the_axis_begins_at_zero_and_ends_where_the_data_do(shares, half, top):
    """What a rare species does is seen: every mark and every bar within the axis, and most of the
    axis used."""
    points = tuple(point(year, s, half) for year, s in zip((2020, 2021, 2022), shares, strict=True))
    of_one = replace(chart(line=False), corrected=points, naive=points)
    for spec in (
        species_spec(of_one),
        comparison_spec("One", "stops", [Series(name="A", points=points)]),
    ):
        domains = [layer["encoding"]["y"]["scale"]["domain"] for layer in spec["layer"]]
        assert domains == [[0, top]] * len(domains)
    assert top / 2 <= max(shares) + half <= top


def test_one_wide_interval_does_not_flatten_a_rare_species():
    """It is cut at the top, with an arrow; all marks, the trend and its band are whole."""
    rare = tuple(point(year, 0.06, 0.02) for year in (2020, 2021, 2022))
    wide = (rare[0], replace(rare[1], high=1.0), rare[2])
    one = replace(chart(), corrected=wide, naive=rare, line=rare)
    assert has_cut_bars(one)
    assert not has_cut_bars(replace(one, corrected=rare))
    spec = species_spec(one)
    assert {layer["encoding"]["y"]["scale"]["domain"][1] for layer in spec["layer"]} == {0.2}
    alt.LayerChart.from_dict(spec)
    arrows = [layer for layer in spec["layer"] if layer["mark"].get("shape") == "triangle-up"]
    assert len(arrows) == 1
    svg = to_svg(spec)
    assert len(drawn(svg, "point")) == 7, "three and three shares, and an arrow"
    compared = comparison_spec("One", "stops", [Series(name="A", points=wide)])
    assert compared["layer"][0]["encoding"]["y"]["scale"]["domain"] == [0, 0.2]
    assert len(drawn(to_svg(compared), "point")) == 4


def test_without_a_trend_there_is_no_line():
    layers = [layer["mark"]["type"] for layer in species_spec(chart(line=False))["layer"]]
    assert layers == ["rule", "point"]
    layers = [layer["mark"]["type"] for layer in species_spec(chart())["layer"]]
    assert layers == ["area", "line", "rule", "point"]


def test_specifications_are_valid_vega_lite():
    """By the schema of Vega-Lite that Altair carries; a misspelt mark is refused."""
    species = species_spec(chart())
    alt.LayerChart.from_dict(species)
    series = [Series(name="A", points=(point(2020, 0.5), point(2021, 0.6)))]
    alt.LayerChart.from_dict(comparison_spec("One", "stops", series))
    species["layer"][0]["mark"]["type"] = "aerea"
    with pytest.raises(ValidationError):
        alt.LayerChart.from_dict(species)


def test_the_narrow_picture_fits_a_phone_and_keeps_the_last_year():
    points = tuple(point(year, 0.5) for year in range(2012, 2027))
    title = "Boreal, western or upland chorus frog, Larkmoor Ridges Calling Survey"
    wide = comparison_spec(title, "stops", [Series(name="A", points=points)])
    slim = narrow(wide)
    alt.LayerChart.from_dict(slim)
    root = ET.fromstring(to_svg(slim))
    assert float(root.get("width")) <= 330
    assert "Larkmoor Ridges Calling Survey" in "".join(root.itertext())
    for layer in slim["layer"]:
        years = layer["encoding"]["x"]["axis"]["values"]
        assert len(years) <= 5
        assert years[-1] == 2026
    assert len(wide["layer"][0]["encoding"]["x"]["axis"]["values"]) == 15


def test_png_is_a_picture():
    assert to_png(species_spec(chart())).startswith(b"\x89PNG")


def test_series_differ_by_more_than_color():
    names = [f"Species {n}" for n in range(6)]
    series = [Series(name=name, points=(point(2020, 0.5), point(2021, 0.6))) for name in names]
    spec = comparison_spec("Six", "stops", series)
    line, marks = spec["layer"][1]["encoding"], spec["layer"][2]["encoding"]
    assert line["color"]["scale"]["domain"] == names
    assert len({tuple(dash) for dash in line["strokeDash"]["scale"]["range"]}) == 6
    assert len(set(marks["shape"]["scale"]["range"])) == 6
    with pytest.raises(ValueError, match="at most 6"):
        comparison_spec("Seven", "stops", [*series, series[0]])


def test_an_open_season_is_hollow_and_named():
    plain, hollow = (
        to_svg(species_spec(replace(chart(), corrected=shares)))
        for shares in (
            chart().corrected,
            (*chart().corrected[:2], replace(chart().corrected[2], is_open=True)),
        )
    )
    assert ">open<" not in plain
    assert ">open<" in hollow
    whites = [mark.get("fill") for mark in drawn(hollow, "point")].count("#ffffff")
    assert (whites, [mark.get("fill") for mark in drawn(plain, "point")].count("#ffffff")) == (1, 0)


def test_the_line_is_parted_at_a_step():
    def lines(**changes):
        return len(drawn(to_svg(species_spec(replace(chart(), **changes))), "line mark"))

    assert lines(steps=(2021,)) == lines() + 1
