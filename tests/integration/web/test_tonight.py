"""Tonight: what the observer sees before going out."""

import datetime as dt
import io
import itertools
import re

import pytest
from django.utils import timezone
from pypdf import PdfReader

from surveys.models import (
    Assignment,
    ChecklistEntry,
    Program,
    ReviewStep,
    Route,
    Species,
    Step,
    VisitState,
)
from surveys.protocol.nights import night_of
from surveys.protocol.weather import BEAUFORT, CALL_INDEX, NOISE, SKY
from surveys.visits.drafts import start_visit
from surveys.visits.judging import read_and_judge
from surveys.visits.loading import checklist_on
from surveys.visits.tonight import (
    route_on_night,
    tonight_for,
)
from surveys.web.sheets.grid import build_layout
from surveys.web.tonight.fieldsheet import field_sheet_html, field_sheet_pdf
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_member,
    make_own_field,
    make_person,
    make_program,
    make_route,
    make_version,
)

# 15 April 2024, 18:00 in Chicago.
EVENING = dt.datetime(2024, 4, 15, 23, 0, tzinfo=dt.UTC)
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def route(program, observer):
    version = make_version(
        program,
        earliest_start_after_sunset_min=30,
        latest_end_clock=dt.time(1, 0),
        settling_wait_s=60,
        windows=[
            {
                "name": "Early",
                "opens_month": 4,
                "opens_day": 1,
                "closes_month": 4,
                "closes_day": 30,
            },
            {"name": "Late", "opens_month": 6, "opens_day": 1, "closes_month": 6, "closes_day": 30},
        ],
    )
    route = make_route(program, version=version, stops=10)
    Assignment.objects.create(route=route, observer=observer.person, season_year=2024)
    return route


def test_hours_of_the_night(route, observer):
    """Sunset 43.0731 N 89.4012 W on 15 April 2024: 00:40:57 UTC (reference library, DE421)."""
    (route_tonight,) = tonight_for(observer, EVENING).routes
    sunset = dt.datetime(2024, 4, 16, 0, 40, 57, tzinfo=dt.UTC)
    assert abs(route_tonight.sky.sunset - sunset) < dt.timedelta(minutes=2)
    # Half an hour after 00:40:57, to the minute, rounded up.
    assert route_tonight.earliest_start == dt.datetime(2024, 4, 16, 1, 11, tzinfo=dt.UTC)
    assert route_tonight.latest_end == dt.datetime(2024, 4, 16, 6, 0, tzinfo=dt.UTC)
    assert 0.4 < route_tonight.moon.lit_share < 0.65


def test_windows_are_open_visited_or_ahead(route, observer):
    (route_tonight,) = tonight_for(observer, EVENING).routes
    assert (route_tonight.open_window.name, route_tonight.open_window.visited) == ("Early", False)
    assert route_tonight.next_window.name == "Late"
    make_accepted_visit(route, observer.person, night=dt.date(2024, 4, 10))
    (route_tonight,) = tonight_for(observer, EVENING).routes
    assert route_tonight.open_window.visited


def test_only_this_seasons_assignments_count(route, observer):
    Assignment.objects.update(season_year=2023)
    assert tonight_for(observer, EVENING).routes == ()


def test_route_without_a_protocol_in_force_is_left_out(route, observer):
    assert route_on_night(observer, route.code, dt.date(1999, 4, 15)) is None


def test_sent_back_visit_shows_the_note(route, observer, coordinator):
    visit = make_accepted_visit(
        route, observer.person, night=NIGHT, state=VisitState.SENT_BACK, counts_in_trends=False
    )
    ReviewStep.objects.create(
        visit=visit,
        step=Step.SENT_BACK,
        by=coordinator.person,
        at=EVENING,
        revision=2,
        note="Was stop 3 really skipped?",
    )
    ((visit, note),) = tonight_for(observer, EVENING).sent_back
    assert (visit, note) == (visit, "Was stop 3 really skipped?")


def test_page_names_routes_cautions_and_limits(client_for, route, observer):
    Assignment.objects.update(season_year=night_of(timezone.now(), "America/Chicago").year)
    page = client_for(observer).get(f"/{route.program.slug}/tonight/").content.decode()
    assert route.name in page
    assert "Before you go out" in page
    # What "Save tonight" registers; without the second one no other address leads to the survey.
    assert f'data-worker="/{route.program.slug}/survey/sw.js"' in page
    assert 'data-offline="/offline.js"' in page
    # The bar of every page leads there too.
    bar = page.partition('class="nav__list"')[2].partition("</nav>")[0]
    assert f'href="/{route.program.slug}/survey/"' in bar
    detail = client_for(observer).get(
        f"/{route.program.slug}/tonight/{route.code}/?night=2024-04-15"
    )
    assert detail.status_code == 200
    page = detail.content.decode()
    assert "30 min after sunset" in page
    assert "Stop 10" in page
    assert '"LineString"' in page
    # It does nothing before its script is there.
    assert "data-take-button hidden" in page


