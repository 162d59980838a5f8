"""The life of an invitation: sent, opened, used once, withdrawn, too old."""

import datetime as dt
import re

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.invitations import (
    VALID_FOR,
    InvitationError,
    accept_as,
    accept_as_new_person,
    find_invitation,
    invite,
    open_invitations,
    send_again,
    withdraw,
)
from accounts.models import (
    Invitation,
    Membership,
    Person,
    Role,
)
from tests.support.builders import (
    PASSWORD,
    make_member,
    make_person,
    make_program,
)

SITE = "https://surveys.example.org/"


def send(member, email="new@example.org", role=Role.OBSERVER, name="Nell Brook"):
    return invite(member, email=email, name=name, role=role, site_url=SITE)


def token_of(issued):
    return issued.link.rsplit("/", 1)[1]


def run_mail_worker():
    """A real worker, on its own connection, until the queue is empty."""
    with app.replace_connector(app.connector.get_worker_connector()) as worker_app:
        worker_app.run_worker(
            queues=["mail"], wait=False, install_signal_handlers=False, listen_notify=False
        )


@pytest.mark.django_db(transaction=True)
class TestMail:
    def test_the_worker_sends_the_link(self, coordinator):
        issued = send(coordinator)
        assert mail.outbox == []
        run_mail_worker()
        (message,) = mail.outbox
        assert message.to == ["new@example.org"]
        assert coordinator.program.name in message.subject
        assert issued.link in message.body
        assert "Nell Brook" in message.body
        assert "Your role: observer" in message.body

    def test_token_is_neither_in_the_database_nor_in_the_queue(self, coordinator):
        issued = send(coordinator)
        token = token_of(issued)
        job = ProcrastinateJob.objects.get(args__invitation_id=issued.invitation.pk)
        assert token not in str(job.args)
        assert token != Invitation.objects.get().token_hash

    def test_nothing_is_sent_for_a_withdrawn_invitation(self, coordinator):
        issued = send(coordinator)
        withdraw(coordinator, issued.invitation.pk)
        run_mail_worker()
        assert mail.outbox == []

    def test_sending_again_sends_the_same_link(self, coordinator):
        issued = send(coordinator)
        again = send_again(coordinator, issued.invitation.pk, site_url=SITE)
        run_mail_worker()
        assert again.link == issued.link
        assert [issued.link in message.body for message in mail.outbox] == [True, True]

    def test_a_refused_invitation_queues_nothing(self, coordinator):
        send(coordinator)
        queued = ProcrastinateJob.objects.count()
        with pytest.raises(ValidationError):
            send(coordinator)
        assert ProcrastinateJob.objects.count() == queued


@pytest.mark.django_db
class TestInviting:
    def test_invitation_is_valid_for_two_weeks(self, coordinator):
        issued = send(coordinator, email=" New@Example.org ")
        invitation = issued.invitation
        assert invitation.email == "new@example.org"
        assert invitation.expires_at - invitation.created_at == VALID_FOR == dt.timedelta(days=14)
        assert re.fullmatch(r"https://surveys\.example\.org/invitation/[0-9a-f]{64}", issued.link)
        assert open_invitations(coordinator.program) == [invitation]

    @pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
    def test_only_coordinators_invite(self, program, role):
        with pytest.raises(PermissionDenied):
            send(make_member(program, role))

    def test_members_cannot_be_invited(self, coordinator, observer):
        with pytest.raises(ValidationError, match="already a member, as observer"):
            send(coordinator, email=observer.person.email.upper())

    def test_second_open_invitation_is_refused(self, coordinator):
        send(coordinator)
        with pytest.raises(ValidationError, match="open invitation already"):
            send(coordinator)

    @pytest.mark.parametrize(
        ("email", "role", "field"),
        [("nobody", Role.OBSERVER, "email"), ("a@example.org", "king", "role")],
    )
    def test_invalid_input_is_explained_by_field(self, coordinator, email, role, field):
        with pytest.raises(ValidationError) as refusal:
            send(coordinator, email=email, role=role)
        assert field in refusal.value.message_dict

    @pytest.mark.parametrize("verb", [withdraw, lambda m, i: send_again(m, i, site_url=SITE)])
    def test_invitation_of_another_program_is_a_404(self, coordinator, verb):
        issued = send(coordinator)
        stranger = make_member(make_program(), Role.COORDINATOR)
        with pytest.raises(Http404):
            verb(stranger, issued.invitation.pk)

    def test_a_closed_invitation_is_not_sent_again(self, coordinator):
        issued = send(coordinator)
        withdraw(coordinator, issued.invitation.pk)
        with pytest.raises(ValidationError, match="withdrawn before"):
            send_again(coordinator, issued.invitation.pk, site_url=SITE)


