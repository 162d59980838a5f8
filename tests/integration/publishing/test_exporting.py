"""Live records as pages and as files: which rows, in which order, and that no text is a formula."""

import csv
import datetime as dt
import io
import json

import pyarrow.parquet
import pytest
from django.utils import timezone

from surveys.exports.records import (
    CALLS,
    PERIODS,
    VISITS,
    RecordFilter,
    page,
    places_of,
    statement,
)
from surveys.exports.writing import EXPORT_FORMATS
from surveys.models import CallIndex, Confirmation, Sensitivity
from surveys.publishing.people import pseudonym
from tests.support.builders import make_accepted_visit, make_checklist, make_member, make_route
from tests.support.sounds import keep, sound

EVERYTHING = RecordFilter()


@pytest.fixture
def world(program, observer):
    """A route of three stops, two visits; the peeper heard at stops 1 and 3."""
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    route = make_route(program, region="=HYPERLINK(1)")
    first = make_accepted_visit(
        route, observer.person, heard={1: {peeper: 2}, 3: {peeper: 3}}, skipped=frozenset({2})
    )
    second = make_accepted_visit(
        route, observer.person, night=dt.date(2023, 4, 20), heard={1: {toad: 1}}
    )
    return {"program": program, "route": route, "visits": (first, second), "peeper": peeper}


def rows_of(program, table=CALLS, wanted=EVERYTHING, *, exact=False, limit=1000):
    rows, after = page(program, table, wanted, exact=exact, after=None, limit=limit)
    return rows, after


def exported(program, name: str, wanted=EVERYTHING, *, exact=False) -> bytes:
    found = statement(program, CALLS, wanted, exact=exact)
    return b"".join(EXPORT_FORMATS[name].write(CALLS, found))


def test_silence_is_a_zero_and_a_skipped_stop_is_missing(world):
    rows, after = rows_of(world["program"])
    assert after is None
    found = {
        (str(row["night"]), row["stop"][-1], row["species"]): row["call_index"] for row in rows
    }
    assert found == {
        ("2024-04-15", "1", "Anaxyrus americanus"): 0,
        ("2024-04-15", "1", "Pseudacris crucifer"): 2,
        ("2024-04-15", "3", "Anaxyrus americanus"): 0,
        ("2024-04-15", "3", "Pseudacris crucifer"): 3,
        ("2023-04-20", "1", "Anaxyrus americanus"): 1,
        ("2023-04-20", "1", "Pseudacris crucifer"): 0,
        ("2023-04-20", "2", "Anaxyrus americanus"): 0,
        ("2023-04-20", "2", "Pseudacris crucifer"): 0,
        ("2023-04-20", "3", "Anaxyrus americanus"): 0,
        ("2023-04-20", "3", "Pseudacris crucifer"): 0,
    }


def test_a_call_left_out_in_review_is_blank(world):
    CallIndex.objects.filter(index=3).update(counts_in_trends=False)
    rows, _ = rows_of(world["program"], wanted=RecordFilter(season_year=2024))
    assert sorted(str(row["call_index"]) for row in rows) == ["0", "0", "2", "None"]


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        (RecordFilter(season_year=2023), 6),
        (RecordFilter(first_year=2024), 4),
        (RecordFilter(last_year=2023), 6),
        (RecordFilter(species="pseudacris-crucifer"), 5),
        (RecordFilter(route="R-none"), 0),
        (RecordFilter(changed_since=dt.datetime(2000, 1, 1, tzinfo=dt.UTC)), 10),
        (RecordFilter(changed_since=dt.datetime(2200, 1, 1, tzinfo=dt.UTC)), 0),
    ],
)
def test_filters(world, wanted, count):
    assert len(rows_of(world["program"], wanted=wanted)[0]) == count


@pytest.mark.parametrize("table", [VISITS, PERIODS, CALLS], ids=lambda table: table.name)
@pytest.mark.parametrize("limit", [1, 2, 3, 7])
def test_pages_hold_every_row_once_in_order(world, table, limit):
    program = world["program"]
    whole, _ = rows_of(program, table)
    paged, after = [], None
    while True:
        rows, after = page(program, table, EVERYTHING, exact=False, after=after, limit=limit)
        paged += rows
        if after is None:
            break
    assert paged == whole
    assert len(whole) == {"visits": 2, "periods": 5, "calls": 10}[table.name]


def test_only_accepted_visits_of_the_program_that_count(world, program):
    other = make_member(
        program.__class__.objects.create(name="Other", slug="other", time_zone="UTC")
    )
    (species,) = make_checklist(other.program)
    make_accepted_visit(make_route(other.program), other.person, heard={1: {species: 1}})
    before = rows_of(program)[0]
    world["visits"][0].__class__.objects.filter(pk=world["visits"][0].pk).update(
        counts_in_trends=False
    )
    after = rows_of(program)[0]
    assert {row["visit"] for row in before} == {visit.pk for visit in world["visits"]}
    assert {row["visit"] for row in after} == {world["visits"][1].pk}


