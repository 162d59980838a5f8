"""Routes and stops from files: matched to what is there, all or nothing, undone."""

import datetime as dt
from dataclasses import replace

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.test import Client
from django.urls import reverse

from accounts.models import Role
from surveys.importing.places import edits, uploads
from surveys.models import Assignment, Route, RouteChoice, Stop, StorageUse
from surveys.programs.area import draw_area
from surveys.programs.bring_in import RoutesRefusedError, bring_in, take_out
from surveys.programs.place_corrections import correct_place
from surveys.programs.route_plan import Elsewhere
from surveys.protocol.values import Place
from tests.support import places
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.places import Point, points_of

pytestmark = pytest.mark.django_db
NIGHT = dt.date(2024, 4, 1)


@pytest.fixture
def coordinator(program):
    return make_member(program, Role.COORDINATOR)


@pytest.fixture
def program():
    program = make_program()
    make_version(program, min_stop_spacing_m=500.0)
    return program


def stored(member, content: bytes, **options):
    """The import of a file, its first night set."""
    row = uploads.store(member, file_name="routes", content=content)
    wanted = replace(uploads.options_of(row), first_night=NIGHT, **options)
    return uploads.choose_options(member, row.pk, wanted)


def kinds(row) -> list[str]:
    return [finding.kind for finding in uploads.plan_of(row).findings]


def written(program) -> list[tuple[str, int, str, float, float]]:
    stops = Stop.objects.filter(route__program=program, active_until=None)
    return [
        (s.route.code, s.number, s.name, round(s.place.y, 7), round(s.place.x, 7))
        for s in stops.order_by("route__code", "number")
    ]


def as_written(points: list[Point]) -> list[tuple[str, int, str, float, float]]:
    return [(p.route, p.stop, p.name, p.latitude, p.longitude) for p in points]


# --- Every format, the same routes -----------------------------------------------------


@pytest.mark.parametrize(
    "make", [places.csv, places.xlsx, places.gpx, places.kml, places.kmz, places.geojson]
)
def test_the_same_routes_from_every_format(program, coordinator, make):
    row = stored(coordinator, make())
    assert kinds(row) == []
    uploads.commit(coordinator, row.pk)
    assert written(program) == as_written(places.POINTS)
    assert {stop.active_from for stop in Stop.objects.filter(route__program=program)} == {NIGHT}


@pytest.mark.parametrize("make", [places.shapefile, places.geopackage])
def test_the_same_routes_through_gdal(program, coordinator, make, tmp_path):
    uploads.commit(coordinator, stored(coordinator, make(tmp_path)).pk)
    assert written(program) == as_written(places.POINTS)


def test_waypoints_named_by_route_and_stop(program, coordinator):
    uploads.commit(coordinator, stored(coordinator, places.gpx_waypoints()).pk)
    assert [(code, number) for code, number, *_ in written(program)] == [
        (p.route, p.stop) for p in places.POINTS
    ]


def test_lines_belong_to_the_route_of_their_name(program, coordinator):
    uploads.commit(coordinator, stored(coordinator, places.kml()).pk)
    line = program.routes.get(code="R02").line
    assert [(y, x) for x, y in line.coords] == [
        (p.latitude, p.longitude) for p in places.POINTS[3:]
    ]


def test_degrees_and_minutes_in_one_column(program, coordinator):
    content = 'Site,Coordinates\nR7-1,"43° 04.386′ N, 89° 24.072′ W"\n'
    uploads.commit(coordinator, stored(coordinator, content.encode()).pk)
    assert written(program) == [("R7", 1, "Stop 1", 43.0731, -89.4012)]


def test_names_get_the_next_free_code(program, coordinator):
    make_route(program, code="FR07")
    content = b"route,stop,lat,lon\nHeron Slough,1,43.1,-89.4\nFR01 Mill Road,1,43.2,-89.4\n"
    row = stored(coordinator, content)
    assert [(route["code"], route["name"]) for route in row.draft] == [
        ("FR02", "Heron Slough"),
        ("FR01", "Mill Road"),
    ]


def test_words_that_are_no_choices_are_kept_in_the_notes(program, coordinator):
    content = b"route,stop,lat,lon,habitat,fish,notes\nR1,1,43.1,-89.4,Vernal pool,yes,deep\n"
    uploads.commit(coordinator, stored(coordinator, content).pk)
    stop = Stop.objects.get(route__program=program)
    assert (stop.habitat, stop.fish, stop.notes) == ("other", "yes", "deep\nHabitat: Vernal pool")


