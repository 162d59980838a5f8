"""The program's screens: who reaches them, what they save, how often they ask the database."""

import csv
import datetime as dt
import html
import json
import re

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from accounts.joining_links import make_link
from accounts.models import Role
from surveys.demo.catalog import load_species
from surveys.models import (
    Assignment,
    CallingRegion,
    ChecklistEntry,
    Protocol,
    ProtocolVersion,
    Route,
    RouteRequest,
    Species,
    Stop,
    Substitute,
)
from surveys.programs.region_weights import field_of
from surveys.protocol.values import MonthDay
from surveys.web.people import urls as people
from surveys.web.program import urls as program_urls
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_own_field,
    make_own_species,
    make_program,
    make_route,
    make_species,
    make_version,
)
from tests.support.for_each import for_each
from tests.support.sheets import make_submitted

pytestmark = pytest.mark.django_db


def queries_of(client, address):
    """How many queries a page takes once the session is warm."""
    client.get(address)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


def url(name, program, query=None, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs}, query=query)


def seen(client, address):
    """What the form of a page showed, as it comes back with what was typed."""
    return {"seen": client.get(address).context["form"].seen_text}


def untouched(form):
    """The fields of a form as a browser sends them back untouched."""
    data = {}
    for field in form:
        value = field.value()
        if isinstance(value, MonthDay):
            data |= {f"{field.html_name}_day": value.day, f"{field.html_name}_month": value.month}
        elif value is not None:
            data[field.html_name] = value
    return data


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


@pytest.fixture
def rows(program, observer):
    """Something for every number and code in an address."""
    coordinator = make_member(program, Role.COORDINATOR)
    route = make_route(program)
    make_checklist(program)
    assignment = Assignment.objects.create(route=route, observer=observer.person, season_year=2026)
    return {
        "route": route.pk,
        "stop": route.stops.first().pk,
        "version": route.protocol.versions.get().pk,
        "entry": program.checklist.get().pk,
        "species": make_species("Anaxyrus americanus").code,
        "assignment": assignment.pk,
        "substitute": Substitute.objects.create(
            assignment=assignment, window="Spring", person=coordinator.person
        ).pk,
        "plan_request": RouteRequest.objects.create(
            program=program, route=route, member=observer, season_year=2026
        ).pk,
        "membership": observer.pk,
        "own_field": make_own_field(program).pk,
        "own_species": make_own_species(program).code,
        "link": make_link(coordinator, name="Spring workshop", days=30, most_uses=20).pk,
    }


PATHS = [
    pattern
    for pattern in [*program_urls.urlpatterns, *people.urlpatterns]
    if "program" in pattern.pattern.converters
    and not {"invitation", "event"} & pattern.pattern.converters.keys()
]
POST_ONLY = {
    "program_repeat",
    "program_taking",
    "program_substitute_drop",
    "program_request_answer",
    "program_unassign",
    "program_entry_move",
    "program_own_field_delete",
    "program_own_field_move",
    "program_own_species_delete",
    "people_deactivate",
    "people_reactivate",
    "people_rename",
    "people_merge",
    "people_hand_over",
    "people_claim",
    "people_erase",
    "joining_revoke",
}


def address(pattern, program, rows):
    wanted = pattern.pattern.converters.keys() - {"program"}
    return url(pattern.name, program, **{name: rows[name] for name in wanted})


def ask(client, pattern, program, rows):
    """The answer of a page. What it changes is taken back."""
    send = client.post if pattern.name in POST_ONLY else client.get
    data = {"season": "2026"} if pattern.name == "program_repeat" else {}
    with transaction.atomic():
        response = send(address(pattern, program, rows), data)
        transaction.set_rollback(True)
    return response


def named(pattern):
    return pattern.name


