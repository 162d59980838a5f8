"""Whole sheets: cells in, values and findings out."""

import datetime as dt
import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.protocol.telling import Reader, tell
from surveys.protocol.values import (
    CallDistance,
    CallRecord,
    ChecklistSpecies,
    NoiseEffect,
    PeriodStatus,
    Place,
    Route,
    Severity,
    SkyState,
    Stop,
    TemperatureUnit,
)
from surveys.visits.sheet import cells as sheet_cells
from surveys.visits.sheet.cells import cell_of
from surveys.visits.sheet.part import StateCodes
from surveys.visits.sheet.reader import (
    read_sheet,
    typed_night,
)
from surveys.visits.sheet.reading_rules import READING_RULES

NIGHT = dt.date(2024, 4, 15)
PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"
ROUTE = Route(
    code="R01",
    name="Heron Slough Loop",
    time_zone="America/Chicago",
    stops=tuple(
        Stop(number=n, name=f"Stop {n}", place=Place(latitude=43.07, longitude=-89.4 + n / 100))
        for n in (1, 2, 3)
    ),
    checklist=(
        ChecklistSpecies(
            code=PEEPER, common_name="Spring peeper", scientific_name="Pseudacris crucifer"
        ),
        ChecklistSpecies(
            code=TOAD, common_name="American toad", scientific_name="Anaxyrus americanus"
        ),
    ),
)


def read(cells, night=NIGHT, **options):
    return read_sheet(cells, route=ROUTE, night=night, **options)


def only_period(cells):
    (period,) = read(cells).visit.periods
    return period


def codes(reading):
    return [finding.code for finding in reading.findings]


def only_finding(cells, **options):
    (finding,) = read(cells, **options).findings
    return finding


def test_a_full_stop():
    reading = read(
        {
            "temperature_unit": "F",
            "stops.2.status": "listened",
            "stops.2.arrived_at": "21:10",
            "stops.2.started_at": "9:12 pm",
            "stops.2.finished_at": "2024-04-16T02:17:00Z",
            "stops.2.paused_minutes": "1,5",
            "stops.2.air_temperature": "54",
            "stops.2.water_temperature": "10 C",
            "stops.2.beaufort": "2",
            "stops.2.sky": "partly_cloudy",
            "stops.2.noise": "quiet",
            "stops.2.interrupted": "yes",
            "stops.2.water_tonight": "pools",
            "stops.2.note": " near the culvert ",
            "stops.2.latitude": "43.0731",
            "stops.2.longitude": "-89.4012",
            "stops.2.accuracy_m": "8.5",
            f"stops.2.calls.{PEEPER}": "3",
            f"stops.2.calls.{TOAD}": "?",
        }
    )
    assert reading.findings == ()
    (period,) = reading.visit.periods
    assert period.stop == 2
    assert period.status is PeriodStatus.LISTENED
    assert period.arrived_at == dt.datetime(2024, 4, 16, 2, 10, tzinfo=dt.UTC)
    assert period.started_at == dt.datetime(2024, 4, 16, 2, 12, tzinfo=dt.UTC)
    assert period.finished_at == dt.datetime(2024, 4, 16, 2, 17, tzinfo=dt.UTC)
    assert period.paused == dt.timedelta(seconds=90)
    assert period.air_temperature.value == Decimal(54)
    assert period.air_temperature.unit is TemperatureUnit.FAHRENHEIT
    assert period.water_temperature.unit is TemperatureUnit.CELSIUS
    assert (period.beaufort, period.sky, period.noise) == (2, "partly_cloudy", "quiet")
    assert period.measured_at == Place(latitude=43.0731, longitude=-89.4012)
    assert period.measured_accuracy_m == 8.5
    assert set(period.calls) == {
        CallRecord(species=PEEPER, index=3),
        CallRecord(species=TOAD, index=None, not_sure=True),
    }
    facts = reading.stop_facts[2]
    assert facts.interrupted is True
    assert (facts.water_tonight, facts.note) == ("pools", "near the culvert")


def test_facts_of_the_visit():
    reading = read(
        {
            "second_observer": "Kim Alder",
            "notes": "fog after ten",
            "rain_48h": "12,5",
            "start.air_temperature": "12.5",
            "start.beaufort": "1",
            "end.sky": "overcast",
        }
    )
    assert reading.findings == ()
    assert reading.facts.second_observer == "Kim Alder"
    assert read({"second_member": " 7 "}, companions={7}).facts.second_member_id == 7
    assert read({"second_member": "8"}, companions={7}).facts.second_member_id is None
    assert reading.facts.rain_48h_mm == Decimal("12.5")
    assert reading.visit.start.air_temperature.value == Decimal("12.5")
    assert (reading.visit.start.beaufort, reading.visit.end.sky) == (1, "overcast")