def test_places_are_generalized_unless_exact_ones_are_asked_for(world):
    shared, _ = rows_of(world["program"])
    exact, _ = rows_of(world["program"], exact=True)
    assert {(row["latitude"], row["longitude"]) for row in shared} == {
        (43.075, -89.405), (43.075, -89.385), (43.075, -89.375),
    }  # fmt: skip
    assert (43.0731, -89.4012) in {(row["latitude"], row["longitude"]) for row in exact}


def test_exact_coordinates_do_not_even_enter_the_statement(world):
    found = statement(world["program"], CALLS, EVERYTHING, exact=False)
    assert "43.0731" not in found.sql + str(found.parameters)


def test_a_withheld_place_is_blank(world):
    program = world["program"]
    program.place_sharing = Sensitivity.EXTREME
    program.save()
    rows, _ = rows_of(program)
    assert {row["latitude"] for row in rows} == {None}
    assert all(place.latitude is None for _, place in places_of(program, exact=False))


def test_observers_have_pseudonyms_unless_they_agreed(world, program, observer):
    expected = pseudonym(program.pseudonym_key, observer.person_id)
    assert {row["observer"] for row in rows_of(program, VISITS)[0]} == {expected}
    observer.person.named_in_reports = True
    observer.person.save()
    assert {row["observer"] for row in rows_of(program, VISITS)[0]} == {"Robin Fenwick"}


def test_confirmed_calls_say_so_and_who_by_pseudonym_unless_they_agreed(
    world, program, observer, coordinator
):
    visit = world["visits"][0]
    recording = keep(observer, visit, sound(), stop=1, species="pseudacris-crucifer")
    call = CallIndex.objects.get(period__visit=visit, period__stop__number=1)
    Confirmation.objects.create(
        call=call, recording=recording, by=coordinator.person, at=timezone.now()
    )

    def told():
        rows, _ = rows_of(program)
        return {
            (row["call_index"], row["confirmed_by_ear"], row["confirmed_by"])
            for row in rows
            if row["visit"] == visit.pk
        }

    secret = pseudonym(program.pseudonym_key, coordinator.person_id)
    assert told() == {(2, True, secret), (3, False, None), (0, None, None)}
    coordinator.person.named_in_reports = True
    coordinator.person.save()
    assert (2, True, coordinator.person.name) in told()


def test_csv_json_and_parquet_hold_the_rows_of_the_pages(world):
    rows, _ = rows_of(world["program"])
    columns = [column.name for column in CALLS.columns]

    header, *lines = csv.reader(io.StringIO(exported(world["program"], "csv").decode()))
    assert header == columns
    assert lines == [
        ["" if row[name] is None else _as_text(row[name]) for name in columns] for row in rows
    ]

    objects = [json.loads(line) for line in exported(world["program"], "json").splitlines()]
    plain = [
        {
            name: value if isinstance(value, int | float | None) else str(value)
            for name, value in row.items()
        }
        for row in rows
    ]
    assert objects == plain

    table = pyarrow.parquet.read_table(io.BytesIO(exported(world["program"], "parquet")))
    typed = table.to_pylist()
    assert [row["started_at"].strftime("%Y-%m-%dT%H:%M:%SZ") for row in typed] == [
        row["started_at"] for row in rows
    ]
    assert [row["night"] for row in typed] == [row["night"] for row in rows]
    assert [(r["period"], r["species"], r["call_index"], r["latitude"]) for r in typed] == [
        (str(r["period"]), r["species"], r["call_index"], r["latitude"]) for r in rows
    ]


def _as_text(value):
    return str(value).lower() if isinstance(value, bool) else str(value).removesuffix(".0")


def test_an_empty_export_has_its_header(program):
    assert exported(program, "csv").decode().startswith("period,visit,route,")
    assert exported(program, "json") == b""
    table = pyarrow.parquet.read_table(io.BytesIO(exported(program, "parquet")))
    assert table.num_rows == 0


@pytest.mark.parametrize(
    "hostile", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx", "'x", 'say "hi", \\.', "a\nb", "é%s"]
)
def test_hostile_text_is_no_formula_and_survives(world, hostile):
    world["peeper"].scientific_name = hostile
    world["peeper"].save()
    program = world["program"]
    lines = list(csv.DictReader(io.StringIO(exported(program, "csv").decode(), newline="")))
    found = {line["species"] for line in lines} - {"Anaxyrus americanus"}
    guarded = f"'{hostile}" if hostile[0] in "=+-@\t\r\n'" else hostile
    assert found == {guarded}
    objects = [json.loads(line) for line in exported(program, "json").decode().split("\n") if line]
    assert hostile in {one["species"] for one in objects}
    table = pyarrow.parquet.read_table(io.BytesIO(exported(program, "parquet")))
    assert hostile in set(table.column("species").to_pylist())
