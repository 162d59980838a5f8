"""The table of limits: whole, and the same as the type of a protocol."""

import dataclasses
import datetime as dt
import itertools
import json
from decimal import Decimal
from pathlib import Path

import pytest

from surveys.protocol.limits.checks import limit_problems
from surveys.protocol.limits.exact import exact
from surveys.protocol.limits.limit import Kind
from surveys.protocol.limits.phrases import Units
from surveys.protocol.limits.table import LIMITS, LIMITS_BY_NAME
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.presets import presets_from_plain
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    MonthDay,
    NoiseEffect,
    Protocol,
    SkyState,
    TemperatureUnit,
    WithoutTest,
)
from tests.support.for_each import for_each
from tests.support.limit_values import another

FIXTURE = Path(__file__).parents[3] / "fixtures" / "protocol_presets.json"
PRESETS = presets_from_plain(json.loads(FIXTURE.read_text("utf-8"))).presets
NOT_LIMITS = {"name", "version", "season_year_begins", "windows"}
MINUTE = dt.timedelta(minutes=1)
METRIC = Units(temperature=TemperatureUnit.CELSIUS, distance=DistanceUnit.KILOMETERS)
IMPERIAL = Units(temperature=TemperatureUnit.FAHRENHEIT, distance=DistanceUnit.MILES)
BARE = Protocol(
    name="Example",
    version=1,
    season_year_begins=MonthDay(month=1, day=1),
    windows=(),
    listening_time=5 * MINUTE,
)
every_limit = pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)


def test_every_field_of_a_protocol_is_a_limit_or_says_what_it_is():
    fields = [field.name for field in dataclasses.fields(Protocol)]
    assert sorted(limit.name for limit in LIMITS) == sorted(set(fields) - NOT_LIMITS)
    assert len(LIMITS) == len(LIMITS_BY_NAME)


@every_limit
def test_what_a_limit_can_be_is_written_in_one_way(limit):
    has_range = limit.lowest is not None and limit.highest is not None
    chosen = {Kind.FORCE, Kind.CHOICE, Kind.CHOICES, Kind.CODE_TABLE}
    assert has_range is (limit.kind not in {Kind.CLOCK, Kind.YES_NO, *chosen})
    assert bool(limit.choices) is (limit.kind in chosen)


@every_limit
def test_a_default_is_possible(limit):
    assert limit.name not in limit_problems(BARE)


@pytest.mark.parametrize(
    "limit",
    [limit for limit in LIMITS if limit.lowest is not None and limit.kind != Kind.TEMPERATURES],
    ids=lambda limit: limit.name,
)
def test_both_ends_of_a_range_are_possible_and_nothing_beyond(limit):
    for stored, is_possible in (
        (limit.lowest - 1, False),
        (limit.lowest, True),
        (limit.highest, True),
        (limit.highest + 1, False),
    ):
        shortest = {"listening_time": dt.timedelta(seconds=1)}
        changes = shortest | {limit.name: limit.from_column(stored)}
        protocol = dataclasses.replace(BARE, **changes)
        assert (limit.name not in limit_problems(protocol)) is is_possible


def test_choices_are_stored_in_order():
    skies = frozenset({SkyState.SNOW, SkyState.FOG})
    assert LIMITS_BY_NAME["forbidden_skies"].to_column(skies) == ["fog", "snow"]


@pytest.mark.parametrize("preset", PRESETS, ids=lambda preset: preset.code)
def test_the_limits_of_a_preset_are_possible(preset):
    assert limit_problems(preset.protocol) == {}


@for_each(
    "limit, protocol",
    itertools.product(LIMITS, [preset.protocol for preset in PRESETS]),
    lambda case: case[0].name,
)
def test_a_column_gives_back_what_it_was_given(limit, protocol):
    value = getattr(protocol, limit.name)
    assert limit.from_column(limit.to_column(value)) == value


def test_labels_speak_the_units_of_the_program():
    spacing, temperatures = (
        LIMITS_BY_NAME[name] for name in ("min_stop_spacing_m", "plausible_temperature_c")
    )
    assert (
        spacing.in_units(spacing.label, METRIC) == "Minimum distance between stops, in kilometers"
    )
    assert spacing.in_units(spacing.label, IMPERIAL) == "Minimum distance between stops, in miles"
    farthest = LIMITS_BY_NAME["max_distance_from_stop_m"]
    assert farthest.in_units(farthest.help, METRIC).startswith("In meters.")
    assert farthest.in_units(farthest.help, IMPERIAL).startswith("In feet.")
    assert temperatures.in_units(temperatures.help, IMPERIAL).startswith("From and to, in °F.")


def test_coordinators_are_told_more():
    words = dict(limits_in_words(BARE, IMPERIAL, for_coordinators=True))
    assert words["Plausible temperatures"] == "5\u00a0°F to 113\u00a0°F"
    assert words["Distance from the stop"] == "at most 328 ft"
    assert words["Speed between stops"] == "at most 62 mph"
    assert not set(words) <= set(dict(limits_in_words(BARE, IMPERIAL)))
    anywhere = dataclasses.replace(BARE, max_distance_from_stop_m=None)
    assert "Distance from the stop" not in dict(
        limits_in_words(anywhere, METRIC, for_coordinators=True)
    )


