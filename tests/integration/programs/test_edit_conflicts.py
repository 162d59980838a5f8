"""The check behind the forms: exact, under the lock, and it names who changed what."""

import datetime as dt

import pghistory
import pytest
from django.utils import timezone

from accounts.edit_conflicts import (
    Difference,
    EditConflict,
    Seen,
)
from accounts.models import Role
from surveys.programs import routes
from tests.support.builders import (
    make_member,
    make_route,
)

pytestmark = pytest.mark.django_db


def save(member, route, seen, **changes):
    facts = {
        "code": route.code,
        "name": route.name,
        "region": route.region,
        "protocol_id": route.protocol_id,
        "access_notes": route.access_notes,
        "active": route.active,
    }
    return routes.save_route(member, route_id=route.pk, seen=seen, **facts | changes)


@pytest.fixture
def route(program):
    made = make_route(program)
    made.events.update(pgh_created_at=timezone.now() - dt.timedelta(hours=1))
    return made


@pytest.fixture
def seen(route):
    return Seen(facts=routes.route_facts(route), at=timezone.now() - dt.timedelta(seconds=1))


def test_unchanged_is_saved(coordinator, route, seen):
    assert save(coordinator, route, seen, name="New").name == "New"


def test_without_a_form_nothing_is_asked(coordinator, route):
    save(coordinator, route, None, name="One")
    assert save(coordinator, route, None, name="Two").name == "Two"


def test_everyone_who_changed_it_is_named(program, coordinator, route, seen):
    others = [make_member(program, Role.COORDINATOR) for _ in range(2)]
    for number, other in enumerate(others):
        with pghistory.context(user=other.person_id):
            save(other, route, None, name=f"Name {number}", region="Fen")
    with pytest.raises(EditConflict) as refused:
        save(coordinator, route, seen, name="Mine")
    assert refused.value.by == tuple(other.person.name for other in others)
    assert refused.value.differences == (
        Difference(label="Name", before=route.name, now="Name 1"),
        Difference(label="Region", before=route.region, now="Fen"),
    )
    assert refused.value.now["Name"] == "Name 1"
    route.refresh_from_db()
    assert route.name == "Name 1"


def test_changed_and_changed_back_is_as_it_was(coordinator, route, seen):
    name = route.name
    save(coordinator, route, None, name="Other")
    save(coordinator, route, None, name=name)
    assert save(coordinator, route, seen, name="Mine").name == "Mine"


def test_a_change_that_nobody_signed(coordinator, route, seen):
    save(coordinator, route, None, name="By a command")
    with pytest.raises(EditConflict, match="Someone changed “Name”"):
        save(coordinator, route, seen, name="Mine")