class TestEveryPage:
    @pytest.fixture
    def others(self, program, client_for):
        roles = (Role.OBSERVER, Role.PARTNER)
        return [client_for(make_member(program, role)) for role in roles]

    @pytest.fixture
    def stranger(self):
        return make_member(make_program(), Role.COORDINATOR)

    @for_each("pattern", PATHS, named)
    def test_a_coordinator_sees_it(self, pattern, program, page, rows):
        """A form that was sent empty comes back with what is missing."""
        seen = {200, 302, 422} if pattern.name in POST_ONLY else {200, 302}
        assert ask(page, pattern, program, rows).status_code in seen

    @for_each("pattern", PATHS, named)
    def test_other_roles_do_not(self, pattern, program, others, rows):
        assert [ask(one, pattern, program, rows).status_code for one in others] == [403, 403]

    @for_each("pattern", PATHS, named)
    def test_strangers_find_nothing(self, pattern, program, client_for, stranger, rows):
        assert ask(client_for(stranger), pattern, program, rows).status_code == 404

    @for_each("pattern", PATHS, named)
    def test_other_programs_rows_are_not_found_under_the_own_address(
        self, pattern, client_for, stranger, rows
    ):
        scoped = pattern.pattern.converters.keys() - {"program", "species"}
        if not scoped:
            return
        response = ask(client_for(stranger), pattern, stranger.program, rows)
        assert response.status_code == 404


class TestOverview:
    def test_it_says_what_is_missing(self, program, page):
        shown = page.get(url("program", program)).content.decode()
        assert "There is no protocol yet" in shown
        assert "The checklist is empty" in shown

    def test_facts_are_saved(self, program, page):
        address = url("program_facts", program)
        form = page.get(address).context["form"]
        data = form.initial | seen(page, address)
        page.post(address, data | {"region": "Reed Coast", "country_code": "US"})
        program.refresh_from_db()
        assert (program.region, program.country_code) == ("Reed Coast", "US")
        assert "United States" in text_of(page.get(url("program", program)))

    def test_the_calling_region_is_chosen_and_changed(self, program, page, upper_midwest):
        address = url("program_facts", program)
        form = page.get(address).context["form"]
        assert form["calling_region"].value() == program.calling_region_id
        northeast = CallingRegion.objects.get(code="northeast")
        page.post(address, form.initial | seen(page, address) | {"calling_region": northeast.pk})
        program.refresh_from_db()
        assert program.calling_region == northeast
        assert "Northeast and Mid-Atlantic" in text_of(page.get(url("program", program)))

    def test_a_refusal_keeps_what_was_typed(self, program, page):
        form = page.get(url("program_facts", program)).context["form"]
        data = form.initial | {"contact_email": "nobody", "region": "Reed Coast"}
        shown = page.post(url("program_facts", program), data).content.decode()
        assert "Write it like name@example.org." in shown
        assert "Reed Coast" in shown


class TestAssignments:
    def test_assigning_and_removing(self, program, observer, page):
        route = make_route(program)
        season = url("program_assignments", program)
        year = page.get(season).context["year"]
        page.post(season, {"route": route.pk, "observer": observer.person_id})
        given = Assignment.objects.get()
        assert (given.route, given.observer, given.season_year) == (route, observer.person, year)
        assert observer.person.name in page.get(season).content.decode()
        page.post(url("program_unassign", program, assignment=given.pk))
        assert not Assignment.objects.exists()

    def test_a_year_that_is_not_offered(self, program, page):
        for season in ("1800", "soon"):
            address = url("program_assignments", program, {"season": season})
            assert page.get(address).status_code == 404

    def test_taking_over_last_years(self, program, observer, page):
        route = make_route(program)
        Assignment.objects.create(route=route, observer=observer.person, season_year=2025)
        address = url("program_repeat", program)
        shown = page.post(address, {"season": "2026"}, follow=True).content.decode()
        assert "Assignments copied from 2025: 1." in shown

    def test_the_number_of_queries_does_not_grow(self, program, page):
        address = url("program_assignments", program, {"season": 2026})
        counts = []
        for number in (1, 12):
            version = make_version(program)
            for _ in range(number):
                Assignment.objects.create(
                    route=make_route(program, version=version, stops=0),
                    observer=make_member(program).person,
                    season_year=2026,
                )
            counts.append(queries_of(page, address))
        assert counts[0] == counts[1]


