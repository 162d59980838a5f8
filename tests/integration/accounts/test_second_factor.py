"""The second step at sign-in: who needs it, how it is set up, and what is closed without it."""

import pytest
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Membership, Role
from surveys.publishing.exact import note_exact_download
from tests.support.builders import PASSWORD, make_member
from tests.support.mail import delivered
from tests.support.totp import totp

pytestmark = pytest.mark.django_db
SET_UP = "/accounts/second-step/"


@pytest.fixture(autouse=True)
def required(settings):
    settings.SECOND_FACTOR_REQUIRED = True


def sign_in(member):
    client = Client()
    client.post("/accounts/login/", {"login": member.person.email, "password": PASSWORD})
    return client


def confirm(client, path):
    """Open a page that asks for the password first."""
    asked = client.get(path)
    if "reauthenticate" in getattr(asked, "url", ""):
        client.post(asked.url, {"password": PASSWORD})
        asked = client.get(path)
    return asked


def set_up_app(client):
    """Set up an authenticator app; returns its key."""
    page = confirm(client, f"{SET_UP}totp/activate/")
    secret = page.context["form"].secret
    client.post(f"{SET_UP}totp/activate/", {"code": totp(secret)})
    return secret


def page(client, program, name):
    return client.get(reverse(f"web:{name}", args=[program.slug]))


def test_codes_are_those_of_the_standard():
    """RFC 6238, appendix B: SHA-1 at 59 s and at 1111111109 s, the last six of eight digits."""
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    assert [totp(secret, at) for at in (59, 1111111109)] == ["287082", "081804"]


def test_a_coordinator_is_led_to_the_set_up_and_then_goes_on(program, coordinator):
    client = sign_in(coordinator)
    for name in ("review", "people", "tonight", "seasons", "trends"):
        assert page(client, program, name).url == SET_UP
    set_up_app(client)
    assert page(client, program, "review").status_code == 200
    assert page(client, program, "tonight").status_code == 200


def test_the_set_up_says_why_it_is_shown(program, coordinator):
    client = sign_in(coordinator)
    page(client, program, "review")
    assert "Coordinators and people who may download exact" in client.get(SET_UP).content.decode()


def test_what_a_form_of_an_older_session_holds_is_still_taken(program, coordinator, observer):
    """The step became needed while the form was open: it is kept, and the next page leads on."""
    client = Client()
    client.force_login(coordinator.person)
    session = client.session
    session.pop("second_factor_due")
    session.save()
    path = reverse("web:people_deactivate", args=[program.slug, observer.pk])
    client.post(path)
    observer.refresh_from_db()
    assert observer.active is False
    assert page(client, program, "people").url == SET_UP
    client.post(reverse("web:people_reactivate", args=[program.slug, observer.pk]))
    observer.refresh_from_db()
    assert observer.active is False


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
def test_others_need_none_unless_they_may_have_exact_places(program, role):
    member = make_member(program, role)
    assert page(sign_in(member), program, "trends").status_code == 200
    Membership.objects.update(exact_places=True)
    assert page(sign_in(member), program, "trends").url == SET_UP


def test_the_api_is_closed_to_the_session_as_well(program, coordinator):
    client = sign_in(coordinator)
    path = f"/api/v1/{program.slug}/routes/"
    refused = client.get(path)
    assert refused.status_code == 403
    assert "Set up a second step" in refused.content.decode()
    set_up_app(client)
    assert client.get(path).status_code == 200


def test_exact_places_are_closed_without_it(program, observer):
    observer.exact_places = True
    observer.save()
    with pytest.raises(PermissionDenied, match="need a second step"):
        note_exact_download(observer, what="stops", path="/x")
    set_up_app(sign_in(observer))
    assert note_exact_download(observer, what="stops", path="/x").pk


