"""People on the screen, and the page that an invitation opens."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from accounts.invitations import invite
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
)
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db
JOIN = {"name": "Nell Brook", "password": PASSWORD, "password_again": PASSWORD}


def url(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


@pytest.fixture
def issued(coordinator):
    return invite(
        coordinator,
        email="new@example.org",
        name="Nell Brook",
        role=Role.OBSERVER,
        site_url="http://testserver/",
    )


class TestList:
    def test_the_number_of_queries_does_not_grow(self, program, coordinator, page):
        counts = []
        for batch in (1, 12):
            for number in range(batch):
                make_member(program)
                invite(
                    coordinator,
                    email=f"new{batch}-{number}@example.org",
                    name="",
                    role=Role.OBSERVER,
                    site_url="http://testserver/",
                )
            page.get(url("people", program))
            with CaptureQueriesContext(connection) as queries:
                response = page.get(url("people", program))
            counts.append(len(queries))
        assert counts[0] == counts[1]
        assert response.content.decode().count("Send again") == 13

    def test_the_link_is_mailed_and_never_shown(self, program, page):
        data = {"email": "new@example.org", "name": "Nell Brook", "role": Role.OBSERVER}
        shown = page.post(url("people_invite", program), data, follow=True).content.decode()
        assert "The invitation is on its way to new@example.org" in shown
        (letter,) = delivered()
        link = re.search(r"/invitation/[0-9a-f]{64}", letter.body)[0]
        assert link not in shown
        assert link not in page.get(url("people", program)).content.decode()

    def test_a_refusal_keeps_what_was_typed(self, program, observer, page):
        data = {"email": observer.person.email, "name": "Typed Name", "role": Role.PARTNER}
        shown = page.post(url("people_invite", program), data).content.decode()
        assert "already a member" in shown
        assert "Typed Name" in shown

    def test_withdrawing_and_sending_again(self, program, issued, page):
        pk = issued.invitation.pk
        again = page.post(url("people_send_again", program, invitation=pk), follow=True)
        assert "is on its way to new@example.org" in again.content.decode()
        assert issued.link not in again.content.decode()
        page.post(url("people_withdraw", program, invitation=pk))
        closed = page.post(url("people_withdraw", program, invitation=pk), follow=True)
        assert "was withdrawn before" in closed.content.decode()


class TestPerson:
    def test_role_and_training(self, program, observer, page):
        data = {"role": Role.PARTNER, "trained_on": "2025-03-01", "trained_until": ""}
        address = url("people_person", program, membership=observer.pk)
        page.post(address, data | {"seen": page.get(address).context["form"].seen_text})
        observer.refresh_from_db()
        assert (observer.role, observer.trained_on) == (Role.PARTNER, dt.date(2025, 3, 1))

    def test_deactivating_and_reactivating(self, program, observer, page):
        page.post(url("people_deactivate", program, membership=observer.pk))
        observer.refresh_from_db()
        assert not observer.active
        page.post(url("people_reactivate", program, membership=observer.pk))
        observer.refresh_from_db()
        assert observer.active

    def test_last_coordinator_cannot_be_removed_and_is_told_why(self, program, coordinator, page):
        address = url("people_deactivate", program, membership=coordinator.pk)
        shown = page.post(address, {"sure": "1"}, follow=True).content.decode()
        assert "is the only coordinator of this program" in shown

    def test_coordinator_who_steps_down_is_redirected_home(self, program, coordinator, page):
        make_member(program, Role.COORDINATOR)
        address = url("people_person", program, membership=coordinator.pk)
        seen = page.get(address).context["form"].seen_text
        asked = page.post(address, {"role": Role.OBSERVER, "seen": seen})
        assert "Only another coordinator can change this back." in asked.content.decode()
        coordinator.refresh_from_db()
        assert coordinator.role == Role.COORDINATOR
        seen = asked.context["form"].seen_text
        response = page.post(address, {"role": Role.OBSERVER, "seen": seen, "sure": "on"})
        assert response.url == "/"

    def test_giving_the_role_of_a_coordinator_asks_first(self, program, observer, page):
        address = url("people_person", program, membership=observer.pk)
        seen = page.get(address).context["form"].seen_text
        for sure, role in (({}, Role.OBSERVER), ({"sure": "on"}, Role.COORDINATOR)):
            page.post(address, {"role": Role.COORDINATOR, "seen": seen} | sure)
            observer.refresh_from_db()
            assert observer.role == role

    def test_whoever_removes_a_coordinator_or_takes_the_role_is_asked_first(self, program, page):
        other = make_member(program, Role.COORDINATOR, person=make_person("Wren Oakley"))
        address = url("people_deactivate", program, membership=other.pk)
        assert "Remove Wren Oakley?" in page.post(address).content.decode()
        form = url("people_person", program, membership=other.pk)
        seen = page.get(form).context["form"].seen_text
        asked = page.post(form, {"role": Role.OBSERVER, "seen": seen}).content.decode()
        assert "Wren Oakley will no longer review visits" in asked
        other.refresh_from_db()
        assert (other.active, other.role) == (True, Role.COORDINATOR)
        page.post(address, {"sure": "1"})
        other.refresh_from_db()
        assert not other.active

    def test_coordinator_who_leaves_is_asked_first(self, program, coordinator, page):
        make_member(program, Role.COORDINATOR)
        address = url("people_deactivate", program, membership=coordinator.pk)
        assert "Leave this program?" in page.post(address).content.decode()
        coordinator.refresh_from_db()
        assert coordinator.active
        page.post(address, {"sure": "1"})
        coordinator.refresh_from_db()
        assert not coordinator.active


class TestInvitationPage:
    def test_new_person_joins_and_is_signed_in(self, client, program, issued):
        shown = client.get(issued.link).content.decode()
        assert program.name in shown
        assert "Nell Brook" in shown
        response = client.post(issued.link, JOIN, follow=True)
        assert response.wsgi_request.user.email == "new@example.org"
        assert f"Welcome to {program.name}" in response.content.decode()

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"password_again": "another-password"}, "The two passwords differ"),
            ({"password": "short", "password_again": "short"}, "too short"),
            ({"name": ""}, "This is missing. Fill it in."),
        ],
    )
    def test_invalid_input_is_explained(self, client, issued, changes, message):
        shown = client.post(issued.link, JOIN | changes)
        assert message in shown.content.decode()
        assert not Person.objects.filter(email="new@example.org").exists()

    def test_existing_person_signs_in_and_returns_to_the_invitation(self, client, program, issued):
        person = make_person(email="new@example.org")
        path = issued.link.removeprefix("http://testserver")
        shown = client.get(issued.link).content.decode()
        assert f"/accounts/login/?next={path}" in shown
        response = client.post(
            f"/accounts/login/?next={path}", {"login": person.email, "password": PASSWORD}
        )
        assert response.url == path
        client.post(issued.link)
        assert Membership.objects.filter(person=person, program=program).exists()

    def test_signed_in_as_another_person(self, issued):
        client = Client()
        client.force_login(make_person(email="other@example.org"))
        shown = client.get(issued.link).content.decode()
        assert "is for new@example.org, and you are signed in as other@example.org" in shown
        refused = client.post(issued.link)
        assert refused.status_code == 410
        assert not Membership.objects.filter(person__email="other@example.org").exists()

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"accepted_at": timezone.now()}, "was used on"),
            ({"withdrawn_at": timezone.now()}, "was withdrawn on"),
            ({"expires_at": timezone.now() - dt.timedelta(days=1)}, "was valid until"),
        ],
        ids=["used", "withdrawn", "expired"],
    )
    def test_closed_invitation_says_why_it_cannot_be_used(self, client, issued, changes, message):
        Invitation.objects.update(**changes)
        for response in (client.get(issued.link), client.post(issued.link, JOIN)):
            assert response.status_code == 410
            assert message in response.content.decode()

    def test_unknown_link(self, client, db):
        response = client.get(reverse("web:people_invitation", args=["nothing"]))
        assert response.status_code == 404
        assert "Copy the whole link from the email" in response.content.decode()
