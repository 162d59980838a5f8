"""Publications: list, page, files and the publish form."""

import datetime as dt
import hashlib

import pytest
from django.urls import reverse

from surveys.models import (
    BackgroundRun,
    Publication,
    RunState,
    VisitState,
)
from surveys.publishing.exceptions import NothingChanged
from surveys.publishing.files import (
    CHECKSUMS,
    METHOD,
)
from surveys.runs.work import fail
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.publishing import (
    build_what_waits,
    publish_now,
)

TABLE = "data/yearly.csv"

pytestmark = pytest.mark.django_db


def url(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


@pytest.fixture
def route(program, observer):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program)
    make_accepted_visit(route, observer.person, heard={1: {peeper: 1}})
    return route


@pytest.fixture
def publication(coordinator, route):
    return publish_now(coordinator, 2024)


def file_url(publication, kind):
    return url(
        "publication_file",
        publication.program,
        season_year=publication.season_year,
        version=publication.version,
        kind=kind,
    )


def test_list_and_page(program, publication, partner, client_for):
    client = client_for(partner)
    assert publication.title in client.get(url("publications", program)).content.decode()
    page = client.get(url("publication", program, season_year=2024, version=1))
    text = page.content.decode()
    assert publication.sha256 in text
    assert "Pseudacris crucifer" in text
    # Partners do not see who is behind a table.
    assert publication.published_by.name not in text


@pytest.mark.parametrize("kind", [TABLE, "data/calls.csv", METHOD, CHECKSUMS])
def test_files_never_change_and_say_so(publication, partner, client_for, kind):
    client = client_for(partner)
    response = client.get(file_url(publication, kind))
    checksum = hashlib.sha256(response.getvalue()).hexdigest()
    assert response["ETag"] == f'"{checksum}"'
    assert response["Cache-Control"] == "private, no-store"
    assert response["Content-Disposition"].startswith("attachment")
    again = client.get(file_url(publication, kind), headers={"If-None-Match": response["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize(
    ("asked", "status", "part"),
    [
        # RFC 9110: 14.1.2, byte ranges; the last one within and across the pieces of 50 bytes.
        ("bytes=0-9", 206, slice(0, 10)),
        ("bytes=40-60", 206, slice(40, 61)),
        ("bytes=50-99", 206, slice(50, 100)),
        ("bytes=10-", 206, slice(10, None)),
        ("bytes=-7", 206, slice(-7, None)),
        ("bytes=5-2", 200, slice(None)),
        ("bytes=999999999-", 416, slice(0, 0)),
    ],
)
def test_parts_of_a_file(monkeypatch, coordinator, route, partner, client_for, asked, status, part):
    monkeypatch.setattr("surveys.publishing.files.PIECE", 50)
    publication, client = publish_now(coordinator, 2024), client_for(partner)
    address = file_url(publication, METHOD)
    whole = client.get(address)
    body = whole.getvalue()
    assert len(body) > 200
    assert whole["Accept-Ranges"] == "bytes"
    answer = client.get(address, headers={"Range": asked})
    assert (answer.status_code, answer.getvalue()) == (status, body[part])
    if status == 206:
        first, last = range(len(body))[part][0], range(len(body))[part][-1]
        assert answer["Content-Range"] == f"bytes {first}-{last}/{len(body)}"
        assert int(answer["Content-Length"]) == last - first + 1
        assert answer["Cache-Control"] == "private, no-store"
        # 13.1.5, If-Range: another state of the file, a weak checksum or a date give all of it.
        for state, expected in (
            (whole["ETag"], 206),
            ('"another"', 200),
            (f"W/{whole['ETag']}", 200),
            ("Wed, 21 Oct 2015 07:28:00 GMT", 200),
        ):
            again = client.get(address, headers={"Range": asked, "If-Range": state})
            assert (again.status_code, again.has_header("Content-Range")) == (
                expected,
                expected == 206,
            )
    elif status == 416:
        # 15.5.17: the length that there is.
        assert answer["Content-Range"] == f"bytes */{len(body)}"


def test_the_list_of_checksums_is_vouched_for(publication, partner, client_for):
    client = client_for(partner)
    sums = client.get(file_url(publication, CHECKSUMS)).getvalue()
    assert hashlib.sha256(sums).hexdigest() == publication.sha256
    for line in sums.decode().splitlines():
        checksum, kind = line.split("  ")
        content = client.get(file_url(publication, kind)).getvalue()
        assert hashlib.sha256(content).hexdigest() == checksum


def test_no_other_file(publication, partner, client_for):
    assert client_for(partner).get(file_url(publication, "cells.csv")).status_code == 404


def form_data(response, **data):
    form = response.context["form"]
    return {"year": "2024", "seen": form["seen"].value(), **data}


def test_publish_from_the_form(program, route, coordinator, client_for):
    client = client_for(coordinator)
    page = client.get(url("publish", program))
    response = client.post(url("publish", program), form_data(page))
    run = BackgroundRun.objects.get()
    assert response["Location"] == url("publishing_run", program, run_id=run.pk)
    assert "Waiting in line" in client.get(response["Location"]).content.decode()
    assert "being published" in client.get(url("publications", program)).content.decode()
    build_what_waits()
    done = client.get(response["Location"], headers={"HX-Request": "true"}).content.decode()
    assert "Version 1 is published" in done
    assert "<html" not in done
    assert "hx-get" not in done
    published = Publication.objects.get()
    assert url("publication", program, season_year=2024, version=1) in done
    assert (published.version, published.published_by) == (1, coordinator.person)


def test_a_run_says_why_there_is_no_publication(program, publication, coordinator, client_for):
    client = client_for(coordinator)
    page = client.get(url("publish", program))
    answer = client.post(url("publish", program), form_data(page, reason="Just because."))
    with pytest.raises(NothingChanged) as refusal:
        build_what_waits()
    fail(BackgroundRun.objects.latest("pk"), str(refusal.value), RunState.REFUSED)
    text = client.get(answer["Location"]).content.decode()
    assert "It was not published." in text
    assert "Nothing in the tables has changed since version 1" in text
    assert "Nothing in the tables" in client.get(url("publish", program)).content.decode()


def test_what_is_open_comes_first(program, route, observer, coordinator, client_for):
    visit = make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2024, 5, 1),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    visit.findings.create(code="too-cold", severity="query", message_as_stored="It was cold.")
    visit.findings.create(code="too-cold", severity="note", message_as_stored="A note.")
    other = make_route(program, code="Z9", version=route.protocol.versions.get())
    text = client_for(coordinator).get(url("publish", program)).content.decode()
    assert "In review: 1 visit<" in text
    assert "Unresolved: 1 question<" in text
    assert "It was cold." in text
    assert "A note." not in text
    assert "Missing: 1 visit<" in text
    assert f"<strong>{other.code}</strong>" in text
    assert text.count(url("review_visit", program, visit=visit.pk)) == 2


def test_visits_in_review_come_first_and_must_be_acknowledged(
    program, route, observer, coordinator, client_for
):
    make_accepted_visit(
        route,
        observer.person,
        night=dt.date(2024, 5, 1),
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )
    client = client_for(coordinator)
    page = client.get(url("publish", program))
    assert "In review: 1 visit<" in page.content.decode()
    refused = client.post(url("publish", program), form_data(page))
    assert refused.status_code == 422
    assert "Check this box to publish without them" in refused.content.decode()
    client.post(url("publish", program), form_data(page, without_open="on"))
    build_what_waits()
    assert Publication.objects.count() == 1


def test_a_correction_needs_a_reason(
    program, publication, observer, route, coordinator, client_for
):
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 1))
    client = client_for(coordinator)
    page = client.get(url("publish", program))
    refused = client.post(url("publish", program), form_data(page, reason=" "))
    assert "Readers of the earlier version need to know" in refused.content.decode()
    client.post(url("publish", program), form_data(page, reason="A late visit."))
    build_what_waits()
    assert Publication.objects.get(version=2).reason == "A late visit."
    old = client.get(url("publication", program, season_year=2024, version=1))
    assert "A newer version replaces this one" in old.content.decode()