class TestRoutes:
    def test_without_a_protocol_there_is_no_route(self, program, page):
        response = page.get(url("program_route_add", program), follow=True)
        assert "Set up a protocol first" in response.content.decode()

    def test_adding_and_changing(self, program, page):
        version = make_version(program)
        data = {
            "code": "R07",
            "name": "Alder Fen",
            "protocol": version.protocol_id,
            "chosen": "habitat",
        }
        page.post(url("program_route_add", program), data | {"active": "on"})
        route = Route.objects.get()
        address = url("program_route_edit", program, route=route.pk)
        page.post(address, data | seen(page, address))
        route.refresh_from_db()
        assert (route.code, route.active, route.chosen) == ("R07", False, "habitat")

    def test_how_a_route_was_chosen_has_to_be_said(self, program, page):
        version = make_version(program)
        data = {"code": "R07", "name": "Alder Fen", "protocol": version.protocol_id}
        shown = page.post(url("program_route_add", program), data).content.decode()
        assert not Route.objects.exists()
        assert "No answer is chosen. Choose one." in shown
        page.post(url("program_route_add", program), data | {"chosen": "heard"})
        route = Route.objects.get()
        shown = page.get(url("program_route", program, route=route.pk)).content.decode()
        assert "Because the species were heard there" in shown

    def test_the_page_of_a_route_draws_its_stops(self, program, page):
        version = make_version(program, min_stop_spacing_m=2000)
        route = make_route(program, version=version)
        shown = page.get(url("program_route", program, route=route.pk)).content.decode()
        drawn = json.loads(re.search(r'id="map-data"[^>]*>(.*?)</script>', shown)[1])
        kinds = [feature["geometry"]["type"] for feature in drawn["features"]]
        assert kinds == ["LineString", "Point", "Point", "Point"]
        assert shown.count("too close") == 2
        assert "1.02 km" in shown

    @pytest.mark.parametrize(("unit", "length"), [("km", "1.02 km"), ("mi", "0.63 mi")])
    def test_spacing_is_in_the_programs_unit(self, program, page, unit, length):
        program.distance_unit = unit
        program.save()
        route = make_route(program)
        shown = page.get(url("program_route", program, route=route.pk)).content.decode()
        assert length in shown

    def test_the_number_of_queries_does_not_grow(self, program, page):
        few = make_route(program, stops=2)
        lists = [queries_of(page, url("program_routes", program))]
        for _ in range(8):
            many = make_route(program, stops=9)
        lists.append(queries_of(page, url("program_routes", program)))
        assert lists[0] == lists[1]
        one, other = (
            queries_of(page, url("program_route", program, route=route.pk)) for route in (few, many)
        )
        assert one == other


class TestRegionWeights:
    def test_weights_are_typed_beside_the_names_of_regions(self, program, page):
        make_route(program, region="North, east")
        lost = make_route(program, region="")
        address = url("program_regions", program)
        shown = page.get(address)
        assert "Weight of North, east" in shown.content.decode()
        assert url("program_route_edit", program, route=lost.pk) in shown.content.decode()
        name = field_of("North, east")
        data = {"weights_are": "area in km²", name: "12.5", **seen(page, address)}
        answer = page.post(address, data)
        assert answer.url == url("program_routes", program)
        program.refresh_from_db()
        assert program.region_weights == {"North, east": 12.5}
        boxes = page.get(address).context["form"]
        assert boxes[name].help_text == "area in km²"

    def test_what_is_wrong_stands_at_its_region_and_nothing_is_lost(self, program, page):
        for region in ("North", "South"):
            make_route(program, region=region)
        address = url("program_regions", program)
        data = {"weights_are": "", field_of("North"): "7", **seen(page, address)}
        shown = html.unescape(page.post(address, data).content.decode())
        assert "Give every region a weight, or none to any. 0 leaves a region out." in shown
        assert "Say what the weights are" in shown
        assert 'value="7"' in shown
        program.refresh_from_db()
        assert program.region_weights == {}


