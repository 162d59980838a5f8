"""axe-core finds nothing on the observer's screens, the guide and the way in, in both
themes, at phone and desktop width, and nothing scrolls sideways."""

import datetime as dt

import pytest
from django.utils import timezone

from accounts.models import Role
from surveys.learning import call_tests, practice
from surveys.models import Assignment
from surveys.protocol.nights import night_of
from surveys.visits.drafts import start_visit
from tests.browser.conftest import faults_of
from tests.support.builders import (
    make_check_in,
    make_checklist,
    make_member,
    make_route,
    make_version,
)
from tests.support.call_tests import answer_all, make_test, rightly

CODES = ("lithobates-sylvaticus", "pseudacris-crucifer")
pytestmark = pytest.mark.django_db(transaction=True)


def test_observer_screens_are_accessible(program, observer, signed_in):
    version = make_version(program, windows=[{"name": "Spring", "min_air_temperature": 5}])
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    route = make_route(program, version=version, stops=3)
    year = night_of(timezone.now(), program.time_zone).year
    Assignment.objects.create(route=route, observer=observer.person, season_year=year)
    draft = start_visit(observer, route=route, night=dt.date(2024, 4, 15))
    draft.cells |= {"stops.1.air_temperature": "warm", "stops.1.started_at": "21:10"}
    draft.save()
    make_check_in(observer, route)
    asked = practice.ask(observer, practice.practice_bank(observer))
    practised = practice.answer(observer, asked, {"lithobates-sylvaticus": 2})
    make_test(make_member(program, Role.COORDINATOR), *CODES)
    passed = answer_all(observer, call_tests.begin(observer), rightly)
    taken = call_tests.begin(observer)
    home = f"/{program.slug}"
    pages = [
        f"{home}/tonight/",
        f"{home}/tonight/{route.code}/",
        f"{home}/calls/",
        f"{home}/calls/pseudacris-crucifer/",
        f"{home}/practice",
        f"{home}/practice/{practised.pk}",
        f"{home}/call-test",
        f"{home}/call-test/{taken.pk}",
        f"{home}/call-test/{passed.pk}/result",
        f"{home}/call-test/{passed.pk}/certificate",
        f"{home}/return-time/",
        f"{home}/my-season/",
        f"{home}/free-routes/",
        f"{home}/sheets/",
        f"{home}/sheets/new/",
        f"{home}/sheets/{draft.pk}/",
        "/guide/",
        "/guide/limits/",
        "/guide/rules/",
        "/guide/rules/too-cold/",
        "/accounts/email/",
        "/accounts/password/change/",
    ]
    assert faults_of(signed_in(observer), pages) == {}