# --- Beside what is there ----------------------------------------------------------------


def surveyed(program) -> Route:
    """R01 of the files, with a visit."""
    route = make_route(program, code="R01", name="Old name", region="North")
    make_accepted_visit(route, make_member(program).person, night=dt.date(2023, 4, 15))
    return route


def moved(meters: float) -> list[Point]:
    """Stop 2 of R01 lies farther north."""
    points = list(places.POINTS[:3])
    points[1] = replace(points[1], latitude=round(points[1].latitude + meters / 111_000, 7))
    return points


def test_a_second_import_changes_nothing(program, coordinator):
    uploads.commit(coordinator, stored(coordinator, places.kml()).pk)
    again = stored(coordinator, places.kml())
    plan = uploads.plan_of(again)
    assert [route.state for route in plan.routes] == ["same", "same"]
    with pytest.raises(RoutesRefusedError, match="is there already"):
        uploads.commit(coordinator, again.pk)


def test_empty_cells_change_nothing_and_given_ones_do(program, coordinator):
    route = surveyed(program)
    content = b"route,region,stop,lat,lon,county\nr01,,2,43.0731,-89.3887,Dane\n"
    uploads.commit(coordinator, stored(coordinator, content).pk)
    route.refresh_from_db()
    assert (route.name, route.region) == ("Old name", "North")
    assert route.stops.get(number=2).county == "Dane"
    assert route.stops.get(number=2).name == "Stop 2"


def test_a_stop_that_was_never_surveyed_takes_the_place_of_the_file(program, coordinator):
    route = make_route(program, code="R01")
    row = stored(coordinator, places.csv(moved(300)))
    assert "elsewhere" not in kinds(row)
    uploads.commit(coordinator, row.pk)
    assert route.stops.get(number=2).place.y == pytest.approx(moved(300)[1].latitude)


def test_less_than_two_meters_is_the_same_place(program, coordinator):
    route = surveyed(program)
    row = stored(coordinator, places.csv(moved(1.5)))
    uploads.commit(coordinator, row.pk)
    assert route.stops.get(number=2).place.y == 43.0731


def test_what_lies_elsewhere_must_be_answered(program, coordinator):
    surveyed(program)
    row = stored(coordinator, places.csv(moved(300)))
    assert kinds(row) == ["elsewhere"]
    with pytest.raises(RoutesRefusedError, match="one problem"):
        uploads.commit(coordinator, row.pk)


def test_kept(program, coordinator):
    route = surveyed(program)
    row = stored(coordinator, places.csv(moved(300)), elsewhere=Elsewhere.KEEP)
    uploads.commit(coordinator, row.pk)
    stop = route.stops.get(number=2)
    assert (stop.place.y, stop.name) == (43.0731, "Mill pond 1-2")


def test_corrected_with_its_visits(program, coordinator):
    route = surveyed(program)
    stop = route.stops.get(number=2)
    row = stored(coordinator, places.csv(moved(300)), elsewhere=Elsewhere.CORRECT)
    assert kinds(row) == ["reason"]
    row = uploads.choose_options(
        coordinator, row.pk, replace(uploads.options_of(row), reason="Swapped digits")
    )
    uploads.commit(coordinator, row.pk)
    stop.refresh_from_db()
    assert stop.place.y == pytest.approx(moved(300)[1].latitude)
    assert stop.periods.count() == 1
    assert "before 43.073100, -89.388700: Swapped digits" in stop.notes


def test_moved_from_a_night_on(program, coordinator):
    route = surveyed(program)
    row = stored(
        coordinator, places.csv(moved(300)), elsewhere=Elsewhere.MOVE, reason="New culvert"
    )
    uploads.commit(coordinator, row.pk)
    old, new = route.stops.filter(number=2).order_by("active_from")
    assert (old.active_until, new.active_from) == (NIGHT - dt.timedelta(days=1), NIGHT)
    assert (old.periods.count(), new.periods.count()) == (1, 0)


