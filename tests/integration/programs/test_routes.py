"""Routes: codes, protocols, whether they are surveyed."""

import pytest
from django.core.exceptions import ValidationError

from surveys.models import RouteChoice
from surveys.programs.routes import (
    routes_of,
    save_route,
)
from tests.support.builders import (
    make_accepted_visit,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def version(program):
    return make_version(program)


def save(member, version, **changes):
    facts = {
        "code": "R07",
        "name": "Alder Fen",
        "region": "North",
        "protocol_id": version.protocol_id,
        "access_notes": "",
        "active": True,
    }
    return save_route(member, **{**facts, **changes})


def test_adding_and_changing(coordinator, version):
    route = save(coordinator, version)
    again = save(coordinator, version, route_id=route.pk, code="R08", active=False)
    assert again == route
    assert (again.code, again.active) == ("R08", False)


def test_how_a_route_was_chosen_is_kept_until_it_is_told_otherwise(coordinator, version):
    route = save(coordinator, version)
    assert route.chosen == RouteChoice.UNKNOWN
    save(coordinator, version, route_id=route.pk, chosen=RouteChoice.HEARD)
    again = save(coordinator, version, route_id=route.pk, name="Alder Marsh")
    assert again.chosen == RouteChoice.HEARD
    with pytest.raises(ValidationError, match="chosen"):
        save(coordinator, version, route_id=route.pk, chosen="by lot")


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"code": "r07"}, "code", "has the code R07 already"),
        ({"code": "R 07!"}, "code", "letters, digits and hyphens"),
        ({"code": "R09", "name": ""}, "name", "blank"),
    ],
)
def test_what_cannot_be_is_said_by_field(coordinator, version, changes, field, said):
    save(coordinator, version)
    with pytest.raises(ValidationError) as refusal:
        save(coordinator, version, **changes)
    assert said in refusal.value.message_dict[field][0]


def test_the_protocol_stands_fast_once_there_are_visits(coordinator, observer, version):
    route = make_route(coordinator.program, version=version)
    make_accepted_visit(route, observer.person)
    other = make_version(coordinator.program)
    with pytest.raises(ValidationError) as refusal:
        save(coordinator, other, route_id=route.pk, code=route.code)
    assert "add a route with a code of its own" in refusal.value.message_dict["protocol"][0]


def test_stop_counts_leave_closed_stops_out(program, version):
    route = make_route(program, version=version, stops=3)
    route.stops.filter(number=3).update(active_until="2025-06-30")
    assert [one.stop_count for one in routes_of(program)] == [2]