# Listened, skipped, not reached


@pytest.mark.parametrize(
    ("typed", "status"),
    [
        ({"status": "listened"}, PeriodStatus.LISTENED),
        ({"status": "Skipped", "skip_reason": "flooded"}, PeriodStatus.SKIPPED),
        ({"started_at": "21:14"}, PeriodStatus.LISTENED),
        ({"finished_at": "21:14"}, PeriodStatus.LISTENED),
        ({f"calls.{PEEPER}": "0"}, PeriodStatus.LISTENED),
        ({f"calls.{PEEPER}": "?"}, PeriodStatus.LISTENED),
    ],
)
def test_status_of_a_stop(typed, status):
    cells = {f"stops.1.{name}": text for name, text in typed.items()}
    assert only_period(cells).status is status
    assert read(cells).findings == ()


@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"status": ""},
        {"status": "  "},
        {f"calls.{PEEPER}": "-"},
        {"paused_minutes": "T"},
        {"arrived_at.fold": "first"},
    ],
)
def test_empty_stop_was_not_reached(typed):
    reading = read({f"stops.1.{name}": text for name, text in typed.items()})
    assert reading.visit.periods == ()
    assert reading.findings == ()


@pytest.mark.parametrize(
    "typed", [{"paused_minutes": "3"}, {"arrived_at": "21:10"}, {"note": "gate shut"}]
)
def test_stop_with_entries_but_no_status_is_reported(typed):
    reading = read({f"stops.1.{name}": text for name, text in typed.items()})
    assert reading.visit.periods == ()
    assert codes(reading) == ["status-unclear"]
    assert cell_of(reading.findings[0].where) == "stops.1.status"


def test_a_skipped_stop_has_no_listening_times():
    finding = only_finding(
        {
            "stops.1.status": "skipped",
            "stops.1.skip_reason": "road closed",
            "stops.1.started_at": "21:14",
            "stops.1.finished_at": "21:10",
        }
    )
    assert finding.code == "skipped-with-times"
    assert finding.severity is Severity.REFUSE


def test_skipped_stop_without_a_reason_is_noted():
    finding = only_finding({"stops.1.status": "skipped"})
    assert (finding.code, finding.severity) == ("skip-reason-missing", Severity.NOTE)


# Call indices


@pytest.mark.parametrize(
    ("text", "calls"),
    [
        ("", ()),
        ("0", (CallRecord(species=PEEPER, index=0),)),
        ("3", (CallRecord(species=PEEPER, index=3),)),
        ("?", (CallRecord(species=PEEPER, index=None, not_sure=True),)),
        ("-", (CallRecord(species=PEEPER, index=None),)),
        ("7", (CallRecord(species=PEEPER, index=7),)),
        ("2 near", (CallRecord(species=PEEPER, index=2, distance=CallDistance.NEAR),)),
        ("2N", (CallRecord(species=PEEPER, index=2, distance=CallDistance.NEAR),)),
        ("3 Far", (CallRecord(species=PEEPER, index=3, distance=CallDistance.FAR),)),
        ("3.0f", (CallRecord(species=PEEPER, index=3, distance=CallDistance.FAR),)),
        (
            "? far",
            (CallRecord(species=PEEPER, index=None, not_sure=True, distance=CallDistance.FAR),),
        ),
        ("n/a", (CallRecord(species=PEEPER, index=None),)),
    ],
)
def test_call_indices(text, calls):
    cells = {"stops.1.status": "listened", f"stops.1.calls.{PEEPER}": text}
    assert only_period(cells).calls == calls


@pytest.mark.parametrize(
    "text", ["lots", "2-3", "2?", "1.5", "III", "0 far", "far", "2 away", "2 near far"]
)
def test_invalid_call_index_is_refused(text):
    finding = only_finding({"stops.1.status": "listened", f"stops.1.calls.{PEEPER}": text})
    assert finding.code == "cell-unreadable"
    assert finding.where.species == PEEPER
    assert "highest" in tell(finding, Reader()).remedy


def test_unknown_species_is_refused_unless_blank():
    assert only_finding({"stops.1.calls.unicorn": "1"}).code == "species-unknown"
    assert read({"stops.1.status": "listened", "stops.1.calls.unicorn": ""}).findings == ()


