"""The presets of fixtures/protocol_presets.json."""

import dataclasses
import datetime as dt
import itertools
import json
import re
from decimal import Decimal
from pathlib import Path

import pytest

from surveys.protocol.limits.phrases import Units
from surveys.protocol.plain import (
    PlainError,
    from_plain,
)
from surveys.protocol.presets import (
    Mark,
    in_units_of,
    measured,
    preset_rows,
    presets_from_plain,
    published_in_words,
)
from surveys.protocol.seasons import (
    season_bounds,
    window_dates,
)
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    Protocol,
    SkyState,
    Temperature,
    TemperatureUnit,
)

FILE = json.loads(
    (Path(__file__).parents[3] / "fixtures" / "protocol_presets.json").read_text("utf-8")
)
OFFERED = presets_from_plain(FILE)
PRESETS = OFFERED.presets
BY_CODE = {preset.code: preset for preset in PRESETS}
PUBLISHED = {entry.field: entry for entry in OFFERED.published}
SELF_EVIDENT = {"name", "version", "windows"}
METRIC = Units(temperature=TemperatureUnit.CELSIUS, distance=DistanceUnit.KILOMETERS)
IMPERIAL = Units(temperature=TemperatureUnit.FAHRENHEIT, distance=DistanceUnit.MILES)
# What is chosen and not measured: the words shown beside it, and the values that they allow.
# Sources: those of `published` in the file itself (FACTS of the trade, columns A to D).
CHOICES = {
    "interruption": (
        "the clock is paused for one loud event, or the listening time gets longer",
        {Interruption.PAUSE, Interruption.EXTEND},
    ),
    "stops_in_order": (
        "always in the same order along a road; nothing is said for points at a wetland",
        {True, False},
    ),
    "forbidden_skies": (
        "mist and light rain are allowed; rain that drowns out calls is not",
        # Snow and thunder are our own, as the source beside it says.
        {frozenset({SkyState.HEAVY_RAIN, SkyState.SNOW, SkyState.THUNDER})},
    ),
}
# Days are set by region, and the source says so; the others are called common practice or ours.
WITHOUT_RANGE = {
    "season_year_begins", "windows.opens", "windows.closes", "loudest_noise",
    "max_distance_from_stop_m", "max_drive_kmh",
}  # fmt: skip
every_preset = pytest.mark.parametrize("preset", PRESETS, ids=lambda preset: preset.code)


def test_codes_are_unique():
    assert len(BY_CODE) == len(PRESETS) == 7
    assert len(PUBLISHED) == len(OFFERED.published)


def fields_set_by(entry):
    set_here = set(entry["protocol"]) - SELF_EVIDENT
    for window in entry["protocol"]["windows"]:
        set_here |= {f"windows.{field}" for field in window if field != "name"}
    return set_here


def test_what_is_published_is_told_of_every_value_that_is_set_and_of_no_other():
    assert set().union(*map(fields_set_by, FILE["presets"])) == set(PUBLISHED)


@every_preset
def test_in_the_units_of_a_program_values_are_round_and_inside_the_published_range(preset):
    american = Units(temperature=TemperatureUnit.FAHRENHEIT, distance=DistanceUnit.MILES)

    for units in (american, METRIC):
        protocol = in_units_of(preset.protocol, units)
        for entry in OFFERED.published:
            for value in measured(protocol, entry):
                assert entry.lowest is None or value >= entry.lowest, entry.field
                assert entry.highest is None or value <= entry.highest, entry.field
        for window in protocol.windows:
            for limit in (window.min_air_temperature, window.min_water_temperature):
                assert limit is None or (limit.unit, limit.value % 1) == (units.temperature, 0)
    shown = {row.label: row.value for row in preset_rows(protocol, OFFERED, METRIC)}
    assert shown["Maximum distance from the stop"] == "100 m"
    shown = {
        row.label: row.value
        for row in preset_rows(in_units_of(preset.protocol, american), OFFERED, american)
    }
    assert shown["Maximum distance from the stop"] == "300 ft"
    assert shown["Maximum speed between stops"] == "60 mph"
    if spacing := shown.get("Minimum distance between stops, in miles"):
        assert re.fullmatch(r"0\.\d mi", spacing)


