"""What a changed protocol would have asked of last season's visits."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404

from accounts.models import Role
from surveys.models import Source, StoredFinding, Visit
from surveys.programs.versions import protocol_values
from surveys.protocol.seasons import window_dates
from surveys.protocol.values import MonthDay, Severity, Temperature, TemperatureUnit
from surveys.visits.what_if import what_if
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.sheets import make_submitted, plain_cells

pytestmark = pytest.mark.django_db
COLD = Temperature(value=Decimal(13), unit=TemperatureUnit.CELSIUS)


@pytest.fixture
def version(program):
    make_checklist(program)
    return make_version(program, listening_time_s=360)


@pytest.fixture
def visits(program, coordinator, version):
    """On two routes: five minutes where six are asked for; at 12.5 °C, and one at 14 °C."""
    routes = [make_route(program, version=version, code=code) for code in ("R1", "R2")]
    warm = plain_cells() | {f"stops.{n}.air_temperature": "14" for n in (1, 2, 3)}
    return [
        make_submitted(coordinator, routes[0]),
        make_submitted(coordinator, routes[1], warm),
    ]


def found(result):
    return {
        (rule.code, rule.severity): tuple(
            {(route.route, key) for route in side for key, _ in route.visits}
            for side in (rule.gained, rule.lost)
        )
        for rule in result.rules
    }


def from_13_degrees(version):
    (window,) = protocol_values(version).windows
    return {"windows": (replace(window, min_air_temperature=COLD),)}


def limits_of(version, **changes):
    return replace(protocol_values(version), **changes)


def last_night_of(version, year):
    limits = protocol_values(version)
    return window_dates(limits.windows[-1], year, limits.season_year_begins)[1]


def test_visits_gain_and_lose_questions_by_rule_and_route(coordinator, version, visits):
    before = list(StoredFinding.objects.order_by("pk").values())
    limits = limits_of(version, listening_time=dt.timedelta(minutes=5), **from_13_degrees(version))
    result = what_if(coordinator, version.pk, limits)
    cold, warm = (("R1", visits[0].pk), ("R2", visits[1].pk))
    assert (result.season_year, result.visits, result.judged, result.changed) == (2024, 2, 2, 2)
    assert found(result) == {
        ("listening-too-short", Severity.QUERY): (set(), {cold, warm}),
        ("too-cold", Severity.QUERY): ({cold}, set()),
    }
    # Nothing was stored.
    assert list(StoredFinding.objects.order_by("pk").values()) == before


def test_unchanged_limits_ask_the_same(coordinator, version, visits):
    result = what_if(coordinator, version.pk, limits_of(version))
    assert (result.changed, result.rules) == (0, ())


def test_imported_visits_are_judged_as_an_archive(coordinator, version, visits):
    """One question names all stops; each stop counts, so that fewer of them is a change."""
    Visit.objects.update(source=Source.IMPORT)
    result = what_if(coordinator, version.pk, limits_of(version, **from_13_degrees(version)))
    assert found(result) == {("too-cold", Severity.QUERY): ({("R1", visits[0].pk)}, set())}


def test_the_nights_of_a_season_that_begins_on_another_day(coordinator, program, version):
    """Nights five days apart are too close, each to the other; in two season years neither is."""
    version = make_version(program, min_days_between_visits=10)
    route = make_route(program, version=version, code="R9")
    for night in (dt.date(2024, 4, 15), dt.date(2024, 4, 20)):
        make_submitted(coordinator, route, night=night)
    (window,) = protocol_values(version).windows
    apart = limits_of(
        version,
        season_year_begins=MonthDay(month=4, day=18),
        windows=(replace(window, opens=MonthDay(month=5, day=1)),),
    )
    rules = found(what_if(coordinator, version.pk, apart))
    assert ("too-soon-after-last-visit", Severity.QUERY) in rules
    gained, lost = rules["too-soon-after-last-visit", Severity.QUERY]
    assert (gained, len(lost)) == (set(), 2)


def test_who_may_ask_and_what_of(coordinator, program, version, visits):
    with pytest.raises(ValidationError) as refused:
        what_if(coordinator, version.pk, limits_of(version, listening_time=dt.timedelta(0)))
    assert list(refused.value.message_dict) == ["listening_time"]
    with pytest.raises(PermissionDenied):
        what_if(make_member(program), version.pk, limits_of(version))
    other = make_member(make_program(), Role.COORDINATOR)
    with pytest.raises(Http404):
        what_if(other, version.pk, limits_of(version))


def test_drafts_and_the_season_under_way_wait(coordinator, version, visits, monkeypatch):
    """The last season is the one before the one under way, where there is one; a season whose
    windows are over is under way no more."""
    last = what_if(coordinator, version.pk, limits_of(version))
    assert last.season_year == 2024
    closes = last_night_of(version, 2024)
    monkeypatch.setattr("surveys.visits.what_if.today_of", lambda program: closes)
    assert what_if(coordinator, version.pk, limits_of(version)).season_year == 2024
    Visit.objects.filter(pk=visits[0].pk).update(season_year=2023)
    earlier = what_if(coordinator, version.pk, limits_of(version))
    assert (earlier.season_year, earlier.visits) == (2023, 1)
    after = closes + dt.timedelta(days=1)
    monkeypatch.setattr("surveys.visits.what_if.today_of", lambda program: after)
    assert what_if(coordinator, version.pk, limits_of(version)).season_year == 2024
