"""The calendar by a secret link: whose days it holds, and when it ends."""

import datetime as dt

import pytest
from django.http import Http404
from django.test import Client

from surveys.models import Assignment, CalendarLink
from surveys.programs.assignments import current_season_year
from surveys.reminders.calendars import (
    calendar_url,
    member_by_link,
    renew_calendar,
    revoke_calendar,
)
from tests.support.builders import make_accepted_visit, make_route, make_version

pytestmark = pytest.mark.django_db


@pytest.fixture
def routes(program, observer):
    """Two with a window next season, one of them the observer's; dates do not matter to it."""
    version = make_version(program)
    mine, other = (
        make_route(program, version=version, code=code, name="Fen, north; pond")
        for code in ("R07", "R08")
    )
    year = current_season_year(program) + 1
    Assignment.objects.create(route=mine, observer=observer.person, season_year=year)
    return mine, other, year


def days(member) -> list[tuple[str, dt.date, dt.date]]:
    answer = Client().get(calendar_url(renew_calendar(member), ""))
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Cache-Control"] == "private, no-store"
    lines = answer.content.decode().replace("\r\n ", "").split("\r\n")
    titles, firsts, ends = (
        [line.removeprefix(name) for line in lines if line.startswith(name)]
        for name in ("SUMMARY:", "DTSTART;VALUE=DATE:", "DTEND;VALUE=DATE:")
    )
    return [
        (title.replace("\\", ""), dt.date.fromisoformat(first), dt.date.fromisoformat(end))
        for title, first, end in zip(titles, firsts, ends, strict=True)
    ]


def test_an_observer_has_the_windows_of_the_own_routes(observer, routes):
    _, _, year = routes
    assert days(observer) == [
        ("Survey R07 Fen, north; pond: Spring", dt.date(year, 3, 15), dt.date(year, 7, 1))
    ]


def test_a_window_with_a_visit_is_gone(observer, routes):
    mine, _, year = routes
    night = dt.date(year, 4, 1)
    make_accepted_visit(mine, observer.person, night=night, season_year=year)
    assert days(observer) == []


def test_a_coordinator_has_the_windows_of_the_program(program, coordinator, routes):
    _, _, year = routes
    found = {title: (first, last) for title, first, last in days(coordinator)}
    assert f"{program.name}: Spring" in found
    assert (dt.date(year, 3, 15), dt.date(year, 7, 1)) in found.values()


def test_the_link_ends_with_a_new_one_by_hand_and_with_the_membership(observer):
    token = calendar_url(renew_calendar(observer), "").rsplit("/", 1)[1]
    assert member_by_link(token) == observer
    assert token not in CalendarLink.objects.get().token_hash
    newer = calendar_url(renew_calendar(observer), "").rsplit("/", 1)[1]
    for ended in (token, "nothing"):
        with pytest.raises(Http404):
            member_by_link(ended)
    observer.active = False
    observer.save()
    with pytest.raises(Http404):
        member_by_link(newer)
    observer.active = True
    observer.save()
    revoke_calendar(observer)
    with pytest.raises(Http404):
        member_by_link(newer)
