"""Inviting a list: all of it or none of it."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts import inviting_many
from accounts.inviting_many import invite_many, plan_invitations
from accounts.models import Role
from tests.support.builders import make_member, make_person

pytestmark = pytest.mark.django_db

LIST = "Ada Reed <ada@example.org>\nBo Marsh <bo@example.org>"
SITE = "https://frogs.example.org/"


def invite(member, text: str = LIST, **options: object):
    return invite_many(member, text, **{"role": "observer", "site_url": SITE, **options})


def test_everyone_gets_an_invitation_and_a_mail(program, coordinator):
    made = invite(coordinator)
    assert [(one.email, one.name, one.role) for one in made] == [
        ("ada@example.org", "Ada Reed", "observer"),
        ("bo@example.org", "Bo Marsh", "observer"),
    ]
    jobs = ProcrastinateJob.objects.filter(task_name="accounts.send_invitation")
    assert {job.args["invitation_id"] for job in jobs} == {one.pk for one in made}


def test_one_bad_line_and_no_one_is_invited(program, coordinator):
    with pytest.raises(ValidationError, match="Line 3"):
        invite(coordinator, f"{LIST}\nnot an address")
    assert not program.invitations.exists()
    assert not ProcrastinateJob.objects.exists()


def test_members_and_invited_people_are_left_out(program, coordinator):
    make_member(program, person=make_person("Ada Reed", "ada@example.org"))
    left = make_member(program, person=make_person("Cy Fen", "cy@example.org"), active=False)
    invite(coordinator, "bo@example.org")
    plan = plan_invitations(program, f"{LIST}\n{left.person.email}")
    assert [one.email for one in plan.known] == ["ada@example.org", "bo@example.org"]
    assert [one.email for one in invite(coordinator, f"{LIST}\n{left.person.email}")] == [
        "cy@example.org"
    ]


def test_coordinators_are_not_made_by_a_list(program, coordinator, observer):
    with pytest.raises(ValidationError, match="cannot be invited by a list"):
        invite(coordinator, role=Role.COORDINATOR)
    with pytest.raises(PermissionDenied):
        invite(observer)
    assert not program.invitations.exists()


def test_a_day_has_its_limit(program, coordinator, monkeypatch):
    monkeypatch.setattr(inviting_many, "MOST_IN_A_DAY", 3)
    invite(coordinator)
    with pytest.raises(ValidationError, match="and 2 were sent"):
        invite(coordinator, "cy@example.org\ndi@example.org")
    assert program.invitations.count() == 2