def test_a_move_before_the_last_visit_writes_nothing(program, coordinator):
    route = surveyed(program)
    content = places.csv([*moved(300), *places.POINTS[3:]])
    row = stored(coordinator, content, elsewhere=Elsewhere.MOVE, reason="New culvert")
    early = replace(uploads.options_of(row), first_night=dt.date(2023, 1, 1))
    uploads.choose_options(coordinator, row.pk, early)
    with pytest.raises(RoutesRefusedError, match="There is a visit to this stop"):
        uploads.commit(coordinator, row.pk)
    assert [r.code for r in program.routes.all()] == [route.code]


# --- What is wrong, and mended in place --------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "kind"),
    [
        ("R1,1,43.1,-89.4\nR1,1,43.2,-89.4", "number_twice"),
        ("R1,x,43.1,-89.4", "number"),
        ("R1,1000,43.1,-89.4", "number"),
        ("R1,1,north,-89.4", "coordinate"),
        ("R_1,1,43.1,-89.4", "code"),
        ("R1,1,43.1,-89.4\nR1,2,53.1,-89.4", "far"),
        ("R1,1,43.1,-89.4\nR1,2,43.11,-89.4\nR1,3,43.12,89.4", "slip"),
    ],
)
def test_what_is_wrong_writes_nothing(program, coordinator, rows, kind):
    row = stored(coordinator, f"route code,stop,lat,lon\n{rows}\nR9,1,43.1,-89.5\n".encode())
    if kind == "code":
        row = uploads.change_draft(coordinator, row.pk, edits.change_route(0, {"code": "R_1"}, {}))
    assert kind in kinds(row)
    with pytest.raises(RoutesRefusedError, match="Nothing was imported"):
        uploads.commit(coordinator, row.pk)
    assert not program.routes.exists()


def test_texts_are_corrected_in_place(program, coordinator):
    row = stored(coordinator, b"route,stop,lat,lon\nR1,one,43.1N,-89.4\nR1,2,43.11,-89.4\n")
    change = edits.change_route(0, {"name": "Mill Road"}, {0: {"number": "1"}})
    row = uploads.change_draft(coordinator, row.pk, change, revision=row.revision)
    uploads.commit(coordinator, row.pk)
    assert program.routes.get().name == "Mill Road"
    with pytest.raises(ValidationError, match="imported already"):
        uploads.change_draft(coordinator, row.pk, change)


def test_two_people_do_not_overwrite_each_other(program, coordinator):
    row = stored(coordinator, places.csv())
    change = edits.change_route(0, {"name": "Mill Road"}, {})
    uploads.change_draft(coordinator, row.pk, change, revision=row.revision)
    with pytest.raises(ValidationError, match="Someone changed this import"):
        uploads.change_draft(coordinator, row.pk, change, revision=row.revision)


@pytest.mark.parametrize(
    ("change", "latitude", "longitude"),
    [
        (edits.turn_longitudes, 43.0731, 89.4012),
        (edits.turn_latitudes, -43.0731, -89.4012),
        (edits.swap, -89.4012, 43.0731),
    ],
)
def test_all_coordinates_at_once(program, coordinator, change, latitude, longitude):
    row = stored(coordinator, places.kml())
    row = uploads.change_draft(coordinator, row.pk, change)
    stop, point = row.draft[0]["stops"][0], row.draft[0]["line"][0]
    assert (float(stop["latitude"]), float(stop["longitude"])) == (latitude, longitude)
    assert point == [latitude, longitude]


def test_columns_that_were_guessed_wrong(program, coordinator):
    row = stored(coordinator, b"a,b,c,d\nR1,4,43.1,-89.4\n")
    row = uploads.choose_columns(coordinator, row.pk, ["route", "stop", "latitude", "longitude"])
    uploads.commit(coordinator, row.pk)
    assert written(program) == [("R1", 4, "Stop 4", 43.1, -89.4)]


# --- Where they lie ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("points", "found"),
    [
        # 500 m is 0.006146° of longitude at 43.0731° N: 0.0061 is less, 0.0062 more.
        ([(43.0731, -89.4), (43.0731, -89.3939)], ["spacing"]),
        ([(43.0731, -89.4), (43.0731, -89.3938)], []),
        ([(43.0731, -89.4), (43.0731, -89.39999)], ["double"]),
        # The third and the second change places.
        ([(43.07, -89.40), (43.07, -89.34), (43.07, -89.385), (43.07, -89.325)], ["order"]),
    ],
)
def test_spacing_doubles_and_order(program, coordinator, points, found):
    given = [Point("R1", n, f"S{n}", lat, lon) for n, (lat, lon) in enumerate(points, start=1)]
    row = stored(coordinator, places.csv(given))
    assert kinds(row) == found
    uploads.commit(coordinator, row.pk)


