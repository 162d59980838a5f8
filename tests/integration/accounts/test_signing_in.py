"""Ways in without a password, how long a session lasts, and passwords that are refused."""

import re
import time

import pytest
from django.contrib.auth.password_validation import validate_password
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.test import Client

from accounts import idle
from surveys.web.people.forms import JoinForm
from tests.support.builders import PASSWORD, make_person
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db


@pytest.fixture
def person(db):
    return make_person("Robin Fenwick", "robin@example.org")


def is_signed_in(client):
    return client.get("/guide/").status_code == 200


def sign_in(person, **more):
    client = Client()
    client.post("/accounts/login/", {"login": person.email, "password": PASSWORD, **more})
    return client


class TestMailedCode:
    def ask(self, email):
        client = Client()
        answer = client.post("/accounts/login/code/", {"email": email})
        return client, answer

    def test_it_signs_in_once(self, person):
        client, _ = self.ask(person.email)
        (letter,) = delivered()
        assert letter.to == [person.email]
        code = re.search(r"\n(\S{4,})\n\nIf you did not", letter.body)[1]
        client.post("/accounts/login/code/confirm/", {"code": code})
        assert is_signed_in(client)
        other, _ = self.ask(person.email)
        other.post("/accounts/login/code/confirm/", {"code": code})
        assert not is_signed_in(other)

    def test_the_database_has_no_code(self, person):
        """OWASP ASVS 4.0.3, 2.7.5: what a copy of the session holds is not what was mailed."""
        client, _ = self.ask(person.email)
        code = re.search(r"\n(\S{4,})\n\nIf you did not", delivered()[0].body)[1]
        (session,) = Session.objects.all()
        held = str(session.get_decoded())
        (kept,) = re.findall(r"'code': '(\w+)'", held)
        assert code not in held
        client.post("/accounts/login/code/confirm/", {"code": kept})
        assert not is_signed_in(client)
        client.post("/accounts/login/code/confirm/", {"code": code.lower().replace("-", "")})
        assert is_signed_in(client)

    def test_three_wrong_codes_end_it(self, person):
        client, _ = self.ask(person.email)
        code = re.search(r"\n(\S{4,})\n\nIf you did not", delivered()[0].body)[1]
        for _ in range(3):
            client.post("/accounts/login/code/confirm/", {"code": "WRONG1"})
        client.post("/accounts/login/code/confirm/", {"code": code})
        assert not is_signed_in(client)

    def test_an_unknown_address_gets_the_same_answer_and_no_mail(self, person):
        pages = []
        for email in (person.email, "nobody@example.org"):
            client, answer = self.ask(email)
            shown = client.get(answer.url).content.decode()
            assert email in shown
            pages.append((answer.url, re.sub(r'value="[^"]{20,}"', "", shown.replace(email, ""))))
        assert pages[0] == pages[1]
        assert [letter.to for letter in delivered()] == [[person.email]]

    def test_a_site_may_do_without(self, client, settings):
        """The page then offers none; that there is none: tests/integration/test_settings.py."""
        offers = "Email me a code"
        assert offers in client.get("/accounts/login/").content.decode()
        settings.ACCOUNT_LOGIN_BY_CODE_ENABLED = False
        assert offers not in client.get("/accounts/login/").content.decode()


class TestIdle:
    def test_without_stay_signed_in_half_an_hour_ends_it(self, person, monkeypatch, settings):
        client = sign_in(person)
        start = time.time()
        answers = []
        for minutes in (0, 29, 58, 89):
            monkeypatch.setattr(idle, "time", lambda at=start + 60 * minutes: at)
            answers.append(is_signed_in(client))
        assert answers == [True, True, True, False]
        # The device is told, so that it forgets places: tests/browser/survey/test_signing_out.py.
        assert client.cookies["signed-out"].value == "ended"
        assert settings.SESSION_IDLE_SECONDS == 30 * 60

    def test_a_session_that_was_ended_elsewhere_is_told_too(self, person):
        client = sign_in(person, remember="on")
        Session.objects.all().delete()
        client.get("/guide/")
        assert client.cookies["signed-out"].value == "ended"

    def test_with_stay_signed_in_it_goes_on(self, person, monkeypatch):
        client = sign_in(person, remember="on")
        start = time.time()
        for days in (0, 30, 59):
            monkeypatch.setattr(idle, "time", lambda at=start + days * 24 * 3600: at)
            assert is_signed_in(client)
        assert "signed-out" not in client.cookies

    def test_the_cookie_goes_with_the_browser_unless_asked_to_stay(self, person):
        ages = [sign_in(person, **more).cookies["sessionid"]["max-age"]
                for more in ({}, {"remember": "on"})]  # fmt: skip
        assert ages == ["", 60 * 24 * 3600]

    def test_the_form_offers_to_stay(self, client):
        assert re.search(
            r'name="remember"[^>]*checked', client.get("/accounts/login/").content.decode()
        )


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("aaaaaaaaaaaa", "repeats itself"),
        ("abababababab", "repeats itself"),
        ("frog-frog-frog-", "repeats itself"),
        ("1122112211221", "repeats itself"),
        ("Password2026!", "common password with a few digits"),
        ("...sunshine123", "common password with a few digits"),
        ("1q2w3e4r5t6y", "too common"),
        ("robin@example.org", "too similar"),
        ("quiet-reed7", "at least 12 characters"),
        ((PASSWORD * 7)[:129], "has 129 characters. Use 128 at most"),
    ],
)
def test_easy_passwords_are_refused(person, password, why):
    with pytest.raises(ValidationError, match=why):
        validate_password(password, user=person)


@pytest.mark.parametrize(
    "password",
    [PASSWORD, "correct reed marsh 7", "Teich-am-Abend", "quiet-reed77", (PASSWORD * 7)[:128]],
)
def test_long_mixed_passwords_are_taken(person, password):
    validate_password(password, user=person)


def test_who_joins_is_told_the_length():
    assert "At least 12 characters." in JoinForm()["password"].help_text