@pytest.mark.parametrize(("paper", "size"), [("a4", (842, 595)), ("letter", (792, 612))])
def test_field_sheet_is_one_page_and_one_for_safety(
    client_for, route, observer, program, paper, size
):
    make_checklist(
        program,
        "Pseudacris crucifer",
        "Lithobates sylvaticus",
        "Anaxyrus americanus",
        "Dryophytes versicolor",
        "Lithobates clamitans",
        "Lithobates catesbeianus",
        "Lithobates pipiens",
        "Pseudacris maculata",
        "Acris blanchardi",
        "Lithobates palustris",
        "Lithobates septentrionalis",
        "Dryophytes chrysoscelis",
    )
    Species.objects.filter(code="dryophytes-chrysoscelis").update(is_complex=True)
    Program.objects.filter(pk=program.pk).update(
        emergency_contact="Duty phone, 555-0134", local_rules="No dogs."
    )
    Route.objects.filter(pk=route.pk).update(access_notes="Gate at the mill.")
    for stop in route.stops.all():
        stop.road, stop.county = f"Mill Lane {stop.number}", "Alder County"
        stop.save()
    response = client_for(observer).get(
        f"/{program.slug}/tonight/{route.code}/sheet.pdf?paper={paper}&night=2024-04-15"
    )
    assert response["Content-Type"] == "application/pdf"
    page, safety = PdfReader(io.BytesIO(response.content)).pages
    assert (round(page.mediabox.width), round(page.mediabox.height)) == size
    text = " ".join(page.extract_text().split())
    assert route.name in text
    assert "hazard lights on wherever others could come upon the car" in text
    assert "In an emergency call 911." in text
    text = " ".join(safety.extract_text().split())
    for words in ("go in pairs", "Alligators:", "Call 911", "Duty phone, 555-0134", "No dogs.",
                  "Gate at the mill.", "Listening time 5 min"):  # fmt: skip
        assert words in text
    for stop in route.stops.all():
        assert f"Mill Lane {stop.number}, Alder County" in text
        assert f"{stop.place.y:.5f}, {stop.place.x:.5f}" in text


@pytest.mark.parametrize(("unit", "rain_unit"), [("C", "mm"), ("F", "in")])
def test_the_field_sheet_asks_for_rain_in_the_programs_unit(
    client_for, route, observer, program, unit, rain_unit
):
    program.temperature_unit = unit
    program.save()
    response = client_for(observer).get(
        f"/{program.slug}/tonight/{route.code}/sheet.pdf?paper=letter&night=2024-04-15"
    )
    page, _ = PdfReader(io.BytesIO(response.content)).pages
    text = " ".join(page.extract_text().split())
    assert "(T = trace)" in text
    assert re.search(r"trace\).{0,40}\b(in|mm)\b", text)[1] == rain_unit


def test_route_of_another_program_is_a_404(client_for, route, observer):
    other = make_program()
    outsider = make_member(other)
    client = client_for(outsider)
    assert client.get(f"/{route.program.slug}/tonight/{route.code}/").status_code == 404
    assert client.get(f"/{other.slug}/tonight/{route.code}/").status_code == 404


def test_number_of_queries_does_not_grow_with_routes(
    route, observer, program, django_assert_max_num_queries
):
    version = route.protocol.versions.get()
    for _ in range(8):
        more = make_route(program, version=version)
        Assignment.objects.create(route=more, observer=observer.person, season_year=2024)
    with django_assert_max_num_queries(13):
        assert len(tonight_for(observer, EVENING).routes) == 9


def test_the_field_sheet_says_what_a_joint_entry_leaves_open(client_for, route, observer, program):
    gray, cope = make_checklist(program, "Hyla versicolor", "Hyla chrysoscelis")

    def sheet():
        response = client_for(observer).get(
            f"/{program.slug}/tonight/{route.code}/sheet.pdf?paper=letter&night=2024-04-15"
        )
        page, _ = PdfReader(io.BytesIO(response.content)).pages
        return " ".join(page.extract_text().split())

    words = "Where you fill in a joint entry, leave its species blank: that is unknown, not 0."
    assert words not in sheet()
    joint = make_joint_entry("Hyla of two kinds", gray, cope)
    ChecklistEntry.objects.create(program=program, species=joint, order=3)
    assert words in sheet()