@every_limit
def test_whoever_sets_a_limit_reads_it(limit):
    value, _ = another(limit, BARE)
    changed = dataclasses.replace(BARE, **{limit.name: value})
    for units in (METRIC, IMPERIAL):
        before = limits_in_words(BARE, units, for_coordinators=True)
        assert limits_in_words(changed, units, for_coordinators=True) != before
        is_silent = limits_in_words(changed, units) == limits_in_words(BARE, units)
        assert is_silent is limit.for_coordinators


@pytest.mark.parametrize(
    ("name", "value", "units", "words"),
    [
        ("settling_wait", None, METRIC, ""),
        ("settling_wait", 90 * MINUTE, METRIC, "1 h 30 min"),
        ("earliest_start_after_sunset", -15 * MINUTE, METRIC, "15 min before sunset"),
        ("earliest_start_after_sunset", 15 * MINUTE, METRIC, "15 min after sunset"),
        ("latest_end_clock", dt.time(1), METRIC, "01:00"),
        ("min_stops", 8, METRIC, "8"),
        ("max_beaufort", 0, METRIC, "0: calm, smoke goes straight up"),
        (
            "forbidden_skies",
            frozenset({SkyState.SNOW, SkyState.HEAVY_RAIN}),
            METRIC,
            "heavy rain and snow",
        ),
        ("loudest_noise", NoiseEffect.QUIET, METRIC, "quiet: nothing to listen through"),
        ("sky_codes", {"7": SkyState.SNOW, "W": SkyState.FOG}, METRIC, "7 snow, W fog"),
        ("interruption", Interruption.RESTART, METRIC, "Start over"),
        ("training_needed", True, METRIC, "yes"),
        ("without_test", WithoutTest.NOTE, METRIC, "A note"),
        ("stops_in_order", False, METRIC, "no"),
        ("min_stop_spacing_m", 800.04, METRIC, "800.0 m"),
        ("min_stop_spacing_m", 800.0, IMPERIAL, "0.5 mi (800.0 m)"),
        ("max_drive_kmh", 100.0, IMPERIAL, "100.0 km/h"),
        (
            "plausible_temperature_c",
            (Decimal("-15"), Decimal("45.0000")),
            METRIC,
            "−15\u00a0°C to 45\u00a0°C",
        ),
    ],
)
def test_exact_words(name, value, units, words):
    assert exact(LIMITS_BY_NAME[name], value, units) == words


@pytest.mark.parametrize(
    ("changes", "name", "message"),
    [
        ({"min_stops": 0}, "min_stops", "Give a value from 1 to 999."),
        ({"min_stops": 1000}, "min_stops", "Give a value from 1 to 999."),
        ({"settling_wait": 1441 * MINUTE}, "settling_wait", "Give a value from 0 min to 24 h."),
        ({"listening_time": 0 * MINUTE}, "listening_time", "The listening time is longer than"),
        (
            {"longest_listening_time": 4 * MINUTE},
            "longest_listening_time",
            "The maximum listening time is shorter",
        ),
        (
            {"latest_end_clock": dt.time(1), "latest_end_after_sunset": 270 * MINUTE},
            "latest_end_clock",
            "Give the latest end either",
        ),
        ({"min_stop_spacing_m": -1.0}, "min_stop_spacing_m", "Give a value from 0 m to 1,000 km."),
        ({"max_drive_kmh": 0.9}, "max_drive_kmh", "Give a value from 1 to 1,000 km/h."),
        ({"max_beaufort": 13}, "max_beaufort", "Choose among 0, 1, 2"),
        ({"sky_codes": {"clear!": SkyState.FOG}}, "sky_codes", "A code is one to 4 letters"),
        ({"sky_codes": {"12345": SkyState.FOG}}, "sky_codes", "A code is one to 4 letters"),
        ({"sky_codes": {"fog": SkyState.CLEAR}}, "sky_codes", "“fog” is a word of the list"),
        (
            {"noise_codes": {"a": NoiseEffect.QUIET, "A": NoiseEffect.ALL_LOST}},
            "noise_codes",
            "The code “a” stands for two things.",
        ),
        (
            {"plausible_temperature_c": (Decimal(-15), Decimal(101))},
            "plausible_temperature_c",
            "Give a value from −100 to 100\u00a0°C.",
        ),
        (
            {"plausible_temperature_c": (Decimal(30), Decimal(30))},
            "plausible_temperature_c",
            "The first temperature has to be below the second.",
        ),
    ],
)
def test_limits_that_cannot_hold(changes, name, message):
    problems = limit_problems(dataclasses.replace(BARE, **changes))
    assert list(problems) == [name]
    assert problems[name][0].startswith(message)
