"""A small publication's frozen tables, made by the real freezing from rows in the database."""

import datetime as dt
from decimal import Decimal
from pathlib import Path

from django.contrib.gis.geos import Point
from django.db.models import F

from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Program,
    Route,
    Sensitivity,
    Sighting,
    Stop,
)
from surveys.publishing.about import about_publication
from surveys.publishing.freeze import (
    freeze,
    snapshot,
    with_exact_places,
)
from surveys.publishing.frozen import Frozen
from surveys.publishing.results import (
    add_trends,
    periods_of,
)
from tests.support.builders import (
    make_accepted_visit,
    make_change,
    make_checklist,
    make_own_field,
    make_person,
    make_program,
    make_route,
    make_station,
    make_version,
)

HOSTILE = '=HYPERLINK("http://example.org","x")'
SITE = "https://frogs.example.org"
PUBLISHED_AT = dt.datetime(2024, 9, 1, 12, 0, tzinfo=dt.UTC)


def small_program() -> Program:
    """Two routes of four stops over four season years: one open, one with a sensitive species;
    a stop that was moved, a skipped one, a species heard but not for sure, the water at a
    stop, an own field, hostile texts."""
    program = make_program(
        name="Example Wetlands",
        region="Example County",
        place_sharing=Sensitivity.OPEN,
        region_weights={"North, east": 12.5},
        weights_are="wetlands on the map",
        contact_email="office@example.org",
    )
    peeper, chorus, gopher = make_checklist(
        program, "Pseudacris crucifer", "Pseudacris maculata", "Lithobates capito"
    )
    program.checklist.filter(species=gopher).update(sensitivity=Sensitivity.HIGH)
    program.checklist.filter(species=chorus).update(
        calls_from_month=3, calls_from_day=1, calls_to_month=5, calls_to_day=31
    )
    version = make_version(program, source="Own field trials, 2001")
    open_route = make_route(
        program, version=version, stops=4, code="R1", name=HOSTILE, region="North, east"
    )
    shy_route = make_route(program, version=version, stops=4, code="R2", name="Gopher Flat")
    named = make_person("Robin Fenwick")
    named.named_in_reports = True
    named.save()
    unnamed = make_person("Alex Marsh")
    for year in (2021, 2022, 2023, 2024):
        for night in (dt.date(year, 4, 2), dt.date(year, 5, 3)):
            make_accepted_visit(
                open_route,
                named,
                night=night,
                heard={1: {peeper: 1 + year % 3}, 2: {peeper: 2, chorus: 1}},
                skipped=frozenset({4}) if year == 2022 else frozenset(),
                start_air_temperature_c=Decimal("5.5556"),
                start_air_temperature_unit="F",
                start_beaufort=2,
            )
            make_accepted_visit(
                shy_route,
                unnamed,
                night=night + dt.timedelta(days=1),
                heard={3: {gopher: 1}} if year > 2022 else {1: {chorus: 3}},
            )
        if year == 2022:
            _move_a_stop(open_route.stops.get(number=3))
    ListeningPeriod.objects.filter(visit__night__gt=F("stop__active_until")).delete()
    last = ListeningPeriod.objects.filter(visit__route=shy_route).order_by("visit__night").last()
    assert last is not None
    CallIndex.objects.create(period=last, species=peeper, not_sure=True)
    _note_water(open_route)
    make_change(open_route.stops.get(number=2), named)
    make_station(program, {dt.date(2024, 5, 2): (3.5, 18, 7), dt.date(2024, 5, 3): (0, 21, 9)})
    Sighting.objects.create(
        visit=last.visit, row=1, species=gopher, life_stage="adult", count=2, color_form="=dark"
    )
    make_own_field(program, "Salinity", unit="ppt")
    last.own_fields = {"salinity": 12.5}
    last.save()
    open_route.stops.filter(number=1).update(name="@pond, by the “old” mill\nand the road")
    return program


def _note_water(route: Route) -> None:
    """Dry, then with pools, at one stop in one season."""
    of_stop = ListeningPeriod.objects.filter(stop__route=route, stop__number=1)
    for night, water in ((dt.date(2024, 4, 2), "dry"), (dt.date(2024, 5, 3), "pools")):
        of_stop.filter(visit__night=night).update(water_tonight=water)


def _move_a_stop(stop: Stop) -> None:
    stop.active_until = dt.date(2022, 12, 31)
    stop.save()
    Stop.objects.create(
        route=stop.route,
        number=stop.number,
        name=stop.name,
        place=Point(stop.place.x + 0.004, stop.place.y, srid=4326),
        active_from=dt.date(2023, 1, 1),
    )


def small_frozen(
    tmp_path: Path,
    *,
    exact: bool = False,
    results: bool = True,
    program: Program | None = None,
) -> Frozen:
    """The frozen tables of `small_program`, or of another; with exact places when asked.
    Without `results`, which take a second or two, occupancy and trends are not there."""
    program = program or small_program()
    with snapshot():
        about = about_publication(
            program, 2024, version=1, reason="", published_at=PUBLISHED_AT, site_url=SITE
        )
        frozen = freeze(program, tmp_path / "frozen", about)
        if results:
            add_trends(frozen, periods_of(frozen))
        if exact:
            return with_exact_places(program, frozen, tmp_path / "exact")
    return frozen