def test_codes_of_the_protocol_are_read_at_stops_and_ends():
    codes = StateCodes(sky={"T": SkyState.THUNDER}, noise={"4": NoiseEffect.QUIET})
    reading = read(
        {"stops.1.status": "listened", "stops.1.sky": "t", "stops.1.noise": "4", "end.sky": "T"},
        codes=codes,
    )
    assert reading.findings == ()
    assert (reading.visit.periods[0].sky, reading.visit.periods[0].noise) == ("thunder", "quiet")
    assert reading.visit.end.sky == "thunder"


def test_t_is_nothing_where_it_is_no_code():
    reading = read({"stops.1.status": "listened", "stops.1.sky": "T"})
    assert (reading.findings, reading.visit.periods[0].sky) == ((), None)


# Every problem names its cell, what is wrong and how to mend it


@pytest.mark.parametrize(
    ("address", "text", "code"),
    [
        ("night", "soon", "cell-unreadable"),
        ("temperature_unit", "K", "cell-unreadable"),
        ("second_observer", "x" * 121, "cell-too-long"),
        ("rain_48h", "lots", "cell-unreadable"),
        ("rain_48h", "99999", "cell-out-of-range"),
        ("start.air_temperature", "mild", "cell-unreadable"),
        ("end.air_temperature", "5000", "cell-out-of-range"),
        ("start.beaufort", "windy", "cell-unreadable"),
        ("end.sky", "1.5", "cell-unreadable"),
        ("stops.1.status", "maybe", "cell-unreadable"),
        ("stops.1.skip_reason", "x" * 201, "cell-too-long"),
        ("stops.1.arrived_at", "late", "cell-unreadable"),
        ("stops.1.started_at", "9:14", "clock-by-day"),
        ("stops.1.paused_minutes", "-1", "cell-out-of-range"),
        ("stops.1.paused_minutes", "601", "cell-out-of-range"),
        ("stops.1.air_temperature", "1e9", "cell-unreadable"),
        ("stops.1.water_temperature", "-200", "cell-out-of-range"),
        ("stops.1.beaufort", "strong", "cell-unreadable"),
        ("stops.1.sky", "dark", "cell-unreadable"),
        ("stops.1.noise", "2", "cell-unreadable"),
        ("stops.1.interrupted", "perhaps", "cell-unreadable"),
        ("stops.1.water_tonight", "deep", "cell-unreadable"),
        ("stops.1.latitude", "91", "cell-out-of-range"),
        ("stops.1.longitude", "-181", "cell-out-of-range"),
        ("stops.1.accuracy_m", "1000000", "cell-out-of-range"),
        ("sightings.1.species", "unicorn", "species-unknown"),
        ("sightings.1.life_stage", "old", "cell-unreadable"),
        ("sightings.1.stop", "9", "sighting-stop-unknown"),
        ("sightings.1.count", "-3", "cell-out-of-range"),
        ("sightings.1.count", "99999999", "cell-out-of-range"),
        ("sightings.1.color_form", "x" * 81, "cell-too-long"),
    ],
)
def test_problems(address, text, code):
    cells = {"stops.1.latitude": "43", "stops.1.longitude": "-89", "stops.1.status": "listened"}
    cells |= {"sightings.1.species": PEEPER, "sightings.1.life_stage": "adult"}
    finding = only_finding({**cells, address: text})
    assert finding.code == code
    assert cell_of(finding.where) == address
    told = tell(finding, Reader())
    assert told.message.endswith(".")
    assert told.remedy.endswith(".")


def test_repeated_hour_is_reported_at_its_fold_cell():
    cells = {"stops.1.started_at": "01:30"}
    finding = only_finding(cells, night=dt.date(2024, 11, 2))
    assert (finding.code, finding.severity) == ("clock-repeated", Severity.REFUSE)
    assert cell_of(finding.where) == "stops.1.started_at.fold"
    answered = read({**cells, "stops.1.started_at.fold": "second"}, night=dt.date(2024, 11, 2))
    assert answered.findings == ()
    assert answered.visit.periods[0].started_at.hour == 7


def test_skipped_hour_is_reported():
    finding = only_finding({"stops.1.started_at": "02:30"}, night=dt.date(2025, 3, 8))
    assert (finding.code, finding.severity) == ("clock-skipped", Severity.REFUSE)


def test_half_a_position_is_noted():
    finding = only_finding({"stops.1.status": "listened", "stops.1.latitude": "43"})
    assert (finding.code, finding.severity) == ("position-incomplete", Severity.NOTE)


def test_unknown_cells_are_noted_once_and_listed():
    finding = only_finding({f"other.{n}": "x" for n in range(8)})
    assert (finding.code, finding.severity) == ("cell-unknown", Severity.NOTE)
    message = tell(finding, Reader()).message
    assert "“other.0”" in message
    assert "3 more cells" in message


