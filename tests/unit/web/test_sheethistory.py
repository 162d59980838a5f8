"""Cells in words and in the order of the sheet, and what changed between submissions."""

import pytest

from surveys import dates
from surveys.dates import ClockStyle, DateOrder, DateStyle
from surveys.visits.sheet.cells import SIGHTING_FIELDS, STOP_FIELDS, WEATHER_FIELDS
from surveys.web.sheets.cell_words import _PARTS, place_words, text_words
from surveys.web.sheets.history import (
    CellDifference,
    differences,
    typed_cells,
)

NAMES = {"pseudacris-crucifer": "Spring Peeper", "own.salinity": "Salinity"}


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("night", "Night"),
        ("rain_48h", "Rain in the past 48 hours"),
        ("start.air_temperature", "At the start, air temperature"),
        ("end.sky", "At the end, sky"),
        ("stops.3.started_at", "Stop 3, start"),
        ("stops.3.started_at.fold", "Stop 3, start, first or second"),
        ("stops.12.calls.pseudacris-crucifer", "Stop 12, Spring Peeper"),
        ("stops.12.calls.never-seen", "Stop 12, never-seen"),
        ("sightings.2.life_stage", "Sighting 2, life stage"),
        ("own.salinity", "Salinity"),
        ("stops.3.own.salinity", "Stop 3, Salinity"),
        ("stops.3.own.never_asked", "Stop 3, own.never_asked"),
        ("stops.3.water_tonight", "Stop 3, water level"),
        ("something.else", "something.else"),
    ],
)
def test_place_in_words(address, words):
    assert place_words(address, NAMES) == words


def test_every_cell_of_a_sheet_has_words():
    fields = {*STOP_FIELDS, *SIGHTING_FIELDS, *WEATHER_FIELDS}
    assert {field for field in fields if not field.endswith(".fold")} == _PARTS.keys()


@pytest.mark.parametrize(
    ("address", "text", "words"),
    [
        ("night", "2024-04-15", "Apr 15, 2024"),
        ("night", "2024-04-31", "2024-04-31"),
        ("night", "mid April", "mid April"),
        ("stops.3.started_at", "2024-04-16T02:14:05.123Z", "9:14:05\u00a0pm"),
        ("stops.3.started_at", "2024-04-16T99:14:05Z", "2024-04-16T99:14:05Z"),
        ("stops.3.started_at", "21:14", "9:14\u00a0pm"),
        ("stops.3.started_at", "2114", "2114"),
        ("stops.3.started_at.fold", "second", "second time"),
        ("stops.3.note", "21:14", "21:14"),
        ("start.sky", "light_rain", "light rain"),
        ("start.sky", "3", "3"),
        ("stops.3.noise", "faint_lost", "faint calls lost"),
        ("stops.3.status", "skipped", "Skipped"),
        ("stops.3.water_tonight", "not_seen", "Not seen"),
        ("sightings.1.life_stage", "larva", "Tadpole or larva"),
        ("sightings.1.species", "pseudacris-crucifer", "Spring Peeper"),
        ("temperature_unit", "F", "°F"),
        ("notes", "clear", "clear"),
    ],
)
def test_text_as_the_reader_knows_it(address, text, words):
    american = DateStyle(
        clock=ClockStyle.TWELVE, order=DateOrder.MONTH_FIRST, time_zone="America/Chicago"
    )
    with dates.using(american):
        assert text_words(address, text, NAMES) == words


def test_cells_come_in_the_order_of_the_sheet():
    expected = [
        "night",
        "notes",
        "own.salinity",
        "start.sky",
        "end.air_temperature",
        *(f"stops.2.{name}" for name in STOP_FIELDS),
        "stops.2.calls.a",
        "stops.10.status",
        "sightings.1.species",
        "stray",
    ]
    cells = dict.fromkeys(reversed(expected), "x")
    assert [cell.address for cell in typed_cells(cells, NAMES)] == expected


def test_blank_cells_are_left_out():
    assert typed_cells({"night": "2024-04-15", "notes": "  "}, NAMES)[0].text == "15 Apr 2024"
    assert len(typed_cells({"night": "2024-04-15", "notes": "  "}, NAMES)) == 1


def test_differences_name_what_was_changed_added_and_blanked():
    before = {"notes": "Mild.", "stops.1.paused_minutes": "2", "stops.2.paused_minutes": "3"}
    after = {"notes": "Mild.", "stops.1.paused_minutes": "4", "stops.3.paused_minutes": "1"}
    assert differences(before, after, NAMES) == (
        CellDifference(place="Stop 1, pause in minutes", before="2", after="4"),
        CellDifference(place="Stop 2, pause in minutes", before="3", after=""),
        CellDifference(place="Stop 3, pause in minutes", before="", after="1"),
    )