def test_a_table_that_changed_in_between_is_shown_again_and_keeps_what_was_typed(
    program, publication, observer, route, coordinator, client_for
):
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 1))
    client = client_for(coordinator)
    page = client.get(url("publish", program))
    data = form_data(page, reason="A late visit.")
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 9))
    refused = client.post(url("publish", program), data)
    text = refused.content.decode()
    assert "The table has changed since you looked at it" in text
    assert "A late visit." in text
    client.post(url("publish", program), form_data(refused, reason="A late visit."))
    build_what_waits()
    assert Publication.objects.filter(version=2).exists()


def test_nothing_to_publish(program, coordinator, client_for):
    text = client_for(coordinator).get(url("publish", program)).content.decode()
    assert "There is nothing to publish yet" in text


@pytest.mark.parametrize("year", ["1999", "abc", "", "99999999999", "²⁰²⁴"])
def test_a_year_that_is_not_there_falls_back_to_the_last(
    program, route, coordinator, client_for, year
):
    page = client_for(coordinator).get(url("publish", program), {"year": year})
    assert page.context["season_year"] == 2024


def test_only_coordinators_may_publish(program, route, observer, partner, client_for, client):
    for member in (observer, partner):
        assert client_for(member).get(url("publish", program)).status_code == 403
        assert client_for(member).post(url("publish", program)).status_code == 403
    assert client.get(url("publish", program)).status_code == 302


def test_strangers_may_not(program, publication, client_for, client):
    stranger = client_for(make_member(make_program()))
    for path in (
        url("publications", program),
        url("publication", program, season_year=2024, version=1),
        file_url(publication, TABLE),
    ):
        assert stranger.get(path).status_code == 404
        assert client.get(path).status_code == 302


def test_list_query_count_does_not_grow(
    program, publication, observer, route, coordinator, client_for, django_assert_num_queries
):
    client = client_for(coordinator)
    client.get(url("publications", program))
    for day in (1, 9):
        with django_assert_num_queries(7):
            client.get(url("publications", program))
        make_accepted_visit(route, observer.person, night=dt.date(2024, 5, day))
        publish_now(coordinator, 2024, "Another late visit.")