def test_the_field_sheet_has_room_for_the_own_fields_of_the_night(
    client_for, route, observer, program
):
    make_own_field(program, "Salinity", unit="ppt", help="At the edge.")
    make_own_field(program, "Shore", kind="choice", choices=[["a", "Reed bed"], ["b", "Open"]])
    make_own_field(program, "Led by", kind="text", per="visit")
    make_own_field(program, "Ended", asked_until=dt.date(2024, 4, 14))
    make_own_field(make_program(), "Of the neighbor")
    response = client_for(observer).get(
        f"/{program.slug}/tonight/{route.code}/sheet.pdf?paper=letter&night=2024-04-15"
    )
    front, back = words_of(response.content)
    assert "Salinity, ppt" in front
    assert "Led by ____" in front
    assert "Salinity: At the edge; Shore: Reed bed, Open" in back
    assert "Ended" not in front + back
    assert "Of the neighbor" not in front + back


def test_the_paper_has_the_columns_of_the_screen_in_its_order(observer, program):
    """Whoever types a paper sheet in goes through both from left to right."""
    windows = [{"name": "Spring", "min_water_temperature": 50}]
    route = make_route(program, version=make_version(program, windows=windows))
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    make_own_field(program, "Salinity", unit="ppt")
    sheet = field_sheet_html(
        route_on_night(observer, route.code, NIGHT), observer, program.checklist.all()
    )
    grid = sheet.partition('<table class="grid">')[2].partition("</thead>")[0]
    heads = re.findall(r"<th[^>]*>(.*?)</th>", grid, re.DOTALL)
    paper = [" ".join(re.sub(r"<[^>]*>", "", head).split()) for head in heads]
    draft = start_visit(observer, route=route, night=NIGHT)
    screen = [column.heading for column in build_layout(draft, read_and_judge(draft)).grid.columns]
    # On paper a reason in its column says that a stop was skipped.
    assert [head for head in paper if head] == [
        "Stop", *(heading for heading in screen if heading != "Surveyed or skipped")
    ]  # fmt: skip


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_codes_are_on_the_back(observer, program, paper):
    """All that the protocol core knows, and nothing of it on the side that is filled in."""
    windows = [{"name": "Spring"}]
    codes = {"sky_codes": {"7": "snow"}, "noise_codes": {"B": "loud_only"}}
    route = make_route(program, version=make_version(program, windows=windows, **codes))
    checklist = make_checklist(program, "Pseudacris crucifer")
    tonight = route_on_night(observer, route.code, NIGHT)
    front, back = words_of(field_sheet_pdf(tonight, observer, checklist_on(program, NIGHT), paper))
    assert checklist[0].name in front
    signs = [
        *(f"{index} {words}" for index, words in CALL_INDEX.items()),
        *(f"{row.force} {row.sign}" for row in BEAUFORT[:7]),
        *(f"{words.name} {words.sign}" for words in (*SKY.values(), *NOISE.values())),
        "7 snow snow or sleet",
        "B only loud calls",
        "D dry, P pools in low spots only, F full, N not seen",
        "unsafe to stop, road closed",
    ]
    assert [sign for sign in signs if sign not in back] == []
    assert [sign for sign in signs if sign in front] == []
    assert "Codes for calls, wind, sky, noise and water are on the back." in front


def words_of(pdf):
    """The words of each of the two sides."""
    front, back = PdfReader(io.BytesIO(pdf)).pages
    return [" ".join(page.extract_text().split()) for page in (front, back)]


LONG = "Narrow-mouthed lowland pinewoods chorus frog of the far coast"


@pytest.mark.parametrize(("others", "paper"), [(9, "letter"), (20, "letter"), (9, "a4")])
def test_long_names_are_printed_whole_and_not_over_each_other(observer, program, others, paper):
    """Names of 61 to 80 letters on the two sides of a sheet, on a usual checklist and a long one,
    also one without a space."""
    for number in range(others + 3):
        name = f"{LONG[:-1]}{number}" if number % 8 == 0 else f"Calling frog {number:02}"
        species = Species.objects.create(
            code=f"of-{number}", scientific_name=f"Rana no {number}", common_name=name
        )
        ChecklistEntry.objects.create(program=program, species=species, order=number)
    route = make_route(program, stops=10)
    route.name = f"{LONG} and its bays"
    route.save()
    for stop in route.stops.all():
        name = LONG.replace(" ", "") if stop.number == 4 else f"{LONG}, north landing"
        stop.name, stop.road = f"{name} {stop.number}", f"Road to the {LONG}"
        stop.save()
    tonight = route_on_night(observer, route.code, NIGHT)
    pdf = field_sheet_pdf(tonight, observer, checklist_on(program, NIGHT), paper)
    page, safety = PdfReader(io.BytesIO(pdf)).pages
    lines = []

    def seen(text, cm, tm, _font, size):
        across = tm[0] * cm[1] + tm[1] * cm[3]
        if text.strip() and abs(across) > 0.5:  # turned by a quarter
            lines.append((cm[0] * tm[4] + cm[2] * tm[5] + cm[4], size * abs(across), text))

    page.extract_text(visitor_text=seen)
    lines.sort()
    assert len(lines) > others
    for (left, _, one), (right, size, other) in itertools.pairwise(lines):
        assert right - left > 0.85 * size, (one, other)
    words = "".join(text for _, _, text in lines).replace(" ", "")
    assert "Callingfrog01" in words
    for text in (page.extract_text(), safety.extract_text()):
        for stop in route.stops.all():
            assert stop.name.replace(" ", "") in "".join(text.split())