class TestStrata:
    def test_two_columns_of_a_spreadsheet_are_pasted(self, program, page):
        for code in ("R01", "R02", "R03"):
            make_route(program, code=code, stratum="Ridge" if code == "R03" else "")
        address = url("program_strata", program)
        assert page.get(address).context["form"]["strata"].value() == "R01\nR02\nR03, Ridge"
        data = {"strata": "r01\tFlood  plain\nR02; Ridge, upper\n\nR03", **seen(page, address)}
        told = page.post(address, data, follow=True).content.decode()
        assert "The strata of 3 routes are saved." in told
        assert dict(program.routes.values_list("code", "stratum")) == {
            "R01": "Flood plain",
            "R02": "Ridge, upper",
            "R03": "",
        }

    def test_every_line_that_cannot_be_read_is_said_and_nothing_is_lost(self, program, page):
        make_route(program, code="R01")
        address = url("program_strata", program)
        typed = f"R01, Ridge\nR99, Ridge\nR01, Marsh\nR01, {'x' * 121}"
        answer = page.post(address, {"strata": typed, **seen(page, address)})
        told = html.unescape(answer.content.decode())
        assert "Line 2: there is no route with the code “R99”." in told
        assert "Line 3: route R01 is in line 1 already." in told
        assert "R99, Ridge" in told
        assert program.routes.get().stratum == ""

    def test_what_a_colleague_saved_meanwhile_is_not_overwritten(self, program, page):
        route = make_route(program, code="R01")
        address = url("program_strata", program)
        data = {"strata": "R01, Ridge", **seen(page, address)}
        Route.objects.filter(pk=route.pk).update(stratum="Marsh")
        assert page.post(address, data).status_code != 302
        route.refresh_from_db()
        assert route.stratum == "Marsh"


class TestStops:
    DATA = {
        "number": "4",
        "name": "By the culvert",
        "latitude": "43.09",
        "longitude": "-89.40",
        "active_from": "2025-05-01",
        "habitat": "grassy",
        "hydroperiod": "season",
        "fish": "no",
        "last_burn": "",
        "notes": "",
    }

    @pytest.fixture
    def route(self, program):
        return make_route(program)

    def test_adding(self, program, page, route):
        page.post(url("program_stop_add", program, route=route.pk), self.DATA)
        stop = route.stops.get(number=4)
        assert (stop.place.y, stop.habitat, stop.fish) == (43.09, "grassy", "no")

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            ({"latitude": "143.09"}, "between −90 and 90"),
            ({"latitude": "-89.40", "longitude": "43.09"}, "swapped"),
            ({"longitude": "west"}, "is not a number of degrees"),
            ({"number": "2"}, "Number 2 belongs to the stop"),
            ({"active_from": "May"}, "Write it as 15/4/2025"),
        ],
    )
    def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
        self, program, page, route, changes, said
    ):
        address = url("program_stop_add", program, route=route.pk)
        shown = page.post(address, self.DATA | changes).content.decode()
        assert said in shown
        assert "By the culvert" in shown
        assert route.stops.count() == 3

    def test_the_map_of_a_first_stop_opens_near_other_routes(self, program, page, route):
        empty = make_route(program, stops=0)
        shown = page.get(url("program_stop_add", program, route=empty.pk))
        assert len(shown.context["map_data"]["features"]) == 3

    def test_a_surveyed_stop_keeps_its_place_whatever_is_posted(
        self, program, observer, page, route
    ):
        make_accepted_visit(route, observer.person)
        stop = route.stops.get(number=1)
        data = self.DATA | {"active_from": "2000-01-01"}
        address = url("program_stop", program, stop=stop.pk)
        page.post(address, data | seen(page, address))
        stop.refresh_from_db()
        assert (stop.name, stop.number) == ("By the culvert", 1)
        assert stop.place.y == 43.0731

    def test_closing_and_moving(self, program, page, route):
        first, second, _ = route.stops.all()
        data = {"last_night": "2025-05-01", "reason": "No safe place to park."}
        page.post(url("program_stop_close", program, stop=first.pk), data)
        data = self.DATA | {"first_night": "2025-05-01", "reason": "New road."}
        page.post(url("program_stop_move", program, stop=second.pk), data)
        closed = Stop.objects.filter(route=route).exclude(active_until=None)
        assert [stop.number for stop in closed] == [1, 2]
        shown = page.get(url("program_route", program, route=route.pk)).content.decode()
        assert "No safe place to park." in shown

    @pytest.mark.parametrize(
        ("local", "night"),
        [("23:00", "2024-04-15"), ("02:00", "2024-04-14"), ("09:00", "2024-04-15")],
    )
    def test_the_night_that_is_offered(self, program, page, route, monkeypatch, local, night):
        """At 2 in the morning it is that of the evening before, in the morning the next one."""
        now = dt.datetime.fromisoformat(f"2024-04-15T{local}-05:00")
        monkeypatch.setattr(timezone, "now", lambda: now)
        first = route.stops.first()
        for name, field in (("close", "last_night"), ("move", "first_night")):
            form = page.get(url(f"program_stop_{name}", program, stop=first.pk)).context["form"]
            assert form[field].value() == dt.date.fromisoformat(night)
        form = page.get(url("program_stop_add", program, route=route.pk)).context["form"]
        assert form["active_from"].value() == dt.date.fromisoformat(night)


