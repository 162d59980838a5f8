"""Roles, training, leaving and coming back."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404

from accounts import people
from accounts.models import Role
from tests.support.builders import (
    make_member,
    make_program,
)

pytestmark = pytest.mark.django_db
SPRING = dt.date(2025, 3, 1)

VERBS = {
    "change_role": lambda member, pk: people.change_role(member, pk, Role.PARTNER),
    "set_training": lambda member, pk: people.set_training(
        member, pk, trained_on=SPRING, trained_until=None
    ),
    "change_person": lambda member, pk: people.change_person(
        member, pk, role=Role.PARTNER, trained_on=SPRING, trained_until=None, exact_places=True
    ),
    "set_exact_places": lambda member, pk: people.set_exact_places(member, pk, True),
    "deactivate": people.deactivate,
    "reactivate": people.reactivate,
}


@pytest.mark.parametrize("verb", VERBS.values(), ids=VERBS)
class TestAccess:
    def test_coordinators_may_change_people(self, verb, coordinator, observer):
        assert verb(coordinator, observer.pk) == observer

    @pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
    def test_other_roles_may_not_change_people(self, verb, role, program, observer):
        with pytest.raises(PermissionDenied):
            verb(make_member(program, role), observer.pk)

    def test_people_of_another_program_are_a_404(self, verb, observer):
        stranger = make_member(make_program(), Role.COORDINATOR)
        with pytest.raises(Http404):
            verb(stranger, observer.pk)


def test_last_coordinator_cannot_be_removed(coordinator, observer):
    with pytest.raises(ValidationError, match="only coordinator"):
        people.deactivate(coordinator, coordinator.pk)
    with pytest.raises(ValidationError) as refusal:
        people.change_role(coordinator, coordinator.pk, Role.OBSERVER)
    assert "only coordinator" in refusal.value.message_dict["role"][0]


def test_an_inactive_coordinator_does_not_count(coordinator, program):
    make_member(program, Role.COORDINATOR, active=False)
    with pytest.raises(ValidationError, match="only coordinator"):
        people.deactivate(coordinator, coordinator.pk)


def test_one_of_two_coordinators_may_leave(coordinator, program):
    make_member(program, Role.COORDINATOR)
    assert people.deactivate(coordinator, coordinator.pk).active is False


def test_former_members_are_listed_last(coordinator, observer):
    people.deactivate(coordinator, observer.pk)
    assert [membership.active for membership in people.people_of(coordinator)] == [True, False]


def test_an_unknown_role_is_refused(coordinator, observer):
    with pytest.raises(ValidationError, match="is not a role"):
        people.change_role(coordinator, observer.pk, "king")


@pytest.mark.parametrize(
    ("trained_on", "trained_until", "field"),
    [
        (None, SPRING, "trained_on"),
        (SPRING, SPRING - dt.timedelta(days=1), "trained_until"),
    ],
)
def test_invalid_training_is_refused(coordinator, observer, trained_on, trained_until, field):
    with pytest.raises(ValidationError) as refusal:
        people.set_training(
            coordinator, observer.pk, trained_on=trained_on, trained_until=trained_until
        )
    assert field in refusal.value.message_dict


def test_role_and_training_are_saved_together_or_not_at_all(coordinator):
    with pytest.raises(ValidationError):
        people.change_person(
            coordinator,
            coordinator.pk,
            role=Role.OBSERVER,
            trained_on=SPRING,
            trained_until=None,
            exact_places=True,
        )
    coordinator.refresh_from_db()
    assert coordinator.trained_on is None