def test_a_stop_of_another_route_at_the_same_place(program, coordinator):
    make_route(program, code="X1")
    row = stored(coordinator, places.csv(places.POINTS[:1]))
    (finding,) = uploads.plan_of(row).remarks
    assert "Stop 1 of R01 has the same location as stop 1 of X1" in finding.message


@pytest.mark.parametrize(("north", "found"), [(0.44, []), (0.46, ["outside"])])
def test_outside_the_area_of_the_present_routes(program, coordinator, north, found):
    """50 km are 0.45° of latitude at 43.3° N."""
    make_route(program, code="X1")
    point = Point("R1", 1, "S", 43.0731 + north, -89.39)
    row = stored(coordinator, places.csv([point]))
    assert kinds(row) == found


def test_routes_outside_the_program_area(program, coordinator):
    """The area takes the place of the guess by present routes; a route is named once."""
    make_route(program, code="X1")
    draw_area(coordinator, points="43.0, -89.5\n43.0, -89.3\n43.1, -89.3\n43.1, -89.5")
    far = [Point("R1", n, "S", 43.6, -89.4 + n / 100) for n in (1, 2)]
    near = [Point("R2", n, "S", 43.05, -89.4 + n / 100) for n in (1, 2)]
    row = stored(coordinator, places.csv([*far, *near]))
    (finding,) = uploads.plan_of(row).remarks
    assert finding.message == ("Route R1: 2 of 2 stops lie outside the program area, up to 56 km.")
    preview = reverse("web:route_import", kwargs={"program": program.slug, "places": row.pk})
    client = Client()
    client.force_login(coordinator.person)
    page = client.get(preview)
    assert finding.message in page.content.decode()
    assert page.context["map_data"]["features"][0]["properties"] == {"kind": "area"}
    uploads.commit(coordinator, row.pk)


def test_along_the_line(program, coordinator):
    """The second stop is 1 km off, and the fourth behind the third."""
    points = [
        Point("R1", number, "S", latitude, longitude)
        for number, (latitude, longitude) in enumerate(
            [(43.0, -89.48), (43.01, -89.46), (43.0, -89.42), (43.0, -89.44)], start=1
        )
    ]
    line = "<trk><name>R1</name><trkseg>" + "".join(
        f'<trkpt lat="43.0" lon="{longitude}"/>' for longitude in (-89.5, -89.4)
    )
    content = places.gpx_waypoints(points).replace(
        b"</gpx>", f"{line}</trkseg></trk></gpx>".encode()
    )
    row = stored(coordinator, content)
    assert kinds(row) == ["off_line", "order"]


# --- Undoing ---------------------------------------------------------------------------------


def test_undoing_sets_everything_back(program, coordinator):
    route = surveyed(program)
    before = (written(program), str(route.line), Stop.objects.get(route=route, number=2).notes)
    content = places.kml([*moved(300), *places.POINTS[3:]])
    row = stored(coordinator, content, elsewhere=Elsewhere.CORRECT, reason="Swapped digits")
    row = uploads.commit(coordinator, row.pk)
    assert written(program) != before[0]
    uploads.undo(coordinator, row.pk)
    route.refresh_from_db()
    stop = Stop.objects.get(route=route, number=2)
    assert (written(program), str(route.line), stop.notes) == before
    with pytest.raises(RoutesRefusedError, match="nothing to undo"):
        uploads.undo(coordinator, row.pk)


def test_undoing_a_move(program, coordinator):
    surveyed(program)
    before = written(program)
    row = stored(coordinator, places.csv(moved(300)), elsewhere=Elsewhere.MOVE, reason="Culvert")
    uploads.undo(coordinator, uploads.commit(coordinator, row.pk).pk)
    after = written(program)
    assert after == before