def posted(response):
    """The form of a page as a browser would post it back unchanged."""
    data = {"seen": response.context["form"].seen_text}
    forms = [response.context["form"], *response.context["windows"].forms]
    forms.append(response.context["windows"].management_form)
    for form in forms:
        for bound in form:
            value = bound.value()
            if hasattr(bound.field.widget, "widgets"):
                is_typed = isinstance(value, list)
                parts = value if is_typed else bound.field.widget.decompress(value)
                names = bound.field.widget.widgets_names
                data |= {
                    f"{bound.html_name}{name}": part
                    for name, part in zip(names, parts, strict=True)
                }
            elif bound.widget_type == "checkbox":
                data |= {bound.html_name: "on"} if value else {}
            else:
                data[bound.html_name] = value
    return {name: value for name, value in data.items() if value is not None}


class TestProtocols:
    @pytest.fixture
    def version(self, program):
        return make_version(program, in_force_from=dt.date(2025, 1, 1), min_stop_spacing_m=800)

    def test_a_first_one_from_a_preset(self, program, page):
        begin = page.get(url("program_protocol_begin", program))
        for item in begin.context["presets"]:
            code = item["preset"].code
            address = url("program_protocol_add", program, {"preset": code})
            response = page.post(address, posted(page.get(address)))
            assert response.status_code == 302, code
        assert Protocol.objects.count() == len(begin.context["presets"])

    def test_an_unknown_preset(self, program, page):
        address = url("program_protocol_add", program, {"preset": "none"})
        assert page.get(address).status_code == 404

    def test_a_new_version_keeps_what_was_not_touched(self, program, page, version):
        """800 m is shown as 0.5 mi and must stay 800 m."""
        program.distance_unit = "mi"
        program.save()
        address = url("program_version_next", program, version=version.pk)
        data = posted(page.get(address)) | {"in_force_from": "2026-01-01", "max_beaufort": "2"}
        page.post(address, data)
        new = ProtocolVersion.objects.get(number=2)
        assert (new.min_stop_spacing_m, new.max_beaufort) == (800, 2)
        assert [window.name for window in new.windows.all()] == ["Spring"]

    def test_a_window_over_new_year(self, program, page, version):
        address = url("program_version_next", program, version=version.pk)
        data = posted(page.get(address)) | {
            "in_force_from": "2026-01-01",
            "season_begins_day": "1",
            "season_begins_month": "9",
            "windows-0-opens_day": "15",
            "windows-0-opens_month": "12",
            "windows-0-closes_day": "10",
            "windows-0-closes_month": "3",
        }
        page.post(address, data)
        window = ProtocolVersion.objects.get(number=2).windows.get()
        assert (window.opens_month, window.closes_month) == (12, 3)

    def test_one_more_window_saves_nothing_and_loses_nothing(self, program, page, version):
        address = url("program_version_next", program, version=version.pk)
        data = posted(page.get(address)) | {"one_more": "1", "source": "Typed a moment ago"}
        response = page.post(address, data)
        assert len(response.context["windows"].forms) == 2
        assert "Typed a moment ago" in response.content.decode()
        assert ProtocolVersion.objects.count() == 1
        data = posted(response) | {
            "in_force_from": "2026-01-01",
            "windows-1-name": "Summer",
            "windows-1-opens_day": "5",
            "windows-1-opens_month": "7",
            "windows-1-closes_day": "20",
            "windows-1-closes_month": "7",
        }
        page.post(address, data)
        new = ProtocolVersion.objects.get(number=2)
        assert [window.name for window in new.windows.all()] == ["Spring", "Summer"]

    def test_what_it_would_have_asked_is_said_before_it_is_saved(
        self, program, coordinator, page, version
    ):
        route = make_route(program, version=version, code="R7")
        visit = make_submitted(coordinator, route, night=dt.date(2025, 4, 15))
        address = url("program_version_next", program, version=version.pk)
        typed = posted(page.get(address)) | {"in_force_from": "2026-01-01"}
        typed |= {"listening_time": "6", "source": "A trial", "what_if": "1"}
        shown = page.post(address, typed)
        text = " ".join(shown.content.decode().split())
        assert "Season 2025: 1 visit checked. Visits with different questions: 1." in text
        (rule,) = shown.context["what_if"].rules
        assert (rule.gained.total, rule.lost.total) == ("1 visit", "")
        assert url("visit", program, visit_id=visit.pk) in text
        changed = {
            pair.label: (pair.first, pair.second) for pair in shown.context["what_if"].limits
        }
        assert ("5 min", "6 min") in changed.values()
        file = page.post(address, typed | {"what_if": "csv"})
        assert "attachment" in file["Content-Disposition"]
        head, row = csv.reader(file.content.decode().splitlines())
        assert head[2:] == ["Change", "Route", "Night", "Visit"]
        assert row[2:] == ["New question", route.code, "2025-04-15", str(visit.pk)]
        # Nothing is saved, and what was typed is still there.
        assert ProtocolVersion.objects.count() == 1
        assert shown.context["form"]["source"].value() == "A trial"
        wrong = page.post(address, typed | {"listening_time": "0"})
        assert "longer than nothing" in wrong.content.decode()
        assert "what_if" not in wrong.context

    def test_two_versions_are_compared(self, program, page, version):
        address = url("program_versions_compared", program)
        assert "only one version" in page.get(address).content.decode()
        following = url("program_version_next", program, version=version.pk)
        page.post(
            following,
            posted(page.get(following)) | {"in_force_from": "2026-01-01", "max_beaufort": "2"},
        )
        new = ProtocolVersion.objects.get(number=2)
        shown = page.get(address)
        assert shown.context["chosen"] == (version, new)
        different = {pair.label for pair in shown.context["different"]}
        assert different == {"In effect from", "Maximum wind"}
        assert address in page.get(url("program_version", program, version=new.pk)).content.decode()
        same = page.get(address, {"first": new.pk, "second": new.pk})
        assert "have the same limits" in same.content.decode()
        stranger = make_version(make_program())
        refused = page.get(address, {"first": stranger.pk, "second": new.pk})
        assert refused.context["chosen"] is None

    def test_a_window_can_be_left_out(self, program, page):
        version = make_version(
            program,
            windows=[
                {"name": "Early", "closes_month": 4, "closes_day": 1},
                {"name": "Late", "opens_month": 5, "opens_day": 1},
            ],
        )
        address = url("program_version_edit", program, version=version.pk)
        page.post(address, posted(page.get(address)) | {"windows-0-DELETE": "on"})
        assert [window.name for window in version.windows.all()] == ["Late"]

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            ({"windows-0-closes_day": "31", "windows-0-closes_month": "6"}, "June has the days"),
            ({"windows-0-name": ""}, "Check the survey windows"),
            ({"season_begins_month": "4"}, "includes 1 April, the start of the next season"),
            ({"in_force_from": "2024-01-01"}, "has to start on a later day"),
            ({"listening_time": "0"}, "longer than nothing"),
            ({"latest_end_clock": "01:00", "latest_end_after_sunset": "200"}, "either as a clock"),
        ],
    )
    def test_what_is_wrong_is_said(self, program, page, version, changes, said):
        address = url("program_version_next", program, version=version.pk)
        data = posted(page.get(address)) | {"in_force_from": "2026-01-01"}
        shown = page.post(address, data | changes)
        assert said in shown.content.decode()
        assert ProtocolVersion.objects.count() == 1

    def test_a_version_in_use_says_so(self, program, observer, page, version):
        make_accepted_visit(make_route(program, version=version), observer.person)
        shown = page.get(url("program_version", program, version=version.pk))
        assert "It cannot be changed" in shown.content.decode()
        edit = url("program_version_edit", program, version=version.pk)
        assert "can no longer change" in page.get(edit, follow=True).content.decode()

    def test_limits_are_in_the_programs_units(self, program, coordinator, page, version):
        program.distance_unit = "mi"
        program.save()
        shown = page.get(url("program_protocols", program)).content.decode()
        assert "at least 0.5 mi" in shown
        assert "15 March to 30 June" in shown

    def test_the_number_of_queries_does_not_grow(self, program, page, version):
        address = url("program_protocols", program)
        few = queries_of(page, address)
        for _ in range(6):
            make_version(program)
        assert queries_of(page, address) == few