# Sightings


def test_sightings():
    reading = read(
        {
            "sightings.1.species": "american  TOAD",
            "sightings.1.life_stage": "Adult",
            "sightings.1.stop": "2",
            "sightings.1.count": "4",
            "sightings.1.color_form": "rust",
            "sightings.3.species": PEEPER,
            "sightings.3.life_stage": "eggs",
        }
    )
    assert reading.findings == ()
    first, second = reading.sightings
    assert (first.row, first.species, first.stop, first.count) == (1, TOAD, 2, 4)
    assert (second.row, second.species, second.stop, second.count) == (3, PEEPER, None, None)


@pytest.mark.parametrize(
    ("cells", "photo_rows", "missing"),
    [
        ({"sightings.1.count": "2"}, (), ["species", "life_stage"]),
        ({"sightings.1.species": PEEPER}, (), ["life_stage"]),
        ({"sightings.1.life_stage": "adult"}, (), ["species"]),
        ({}, (1,), ["species", "life_stage"]),
        ({"sightings.1.count": " "}, (), []),
    ],
)
def test_incomplete_sightings(cells, photo_rows, missing):
    reading = read(cells, photo_rows=photo_rows)
    assert [cell_of(f.where) for f in reading.findings] == [f"sightings.1.{m}" for m in missing]
    assert reading.sightings == ()


def test_every_reading_rule_has_its_own_code_and_a_sentence():
    assert len({rule.code for rule in READING_RULES}) == len(READING_RULES)
    assert all(rule.summary.endswith(".") for rule in READING_RULES)


# Junk

ADDRESSES = st.one_of(
    st.text(max_size=30),
    st.sampled_from(sheet_cells.VISIT_FIELDS),
    st.builds(
        "stops.{}.{}".format,
        st.integers(-1, 12000),
        st.one_of(
            st.sampled_from((*sheet_cells.STOP_FIELDS, f"calls.{PEEPER}", "calls.unicorn")),
            st.text(max_size=10),
        ),
    ),
    st.builds("{}.{}".format, st.sampled_from(["start", "end"]), st.sampled_from(["sky", "x"])),
    st.builds(
        "sightings.{}.{}".format,
        st.integers(0, 4),
        st.sampled_from(sheet_cells.SIGHTING_FIELDS),
    ),
)
TEXTS = st.one_of(
    st.text(max_size=30),
    st.decimals().map(str),
    st.integers().map(str),
    st.datetimes(timezones=st.none() | st.just(dt.UTC)).map(dt.datetime.isoformat),
    st.times().map(str),
    st.dates().map(str),
    st.sampled_from(
        ["listened", "skipped", "?", "-", "yes", "first", "24:00", "0001-01-01T00:00Z"]
    ),
)


@given(
    cells=st.dictionaries(ADDRESSES, TEXTS, max_size=40),
    night=st.dates(dt.date(1900, 1, 1), dt.date(2199, 12, 31)),
)
def test_any_text_is_read_without_an_error_and_findings_have_messages(cells, night):
    reading = read(cells, night=night)
    for finding in reading.findings:
        told = tell(finding, Reader())
        assert told.message
        assert told.remedy
        assert json.loads(json.dumps(dict(finding.params))) == finding.params
    typed_night(cells)


KEPT = ADDRESSES.map(sheet_cells.storable)
KEPT_TEXTS = TEXTS.map(sheet_cells.storable).filter(bool)


@given(
    cells=st.dictionaries(KEPT, KEPT_TEXTS, max_size=20),
    changes=st.dictionaries(
        KEPT, st.builds(sheet_cells.CellChange, was=TEXTS, now=TEXTS), max_size=20
    ),
    data=st.data(),
)
def test_merging_any_text_loses_nothing(cells, changes, data):
    """Every text is on the server afterwards, or comes back in a conflict."""
    for address in data.draw(st.sets(st.sampled_from(sorted(cells)))) if cells else ():
        now = data.draw(TEXTS)
        changes[address] = sheet_cells.CellChange(was=cells[address], now=now)
    merged, conflicts = sheet_cells.merge(cells, changes)
    returned = {conflict.address: conflict for conflict in conflicts}
    for address, text in cells.items():
        if address not in changes or address in returned:
            assert merged[address] == text
    for address, change in changes.items():
        now, kept = sheet_cells.storable(change.now), merged.get(address, "")
        if address in returned:
            assert (returned[address].mine, returned[address].theirs) == (now, kept)
        else:
            assert kept == now