def test_the_password_alone_then_opens_nothing(program, coordinator):
    secret = set_up_app(sign_in(coordinator))
    client = sign_in(coordinator)
    assert page(client, program, "review").url.startswith("/accounts/login/")
    noting = ProcrastinateJob.objects.filter(task_name="accounts.note_failed_sign_in")
    client.post(f"{SET_UP}authenticate/", {"code": "000000"})
    assert [args["act"] for args in noting.values_list("args", flat=True)] == ["wrong-step"]
    assert page(client, program, "review").url.startswith("/accounts/login/")
    Authenticator.objects.filter(type="totp").update(last_used_at=None)
    client.post(f"{SET_UP}authenticate/", {"code": totp(secret)})
    assert page(client, program, "review").status_code == 200


def test_each_recovery_code_opens_once(program, coordinator):
    client = sign_in(coordinator)
    set_up_app(client)
    codes = confirm(client, f"{SET_UP}recovery-codes/").context["unused_codes"]
    assert len(set(codes)) == 10
    opened = []
    for _ in range(2):
        client = sign_in(coordinator)
        client.post(f"{SET_UP}authenticate/", {"code": codes[0]})
        opened.append(page(client, program, "review").status_code == 200)
    assert opened == [True, False]


def test_keys_and_codes_are_sealed_in_the_database(coordinator):
    client = sign_in(coordinator)
    secret = set_up_app(client)
    assert Authenticator.objects.count() == 2
    assert secret not in str(list(Authenticator.objects.values_list("data", flat=True)))


def test_who_needs_it_cannot_remove_the_last_one(program, coordinator):
    client = sign_in(coordinator)
    set_up_app(client)
    confirm(client, f"{SET_UP}totp/deactivate/")
    refused = client.post(f"{SET_UP}totp/deactivate/")
    assert "Set up another before you remove this one" in refused.content.decode()
    assert Authenticator.objects.filter(type="totp").exists()
    Membership.objects.update(role=Role.OBSERVER)
    client.post(f"{SET_UP}totp/deactivate/")
    assert not Authenticator.objects.filter(type="totp").exists()


def test_who_needs_it_can_change_their_address(coordinator):
    client = sign_in(coordinator)
    set_up_app(client)
    asked = client.post("/accounts/email/", {"action_add": "", "email": "new@x.example"})
    assert asked.status_code == 302
    assert "confirm your email" in next(one.subject for one in delivered() if "new@x" in one.to[0])


def test_ways_to_confirm_who_you_are_have_the_names_of_the_other_pages(coordinator):
    client = sign_in(coordinator)
    set_up_app(client)
    told = client.get("/accounts/reauthenticate/").content.decode()
    assert "Use the app or a recovery code" in told
    page = client.get(f"{SET_UP}reauthenticate/").content.decode()
    assert "Confirm that it is you" in page
    assert "Use your password" in page


def test_the_owner_is_mailed_what_changed(observer):
    client = sign_in(observer)
    set_up_app(client)
    delivered()
    client.post(f"{SET_UP}totp/deactivate/")
    assert {letter.to[0] for letter in delivered()} == {observer.person.email}


def test_an_operator_lets_in_who_has_lost_everything(program, coordinator):
    client = sign_in(coordinator)
    set_up_app(client)
    delivered()
    call_command("reset_second_factor", coordinator.person.email.upper())
    assert page(client, program, "review").url.startswith("/accounts/login/")
    assert page(sign_in(coordinator), program, "review").url == SET_UP
    assert ["removed the second step" in one.body for one in delivered()] == [True]


class TestDevices:
    def test_others_are_signed_out_and_this_one_stays(self, program, observer):
        here, lost = sign_in(observer), sign_in(observer)
        shown = here.get("/accounts/devices/").content.decode()
        assert shown.count("127.0.0.1") == 2
        here.post("/accounts/devices/")
        assert page(here, program, "tonight").status_code == 200
        assert page(lost, program, "tonight").url.startswith("/accounts/login/")
        assert UserSession.objects.count() == 1

    def test_nobody_sees_or_ends_the_sessions_of_others(self, program, observer, partner):
        theirs = sign_in(partner)
        client = sign_in(observer)
        client.post("/accounts/devices/")
        assert client.get("/accounts/devices/").context["session_count"] == 1
        assert page(theirs, program, "trends").status_code == 200