@pytest.mark.django_db
class TestAccepting:
    def test_new_person_joins(self, coordinator):
        issued = send(coordinator)
        member = accept_as_new_person(token_of(issued), name="Nell Brook", password=PASSWORD)
        assert (member.program, member.role, member.active) == (
            coordinator.program,
            Role.OBSERVER,
            True,
        )
        assert member.person.check_password(PASSWORD)
        assert open_invitations(coordinator.program) == []

    def test_invitation_works_once(self, coordinator):
        token = token_of(send(coordinator))
        accept_as_new_person(token, name="Nell Brook", password=PASSWORD)
        with pytest.raises(InvitationError, match="was used on"):
            accept_as_new_person(token, name="Somebody Else", password=PASSWORD)

    def test_invitation_expires(self, coordinator):
        issued = send(coordinator)
        Invitation.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
        with pytest.raises(InvitationError, match="was valid until"):
            accept_as_new_person(token_of(issued), name="Nell Brook", password=PASSWORD)
        send_again(coordinator, issued.invitation.pk, site_url=SITE)
        assert accept_as_new_person(token_of(issued), name="Nell Brook", password=PASSWORD)

    def test_withdrawn_invitation_is_refused(self, coordinator):
        issued = send(coordinator)
        withdraw(coordinator, issued.invitation.pk)
        with pytest.raises(InvitationError, match="was withdrawn on"):
            accept_as_new_person(token_of(issued), name="Nell Brook", password=PASSWORD)
        assert not Person.objects.filter(email="new@example.org").exists()

    @pytest.mark.parametrize(
        ("password", "message"),
        [("short", "too short"), ("password123", "too common"), ("new@example.org", "too similar")],
    )
    def test_weak_passwords_are_refused(self, coordinator, password, message):
        token = token_of(send(coordinator))
        with pytest.raises(ValidationError) as refusal:
            accept_as_new_person(token, name="Nell Brook", password=password)
        assert message in " ".join(refusal.value.message_dict["password"])
        assert not Person.objects.filter(email="new@example.org").exists()

    def test_name_is_required(self, coordinator):
        with pytest.raises(ValidationError) as refusal:
            accept_as_new_person(token_of(send(coordinator)), name="  ", password=PASSWORD)
        assert "name" in refusal.value.message_dict

    def test_existing_person_joins_a_second_program(self, coordinator):
        person = make_member(make_program()).person
        issued = send(coordinator, email=person.email, role=Role.PARTNER)
        member = accept_as(person, token_of(issued))
        assert member.role == Role.PARTNER
        assert person.memberships.count() == 2

    def test_existing_person_gets_no_second_account(self, coordinator):
        person = make_person()
        issued = send(coordinator, email=person.email)
        with pytest.raises(InvitationError, match="Sign in to join"):
            accept_as_new_person(token_of(issued), name="Nell Brook", password=PASSWORD)

    def test_invitation_is_for_one_address_only(self, coordinator):
        issued = send(coordinator)
        with pytest.raises(InvitationError, match=r"is for new@example\.org"):
            accept_as(make_person(), token_of(issued))

    def test_former_member_returns_with_the_new_role(self, coordinator, observer):
        Membership.objects.filter(pk=observer.pk).update(active=False)
        issued = send(coordinator, email=observer.person.email, role=Role.COORDINATOR)
        member = accept_as(observer.person, token_of(issued))
        assert member.pk == observer.pk
        assert (member.active, member.role) == (True, Role.COORDINATOR)

    def test_unknown_link_is_a_404(self, db):
        with pytest.raises(Http404):
            find_invitation("0" * 64)
