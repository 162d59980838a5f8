"""Nobody gets into the account of another: by an invitation, a second address, an old link."""

import re

import pytest
from allauth.account.models import EmailAddress
from django.test import Client

from accounts.invitations import invite
from accounts.models import Person, Role
from tests.support.builders import PASSWORD, make_person
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db

VICTIM, INTRUDER = "nell@example.org", "intruder@example.net"
NEW = "another-quiet-evening"
LINK = re.compile(r"http://testserver(/accounts/\S+)")


@pytest.fixture
def link(coordinator):
    """The link of the victim's invitation."""
    return invite(
        coordinator, email=VICTIM, name="Nell", role=Role.OBSERVER, site_url="http://testserver/"
    ).link


@pytest.fixture
def victim(db) -> Person:
    return make_person("Nell Brook", VICTIM)


def sign_in(email, password=PASSWORD):
    client = Client()
    client.post("/accounts/login/", {"login": email, "password": password})
    return client


def is_signed_in(client):
    return client.get("/guide/").status_code == 200


def ask_for_address(client, email):
    """Ask for another address, and confirm with the password as the site then wants."""
    return on_email_page(client, action_add="", email=email)


def on_email_page(client, **data):
    asked = client.post("/accounts/email/", data)
    return client.post(asked.url, {"password": PASSWORD}) if "reauth" in asked.url else asked


def links_mailed(to):
    return [path for one in delivered() if one.to == [to] for path in LINK.findall(one.body)]


def reset_links(email):
    """The links that arrive at an address when a new password is asked for there."""
    Client().post("/accounts/password/reset/", {"email": email})
    return links_mailed(email.lower())


def set_password(path, password=NEW):
    client = Client()
    page = client.get(path, follow=True)
    return client.post(page.request["PATH_INFO"], {"password1": password, "password2": password})


def test_who_joined_with_a_stolen_link_is_thrown_out_by_a_new_password(link):
    """An inviting coordinator once saw the link: joined in the victim's name, added an address of
    their own, and set new passwords through it ever after."""
    intruder = Client()
    intruder.post(link, {"name": "Nell", "password": PASSWORD, "password_again": PASSWORD})
    ask_for_address(intruder, INTRUDER)
    (confirm,) = links_mailed(INTRUDER)
    assert reset_links(INTRUDER) == []

    (path,) = reset_links(VICTIM)
    set_password(path)
    assert not is_signed_in(intruder)
    assert reset_links(INTRUDER) == []
    Client().post(confirm)
    assert set(EmailAddress.objects.values_list("email", "verified")) == {
        (address, True) for address in Person.objects.values_list("email", flat=True)
    }
    assert reset_links(INTRUDER) == []
    assert is_signed_in(sign_in(VICTIM, NEW))


def test_a_new_address_takes_effect_when_confirmed_and_the_old_one_is_told(victim):
    client = sign_in(VICTIM)
    ask_for_address(client, "Nell.Brook@example.org")
    (confirm,) = links_mailed("nell.brook@example.org")
    assert is_signed_in(sign_in(VICTIM))
    assert not is_signed_in(sign_in("nell.brook@example.org"))
    Client().post(confirm)
    (told,) = [one for one in delivered() if one.to == [VICTIM]]
    assert "You now sign in with nell.brook@example.org" in told.body
    victim.refresh_from_db()
    assert victim.email == "nell.brook@example.org"
    assert is_signed_in(sign_in("NELL.brook@example.org"))
    assert not is_signed_in(sign_in(VICTIM))
    assert reset_links(VICTIM) == []


def test_an_address_is_changed_only_after_the_password_was_asked_for(victim):
    client = Client()
    client.force_login(victim)
    asked = client.post("/accounts/email/", {"action_add": "", "email": INTRUDER})
    assert asked.url.startswith("/accounts/reauthenticate/")
    assert not EmailAddress.objects.filter(email=INTRUDER).exists()
    assert delivered() == []


def test_only_one_change_is_under_way_and_it_can_be_called_off(victim):
    client = sign_in(VICTIM)
    ask_for_address(client, "first@example.org")
    ask_for_address(client, "second@example.org")
    assert [one.email for one in victim.emailaddress_set.filter(verified=False)] == [
        "second@example.org"
    ]
    on_email_page(client, action_remove="", email="second@example.org")
    on_email_page(client, action_remove="", email=VICTIM)
    assert [one.email for one in victim.emailaddress_set.all()] == [VICTIM]


def test_a_reset_link_dies_with_the_address_it_was_sent_to(victim):
    (old,) = reset_links(VICTIM)
    ask_for_address(sign_in(VICTIM), "new@example.org")
    Client().post(links_mailed("new@example.org")[0])
    assert "This link no longer works" in Client().get(old, follow=True).content.decode()


def test_a_reset_link_works_once_and_ends_every_session(victim):
    sessions = [sign_in(VICTIM), sign_in(VICTIM)]
    (path,) = reset_links(VICTIM.upper())
    set_password(path)
    assert [is_signed_in(client) for client in sessions] == [False, False]
    assert "This link no longer works" in Client().get(path, follow=True).content.decode()


def test_a_new_password_opens_an_account_that_wrong_ones_have_locked(victim, settings):
    settings.ACCOUNT_RATE_LIMITS = {"login_failed_anywhere": "2/h/key"}
    for _ in range(2):
        sign_in(VICTIM, "wrong")
    assert not is_signed_in(sign_in(VICTIM))
    (path,) = reset_links(VICTIM)
    set_password(path)
    assert is_signed_in(sign_in(VICTIM, NEW))


def test_a_changed_password_ends_the_other_sessions(victim):
    here, elsewhere = sign_in(VICTIM), sign_in(VICTIM)
    new = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    here.post("/accounts/password/change/", new)
    assert [is_signed_in(client) for client in (here, elsewhere)] == [True, False]
    assert [(told.to, "password was changed" in told.subject) for told in delivered()] == [
        ([VICTIM], True)
    ]


def test_an_address_that_another_account_asked_for_still_joins_by_invitation(link):
    intruder = make_person("Somebody", INTRUDER)
    client = sign_in(INTRUDER)
    ask_for_address(client, VICTIM.upper())
    (confirm,) = [LINK.search(one.body)[1] for one in delivered() if "confirm" in one.subject]
    Client().post(link, {"name": "Nell", "password": NEW, "password_again": NEW})
    Client().post(confirm)
    intruder.refresh_from_db()
    assert intruder.email == INTRUDER
    owner = EmailAddress.objects.get(email=VICTIM, verified=True).user
    assert (owner.email, owner.check_password(NEW)) == (VICTIM, True)
    (path,) = reset_links(VICTIM)
    set_password(path, "yet-another-evening")
    intruder.refresh_from_db()
    assert intruder.check_password(PASSWORD)


def test_the_address_of_another_account_cannot_be_taken(victim):
    make_person("Somebody", INTRUDER)
    ask_for_address(sign_in(INTRUDER), VICTIM.title())
    for one in delivered():
        for path in LINK.findall(one.body):
            if "confirm-email" in path:
                Client().post(path)
    assert Person.objects.get(email=VICTIM) == victim
    assert (
        not EmailAddress.objects.filter(email=VICTIM, verified=True).exclude(user=victim).exists()
    )


def test_a_closed_account_gets_no_reset_link(victim):
    Person.objects.update(is_active=False)
    assert reset_links(VICTIM) == []