LONGEST = f"{LONG}, by the sandy landing of the old mill on the second bayou,".ljust(120, "y")


@pytest.mark.parametrize(("others", "paper"), [(9, "a4"), (18, "letter")])
def test_names_of_the_longest_kind_are_printed_whole_on_two_sides(observer, program, others, paper):
    """Route, stops, roads, species and people of 120 letters."""
    for number in range(others + 3):
        name = f"{LONGEST[:-2]}{number:02}" if number % 4 == 0 else f"Calling frog {number:02}"
        species = Species.objects.create(
            code=f"of-{number}", scientific_name=f"Rana no {number}", common_name=name
        )
        ChecklistEntry.objects.create(program=program, species=species, order=number)
    route = make_route(program, stops=10)
    route.name = LONGEST
    route.save()
    route.stops.update(name=LONGEST, road=LONGEST, county=LONGEST)
    observer.person.name = LONGEST.replace("Narrow", "Observer")[:120]
    observer.person.save()
    tonight = route_on_night(observer, route.code, NIGHT)
    pdf = field_sheet_pdf(tonight, observer, checklist_on(program, NIGHT), paper)
    page, safety = PdfReader(io.BytesIO(pdf)).pages
    turned = []

    def seen(text, cm, tm, _font, size):
        across = tm[0] * cm[1] + tm[1] * cm[3]
        left = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
        right_edge = page.mediabox.width - left
        assert right_edge > 0, text
        if text.strip() and abs(across) > 0.01:  # turned by a quarter
            turned.append((left, size * abs(across), text))

    page.extract_text(visitor_text=seen)
    turned.sort()
    assert len(turned) > others
    for (left, _, one), (right, size, other) in itertools.pairwise(turned):
        assert right - left > 0.85 * size, (one, other)
    for number in range(0, others + 3, 4):
        name = f"{LONGEST[:-2]}{number:02}".replace(" ", "")
        assert name in "".join("".join(text for _, _, text in turned).split())
    for text in (page.extract_text(), safety.extract_text()):
        assert "".join(text.split()).count(LONGEST.replace(" ", "")) >= 10
    assert observer.person.name.replace(" ", "") in "".join(page.extract_text().split())


def test_why_a_window_counts_as_visited_and_when_the_next_visit_may_be(client_for, route, observer):
    route.protocol.versions.update(min_days_between_visits=15)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 4, 5))
    url = f"/{observer.program.slug}/tonight/{route.code}/"
    page = client_for(observer).get(f"{url}?night=2024-04-15").content.decode()
    assert "Visited on the night of 5 April 2024." in page
    assert "You can visit again from 20 April 2024." in page
    page = client_for(observer).get(f"{url}?night=2024-04-25").content.decode()
    assert "You can visit again" not in page


def test_each_card_can_be_saved_and_each_stop_found(client_for, route, observer, coordinator):
    """Addresses of places: RFC 5870."""
    home = f"/{observer.program.slug}/tonight/"
    page = client_for(make_member(observer.program)).get(home).content.decode()
    assert f"Coordinators: {coordinator.person.name}." in page
    tonight = night_of(timezone.now(), "America/Chicago")
    Assignment.objects.update_or_create(
        route=route, observer=observer.person, season_year=tonight.year
    )
    page = client_for(observer).get(home).content.decode()
    assert f'data-packet="/{observer.program.slug}/survey/packets/{route.code}.json"' in page
    stop = route.stops.get(number=1)
    page = client_for(observer).get(f"{home}{route.code}/").content.decode()
    assert f'href="geo:{stop.place.y:.5f},{stop.place.x:.5f}"' in page


def test_a_recent_draft_of_somebody_else_is_told(client_for, route, observer, program):
    other = make_member(program, person=make_person("Lee Sedge"))
    for member, night in (
        (observer, dt.date(2024, 4, 14)),
        (other, dt.date(2024, 4, 12)),
        (other, dt.date(2024, 3, 31)),
    ):
        start_visit(member, route=route, night=night)
    page = client_for(observer).get(f"/{program.slug}/tonight/{route.code}/?night=2024-04-15").text
    assert "Lee Sedge began a visit on the night of 12 April 2024." in page
    assert page.count("began a visit on the night of") == 1