@pytest.fixture
def upper_midwest(program):
    """The catalog, and the program in one of its regions."""
    load_species()
    program.calling_region = CallingRegion.objects.get(code="upper-midwest")
    program.save()


def text_of(response):
    """The words of a page, one space between them."""
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


class TestChecklist:
    def test_adding_from_the_catalog(self, program, page):
        species = make_species("Lithobates sylvaticus", "Wood frog")
        found = page.get(url("program_species_search", program, {"q": "wood"}))
        address = url("program_species_add", program, species=species.code)
        assert address in found.content.decode()
        data = {
            "calls_from_day": "15",
            "calls_from_month": "12",
            "calls_to_day": "10",
            "calls_to_month": "3",
            "sensitivity": "2",
        }
        page.post(address, data)
        shown = page.get(url("program_checklist", program)).content.decode()
        assert "15 December to 10 March" in shown

    def test_a_species_begins_with_the_season_of_the_region(self, program, page, upper_midwest):
        address = url("program_species_add", program, species="lithobates-sylvaticus")
        shown = page.get(address)
        assert "it calls 1 March to 20 May (sure)" in text_of(shown)
        assert "Note: calls for about two weeks" in text_of(shown)
        form = shown.context["form"]
        assert [form[end].value() for end in ("calls_from", "calls_to")] == [
            MonthDay(month=3, day=1),
            MonthDay(month=5, day=20),
        ]

    def test_a_species_of_elsewhere_begins_without_a_season(self, program, page, upper_midwest):
        address = url("program_species_add", program, species="pseudacris-ornata")
        shown = page.get(address)
        assert "In the region" not in text_of(shown)
        assert shown.context["form"]["calls_from"].value() is None

    def test_the_region_in_one_step_with_its_starting_seasons(self, program, page, upper_midwest):
        address = url("program_checklist_table", program)
        assert address in page.get(url("program_checklist", program)).content.decode()
        form = page.get(address).context["form"]
        offered = form["species"].value()
        assert len(offered) > 15
        # Seasons of fixtures/species.json.
        frog = "lithobates-sylvaticus"
        assert form[f"calls_from-{frog}"].value() == MonthDay(month=3, day=1)
        data = untouched(form) | {"listed_from": "2024-03-01", "species": offered[:3]}
        data |= seen(page, address)
        page.post(address, data)
        assert set(program.checklist.values_list("species__code", flat=True)) == {*offered[:3]}
        assert {entry.listed_from for entry in program.checklist.all()} == {dt.date(2024, 3, 1)}

    def test_the_list_is_changed_and_added_to_in_one_table(self, program, page, upper_midwest):
        address, frog = url("program_checklist_table", program), "lithobates-sylvaticus"
        listed = Species.objects.get(code="pseudacris-crucifer")
        entry = ChecklistEntry.objects.create(
            program=program, species=listed, order=1, listed_from=dt.date(2020, 3, 1)
        )
        form = page.get(address).context["form"]
        assert form["species"].value() == []
        data = untouched(form) | seen(page, address)
        data |= {
            f"calls_from-{listed.code}_day": "5",
            f"calls_from-{listed.code}_month": "4",
            f"calls_to-{listed.code}_day": "",
            f"calls_to-{listed.code}_month": "",
            "species": [frog],
            f"sensitivity-{frog}": "2",
        }
        refused = page.post(address, data)
        assert "Give both ends of the season" in text_of(refused)
        assert refused.context["form"]["species"].value() == [frog]
        assert program.checklist.count() == 1
        data |= {f"calls_to-{listed.code}_day": "1", f"calls_to-{listed.code}_month": "6"}
        told = text_of(page.post(address, data, follow=True))
        assert "The checklist is saved. Changed: 1. Added: 1." in told
        entry.refresh_from_db()
        assert entry.calling_season == (MonthDay(month=4, day=5), MonthDay(month=6, day=1))
        assert entry.listed_from == dt.date(2020, 3, 1)
        assert program.checklist.get(species__code=frog).sensitivity == 2
        # What the page showed is stale now.
        assert "is on the list now" in text_of(page.post(address, data))
        stale = page.post(address, data | {"species": []})
        assert "while you had this page open" in text_of(stale)

    def test_the_table_asks_before_silence_becomes_zeros(
        self, program, page, upper_midwest, observer
    ):
        make_accepted_visit(make_route(program), observer.person, night=dt.date(2024, 4, 2))
        address = url("program_checklist_table", program)
        form = page.get(address).context["form"]
        data = untouched(form) | {"species": form["species"].value()[:2], "listed_from": ""}
        data |= seen(page, address)
        asked = text_of(page.post(address, data))
        assert "Silence on 1 past visit would become a zero" in asked
        assert "Observers listened for it on those visits" in asked
        assert not program.checklist.exists()
        page.post(address, data | {"listened": "on"})
        assert program.checklist.count() == 2

    def test_no_species_checked(self, program, page, upper_midwest):
        address = url("program_checklist_table", program)
        data = untouched(page.get(address).context["form"]) | {"species": []}
        assert "Check the species that observers listen for." in text_of(page.post(address, data))
        assert not program.checklist.exists()

    def test_without_a_region_it_says_where_to_choose_one(self, program, page):
        shown = page.get(url("program_checklist_table", program)).content.decode()
        assert "Your program has no calling region yet." in shown
        assert url("program_facts", program) in shown

    def test_half_a_season_is_refused(self, program, page):
        species = make_species("Lithobates sylvaticus", "Wood frog")
        address = url("program_species_add", program, species=species.code)
        data = {"calls_from_day": "15", "calls_from_month": "12", "sensitivity": "0"}
        shown = page.post(address, data).content.decode()
        assert "Give both ends of the season" in shown

    def test_a_joint_entry_names_its_members(self, program, page):
        gray, cope = make_species("Hyla versicolor", "Gray"), make_species("Hyla b", "Cope's")
        joint = make_joint_entry("Hyla of two kinds", gray, cope)
        address = url("program_species_add", program, species=joint.code)
        shown = " ".join(html.unescape(page.get(address).content.decode()).split())
        assert "joint entry for Cope's, Gray" in shown
        other = page.get(url("program_species_add", program, species=gray.code))
        assert "joint entry" not in other.content.decode()

    def test_taking_off(self, program, page):
        make_checklist(program)
        entry = program.checklist.get()
        address = url("program_entry_take_off", program, entry=entry.pk)
        page.post(address, {"listed_until": "2025-06-30"} | seen(page, address))
        shown = page.get(url("program_checklist", program)).content.decode()
        assert "until 30 June 2025" in shown
        assert "The checklist is empty" in shown

    def test_the_number_of_queries_does_not_grow(self, program, page):
        address = url("program_checklist", program)
        make_checklist(program)
        few = queries_of(page, address)
        make_checklist(program, *(f"Hyla species{number}" for number in range(15)))
        assert queries_of(page, address) == few
