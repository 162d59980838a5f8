"""Dates and clock times on the screens, in the way of the program."""

import datetime as dt
import html
import io

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from accounts.access import LAST_PROGRAM
from accounts.invitations import issue
from accounts.models import Role
from surveys.dates import style
from surveys.models import Assignment, CallingRegion, Visit
from tests.support.builders import (
    make_accepted_visit,
    make_program,
    make_route,
    make_species,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def program():
    return make_program(clock_style="12", date_order="mdy")


@pytest.fixture
def route(program, observer):
    version = make_version(
        program, latest_end_clock=dt.time(1, 0), windows=[{"name": "Early"}], settling_wait_s=60
    )
    route = make_route(program, version=version, stops=3)
    Assignment.objects.create(route=route, observer=observer.person, season_year=2024)
    return route


@pytest.fixture
def pages(client, coordinator):
    client.force_login(coordinator.person)

    def read(path: str) -> str:
        page = client.get(path)
        assert page.status_code == 200, path
        return " ".join(html.unescape(page.content.decode()).split())

    return read


def test_tonight_and_its_sheet(program, route, client, pages):
    address = f"/{program.slug}/tonight/{route.code}/"
    page = pages(f"{address}?night=2024-04-15")
    assert "Monday, April 15, 2024" in page
    assert "1:00 am" in page
    assert "01:00" not in page
    assert 'data-clock="12" data-date-order="mdy"' in page
    pdf = client.get(f"{address}sheet.pdf?paper=letter&night=2024-04-15").content
    sheet = PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "Apr 15, 2024" in sheet
    assert "01:00" not in sheet


def test_a_visit(program, route, observer, pages):
    visit = make_accepted_visit(route, observer.person)
    Visit.objects.filter(pk=visit.pk).update(
        night=dt.date(2024, 4, 5), submitted_at=dt.datetime(2024, 4, 6, 3, 14, tzinfo=dt.UTC)
    )
    page = pages(f"/{program.slug}/visits/{visit.pk}/")
    assert "Friday, April 5, 2024" in page
    assert "5 April" not in page


def test_the_settings_are_changed(program, client, coordinator):
    client.force_login(coordinator.person)
    address = reverse("web:program_facts", kwargs={"program": program.slug})
    form = client.get(address).context["form"]
    seen = {"seen": form.seen_text}
    answer = client.post(address, form.initial | seen | {"clock_style": "24", "date_order": "ymd"})
    assert answer.status_code == 302
    program.refresh_from_db()
    assert (program.clock_style, program.date_order) == ("24", "ymd")


def test_a_sheet_is_started_by_a_date_in_the_order_of_the_program(program, route, observer, client):
    client.force_login(observer.person)
    client.post(f"/{program.slug}/sheets/new/", {"route": route.code, "night": "3/12/2024"})
    assert Visit.objects.get().night == dt.date(2024, 3, 12)


def test_an_invitation(program, coordinator):
    issued = issue(
        program,
        email="new@example.org",
        name="",
        role=Role.OBSERVER,
        site_url="https://example.org",
        invited_by=None,
    )
    ends = issued.invitation
    ends.expires_at = dt.datetime(2020, 4, 6, 3, 0, tzinfo=dt.UTC)
    ends.save()
    page = Client().get(issued.link.removeprefix("https://example.org"))
    # The evening before in Chicago.
    assert "April 5, 2020" in page.content.decode()


def test_a_page_outside_programs_has_the_dates_of_the_program_that_was_opened_last(
    program, observer, client
):
    region = CallingRegion.objects.create(code="marshes", name="Marshes")
    region.species.create(
        species=make_species(),
        mark="sure",
        calls_from_month=3,
        calls_from_day=20,
        calls_to_month=5,
        calls_to_day=5,
    )
    client.force_login(observer.person)
    assert "March 20 to May 5" in client.get("/guide/species/marshes/").content.decode()
    program.date_order = "dmy"
    program.save()
    client.cookies[LAST_PROGRAM] = program.slug
    assert "20 March to 5 May" in client.get("/guide/species/marshes/").content.decode()
    assert style().order == "dmy", "the request has left its style behind"


def test_machines_get_iso_dates(program, route, observer, pages):
    make_accepted_visit(route, observer.person)
    assert "2024-04-15" in (page := pages(reverse("api:visits", kwargs={"program": program.slug})))
    assert "April" not in page
