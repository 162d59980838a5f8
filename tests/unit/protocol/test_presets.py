"""The presets of fixtures/protocol_presets.json."""

import itertools
import json
from decimal import Decimal
from pathlib import Path

import pytest

from surveys.protocol.plain import (
    PlainError,
    from_plain,
)
from surveys.protocol.presets import (
    Mark,
    presets_from_plain,
)
from surveys.protocol.seasons import (
    season_bounds,
    window_dates,
)
from surveys.protocol.values import (
    Protocol,
    Temperature,
    TemperatureUnit,
)

FILE = json.loads(
    (Path(__file__).parents[3] / "fixtures" / "protocol_presets.json").read_text("utf-8")
)
PRESETS = presets_from_plain(FILE)
BY_CODE = {preset.code: preset for preset in PRESETS}
SELF_EVIDENT = {"name", "version", "windows"}


def test_codes_are_unique():
    assert len(BY_CODE) == len(PRESETS) == 6


@pytest.mark.parametrize("entry", FILE["presets"], ids=lambda entry: entry["code"])
def test_every_value_that_is_set_has_one_source_and_every_source_a_value(entry):
    set_here = set(entry["protocol"]) - SELF_EVIDENT
    for window in entry["protocol"]["windows"]:
        set_here |= {f"windows.{field}" for field in window if field != "name"}
    assert sorted(source["field"] for source in entry["sources"]) == sorted(set_here)


@pytest.mark.parametrize("preset", PRESETS, ids=lambda preset: preset.code)
def test_no_window_straddles_two_season_years_or_another_window(preset):
    begins = preset.protocol.season_year_begins
    for year in (2024, 2025):
        begin, end = season_bounds(year, begins)
        spans = [window_dates(window, year, begins) for window in preset.protocol.windows]
        flat = [begin, *(date for span in spans for date in span), end]
        assert flat == sorted(flat)
        assert all(earlier[1] < later[0] for earlier, later in itertools.pairwise(spans))


@pytest.mark.parametrize("preset", PRESETS, ids=lambda preset: preset.code)
def test_sources_of_checked_values_name_a_work(preset):
    for source in preset.sources:
        assert source.source
        if source.mark in (Mark.CHECKED, Mark.FROM_MEMORY):
            assert any(character.isdigit() for character in source.source) or "(" in source.source


def test_limits_set_in_fahrenheit_stay_in_fahrenheit():
    windows = BY_CODE["roadside-ten-stops"].protocol.windows
    assert [window.min_air_temperature for window in windows] == [
        Temperature(value=Decimal(value), unit=TemperatureUnit.FAHRENHEIT) for value in (42, 50, 55)
    ]


def test_a_mistake_is_named_with_its_place():
    broken = json.loads(json.dumps(FILE))
    broken["presets"][1]["protocol"]["listening_time"] = None
    with pytest.raises(PlainError, match=r"^file\.presets\[1\]\.protocol\.listening_time"):
        presets_from_plain(broken)


def test_a_protocol_can_be_read_by_itself():
    protocol = from_plain(Protocol, FILE["presets"][0]["protocol"])
    assert protocol == PRESETS[0].protocol