@pytest.mark.parametrize("what", ["visit", "assignment", "stop", "change"])
def test_what_was_built_on_it_is_not_undone(program, coordinator, what):
    route = surveyed(program)
    content = places.csv([*moved(300), *places.POINTS[3:]])
    row = stored(coordinator, content, elsewhere=Elsewhere.CORRECT, reason="Swapped digits")
    row = uploads.commit(coordinator, row.pk)
    new = program.routes.get(code="R02")
    if what == "visit":
        make_accepted_visit(new, make_member(program).person)
    elif what == "assignment":
        Assignment.objects.create(route=new, observer=coordinator.person, season_year=2024)
    elif what == "stop":
        Stop.objects.create(
            route=new, number=9, name="Nine", active_from=NIGHT, place=new.stops.first().place
        )
    else:
        correct_place(
            coordinator,
            route.stops.get(number=2).pk,
            place=Place(latitude=43.08, longitude=-89.3887),
            reason="Again",
        )
    after = written(program)
    with pytest.raises(RoutesRefusedError, match="cannot be undone"):
        uploads.undo(coordinator, row.pk)
    assert written(program) == after


# --- Who may, and how much -------------------------------------------------------------------


def test_observers_bring_nothing_in(program, coordinator):
    row = stored(coordinator, places.csv())
    observer = make_member(program, Role.OBSERVER)
    for verb in (uploads.commit, uploads.undo, uploads.discard):
        with pytest.raises(PermissionDenied):
            verb(observer, row.pk)
    with pytest.raises(PermissionDenied):
        uploads.store(observer, file_name="routes", content=places.csv())


def test_the_verbs_ask_for_the_right_themselves(program):
    observer = make_member(program, Role.OBSERVER)
    with pytest.raises(PermissionDenied):
        bring_in(observer, lambda: pytest.fail("made a plan"))
    with pytest.raises(PermissionDenied):
        take_out(observer, {"routes": [], "stops": [], "changed": []})


def test_nothing_of_another_program_is_taken_out(program):
    route = make_route(make_program())
    elsewhere = {
        "routes": [route.pk],
        "stops": [stop.pk for stop in route.stops.all()],
        "changed": [{"kind": "route", "pk": route.pk, "before": {"name": "A"}, "now": {}}],
    }
    take_out(make_member(program, Role.COORDINATOR), elsewhere)
    route.refresh_from_db()
    assert (route.name, route.stops.count()) == ("Heron Slough Loop", 3)


def test_a_slip_within_a_route_is_named(program, coordinator):
    """Routes spread so far that no other stop is near."""
    points = [*places.POINTS[:3], replace(places.POINTS[3], route="R9", latitude=60.0)]
    points[1] = replace(points[1], longitude=-points[1].longitude)
    (finding,) = [
        f
        for f in uploads.plan_of(stored(coordinator, places.csv(points))).problems
        if f.kind == "far"
    ]
    assert "minus sign of the longitude" in finding.remedy


def test_another_program_does_not_see_it(program, coordinator):
    row = stored(coordinator, places.csv())
    elsewhere = make_member(make_program(), Role.COORDINATOR)
    for verb in (uploads.commit, uploads.undo, uploads.discard):
        with pytest.raises(Http404):
            verb(elsewhere, row.pk)


def test_the_protocol_is_one_of_the_program(program, coordinator):
    row = stored(coordinator, places.csv())
    other = make_version(make_program()).protocol
    with pytest.raises(ValidationError, match="protocol of this program"):
        uploads.choose_options(
            coordinator, row.pk, replace(uploads.options_of(row), protocol_id=other.pk)
        )


def test_what_is_kept_counts_as_storage_until_it_is_discarded(program, coordinator):
    row = stored(coordinator, places.csv())
    used = StorageUse.objects.get(program=program, person=coordinator.person)
    assert used.bytes > len(places.csv())
    uploads.discard(coordinator, row.pk)
    used.refresh_from_db()
    assert used.bytes == 0


def test_how_routes_were_chosen_is_kept(program, coordinator):
    row = stored(coordinator, places.csv(), chosen=RouteChoice.RANDOM)
    uploads.commit(coordinator, row.pk)
    assert {route.chosen for route in program.routes.all()} == {RouteChoice.RANDOM}


def test_120_routes_are_checked_and_written_in_few_statements(
    program, coordinator, django_assert_max_num_queries
):
    """As many statements as for two routes."""
    row = stored(coordinator, places.csv(points_of(120, 10)))
    with django_assert_max_num_queries(40):
        uploads.commit(coordinator, row.pk)
    assert Stop.objects.filter(route__program=program).count() == 1_200
    with django_assert_max_num_queries(40):
        uploads.undo(coordinator, row.pk)
    assert not Stop.objects.filter(route__program=program).exists()