@every_preset
def test_every_value_lies_inside_the_published_range(preset):
    told = 0
    for entry in OFFERED.published:
        for value in measured(preset.protocol, entry):
            told += 1
            assert entry.lowest is None or entry.lowest <= value, entry.field
            assert entry.highest is None or value <= entry.highest, entry.field
    assert told > 5


@every_preset
def test_every_choice_is_among_those_that_are_published(preset):
    for field, (_, allowed) in CHOICES.items():
        assert getattr(preset.protocol, field) in allowed, field


def test_every_field_has_a_range_or_choices_or_says_that_it_has_none():
    with_range = {entry.field for entry in OFFERED.published if entry.measure}
    assert with_range | CHOICES.keys() | WITHOUT_RANGE == PUBLISHED.keys()
    assert {field: PUBLISHED[field].words for field in CHOICES} == {
        field: words for field, (words, _) in CHOICES.items()
    }
    for field in WITHOUT_RANGE:
        assert re.search("common practice, no source|our own", PUBLISHED[field].source), field


def test_a_value_outside_would_be_seen():
    """The check above is able to fail."""
    preset = BY_CODE["winter-pools"]
    too_long = dataclasses.replace(preset.protocol, listening_time=dt.timedelta(minutes=11))
    assert measured(too_long, PUBLISHED["listening_time"])[0] > PUBLISHED["listening_time"].highest


@every_preset
def test_the_rows_of_a_preset_tell_every_value_that_it_sets(preset):
    entry = next(entry for entry in FILE["presets"] if entry["code"] == preset.code)
    for units in (METRIC, IMPERIAL):
        rows = preset_rows(preset.protocol, OFFERED, units)
        assert len({row.label for row in rows}) == len(rows)
        assert len(rows) >= len(fields_set_by(entry))
        assert all(row.value and row.source for row in rows)


@pytest.mark.parametrize(
    ("field", "units", "words"),
    [
        ("listening_time", METRIC, "3 min to 10 min"),
        ("latest_end_clock", METRIC, "00:00 to 01:00"),
        ("min_stop_spacing_m", METRIC, "500 m to 3.22 km"),
        ("min_stop_spacing_m", IMPERIAL, "0.31 mi to 2 mi"),
        ("windows.min_air_temperature", METRIC, "5\u00a0°C to 17.2\u00a0°C"),
        ("windows.min_air_temperature", IMPERIAL, "41\u00a0°F to 63\u00a0°F"),
        ("max_beaufort", METRIC, "Beaufort 2 to 3"),
        ("min_stops", METRIC, "1 to 10 stops"),
        ("min_days_between_visits", METRIC, "at least 15 days"),
        ("loudest_noise", METRIC, ""),
        ("stops_in_order", METRIC, CHOICES["stops_in_order"][0]),
    ],
)
def test_a_published_range_in_words(field, units, words):
    assert published_in_words(PUBLISHED[field], units) == words


@every_preset
def test_no_window_straddles_two_season_years_or_another_window(preset):
    begins = preset.protocol.season_year_begins
    for year in (2024, 2025):
        begin, end = season_bounds(year, begins)
        spans = [window_dates(window, year, begins) for window in preset.protocol.windows]
        flat = [begin, *(date for span in spans for date in span), end]
        assert flat == sorted(flat)
        assert all(earlier[1] < later[0] for earlier, later in itertools.pairwise(spans))


def test_sources_of_published_values_name_a_work():
    for entry in OFFERED.published:
        assert entry.source
        if entry.mark in (Mark.CHECKED, Mark.FROM_MEMORY):
            assert re.search(r"[12][0-9]{3}|\(unsigned", entry.source)


def test_limits_set_in_fahrenheit_stay_in_fahrenheit():
    windows = BY_CODE["evening-route-by-road"].protocol.windows
    assert [window.min_air_temperature for window in windows] == [
        Temperature(value=Decimal(value), unit=TemperatureUnit.FAHRENHEIT) for value in (43, 52, 58)
    ]


def test_a_mistake_is_named_with_its_place():
    broken = json.loads(json.dumps(FILE))
    broken["presets"][1]["protocol"]["listening_time"] = None
    with pytest.raises(PlainError, match=r"^file\.presets\[1\]\.protocol\.listening_time"):
        presets_from_plain(broken)


def test_a_protocol_can_be_read_by_itself():
    protocol = from_plain(Protocol, FILE["presets"][0]["protocol"])
    assert protocol == PRESETS[0].protocol
