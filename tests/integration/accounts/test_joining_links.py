"""Joining links: by one people ask for an invitation, and it gives nothing else away."""

import datetime as dt

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db.models import Max
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.invitations import InvitationError, accept_as_new_person, send_invitation
from accounts.joining_links import (
    ask_to_join,
    check_usable,
    invite_by_link,
    links_of,
    make_link,
    url_of,
    withdraw_link,
)
from accounts.models import Invitation, JoiningLink, Role
from accounts.sealing import unseal
from tests.support.builders import PASSWORD, make_member, make_person

pytestmark = pytest.mark.django_db

SITE = "https://frogs.example.org/"


@pytest.fixture
def link(coordinator):
    return make_link(coordinator, name="Workshop", days=30, most_uses=2)


def ask(link: JoiningLink, email: str, name: str = "Ada Reed") -> None:
    """Asks, and has the worker do all that follows."""
    before = ProcrastinateJob.objects.aggregate(last=Max("pk"))["last"] or 0
    ask_to_join(link, email=email, name=name, site_url=SITE)
    for task, work in (
        ("accounts.invite_by_link", invite_by_link),
        ("accounts.send_invitation", send_invitation),
    ):
        for job in ProcrastinateJob.objects.filter(task_name=task, pk__gt=before):
            work(**job.args)


def test_who_asks_is_mailed_an_invitation_as_an_observer(program, link):
    ask(link, "Ada@Example.org")
    (letter,) = mail.outbox
    assert letter.to == ["ada@example.org"]
    invitation = program.invitations.get()
    assert (invitation.role, invitation.by_link) == (Role.OBSERVER, link)
    token = letter.body.split("/invitation/")[1].split()[0]
    member = accept_as_new_person(token, name="Ada Reed", password=PASSWORD)
    assert (member.program, member.role, member.exact_places) == (program, Role.OBSERVER, False)


def test_the_address_waits_sealed(link):
    ask_to_join(link, email="ada@example.org", name="Ada", site_url=SITE)
    job = ProcrastinateJob.objects.get(task_name="accounts.invite_by_link")
    assert "ada" not in str(job.args)
    assert "ada@example.org" in unseal(job.args["sealed"], "joining")


@pytest.mark.parametrize("active", [True, False])
def test_members_of_now_and_before_are_mailed_nothing(program, link, active):
    """Somebody who was removed does not come back by a poster."""
    make_member(program, person=make_person("Ada", "ada@example.org"), active=active)
    ask(link, "ada@example.org")
    assert mail.outbox == []
    assert not program.invitations.exists()


def test_places_run_out_and_come_back_when_an_invitation_ends(program, link):
    for name in ("ada", "bo", "cy"):
        if name == "cy":
            with pytest.raises(InvitationError, match="Everyone who can join"):
                check_usable(link)
            invitation = program.invitations.get(email="bo@example.org")
            invitation.withdrawn_at = timezone.now()
            invitation.save()
        ask(link, f"{name}@example.org")
    assert set(program.invitations.values_list("email", flat=True)) == {
        "ada@example.org",
        "bo@example.org",
        "cy@example.org",
    }
    (shown,) = links_of(program)
    assert (shown.joined, shown.taken) == (0, 2)


def test_two_at_once_do_not_share_the_last_place(program, coordinator):
    """Both were let in by the page; the worker counts again under a lock."""
    link = make_link(coordinator, name="One", days=7, most_uses=1)
    for name in ("ada", "bo"):
        ask_to_join(link, email=f"{name}@example.org", name=name, site_url=SITE)
    for job in ProcrastinateJob.objects.filter(task_name="accounts.invite_by_link"):
        invite_by_link(**job.args)
    assert program.invitations.count() == 1


def test_a_link_ends_by_its_day_and_by_hand(program, coordinator, link):
    withdraw_link(coordinator, link.pk)
    link.refresh_from_db()
    old = make_link(coordinator, name="Old", days=7, most_uses=2)
    JoiningLink.objects.filter(pk=old.pk).update(expires_at=timezone.now() - dt.timedelta(days=1))
    for ended in (link, JoiningLink.objects.get(pk=old.pk)):
        with pytest.raises(InvitationError, match="was valid until"):
            ask_to_join(ended, email="ada@example.org", name="Ada", site_url=SITE)
    assert not Invitation.objects.exists()


def test_the_token_is_not_stored(link):
    token = url_of(link, SITE).rsplit("/", 1)[1]
    stored = " ".join(str(value) for value in JoiningLink.objects.values().get().values())
    assert len(token) == 40
    assert token not in stored


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"days": 8}, "days"), ({"most_uses": 1001}, "most_uses"), ({"name": " "}, "name")],
)
def test_a_link_has_its_limits(coordinator, facts, field):
    with pytest.raises(ValidationError) as refusal:
        make_link(coordinator, **{"name": "Workshop", "days": 30, "most_uses": 2, **facts})
    assert field in refusal.value.message_dict
