"""Wrong passwords are limited by client address and account, for all processes together."""

import pytest
from django.core.cache import caches
from django.db import connection
from django.test import Client

from deploy.settings import common
from tests.support.builders import PASSWORD, make_person

pytestmark = pytest.mark.django_db

STRANGER, HOME = "198.51.100.7", "203.0.113.20"


@pytest.fixture(autouse=True)
def limits(settings):
    settings.ACCOUNT_RATE_LIMITS = dict(common.ACCOUNT_RATE_LIMITS)
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1


@pytest.fixture
def person(db):
    return make_person(email="robin@example.org")


def sign_in(address, email, password=PASSWORD, **options):
    client = Client(headers={"X-Forwarded-For": address}, **options)
    answer = client.post("/accounts/login/", {"login": email, "password": password})
    return "_auth_user_id" in client.session, answer


def test_a_stranger_with_14_bad_passwords_keeps_nobody_out(person):
    """The stranger's own tries end after five; the owner signs in, and so does a neighbor."""
    answers = [sign_in(STRANGER, person.email, "wrong")[1] for _ in range(14)]
    told = ["Too many wrong passwords" in answer.content.decode() for answer in answers]
    assert told == [False] * 5 + [True] * 9
    assert sign_in(STRANGER, person.email)[0] is False
    assert sign_in(HOME, person.email)[0] is True
    assert sign_in(STRANGER, make_person().email)[0] is True


def test_one_address_cannot_try_account_after_account(person):
    for number in range(30):
        sign_in(STRANGER, f"person{number}@example.net", "wrong")
    assert sign_in(STRANGER, person.email)[0] is False
    assert sign_in(HOME, person.email)[0] is True


def test_an_account_takes_a_hundred_wrong_passwords_an_hour_from_everywhere(person, settings):
    """OWASP ASVS 4.0.3, 2.2.1; fewer here to save time."""
    assert common.ACCOUNT_RATE_LIMITS["login_failed_anywhere"] == "100/h/key"
    settings.ACCOUNT_RATE_LIMITS |= {"login_failed_anywhere": "6/h/key"}
    for number in range(6):
        sign_in(f"192.0.2.{number}", person.email.upper(), "wrong")
    assert sign_in(HOME, person.email)[0] is False


def test_who_is_kept_out_of_an_account_uses_up_nothing_of_the_address(person, settings):
    settings.ACCOUNT_RATE_LIMITS |= {"login_failed": "3/m/ip", "login_failed_anywhere": "1/h/key"}
    sign_in(STRANGER, person.email, "wrong")
    assert not any(sign_in(HOME, person.email)[0] for _ in range(3))
    assert sign_in(HOME, make_person().email)[0] is True


def test_signing_in_rightly_is_never_counted(person):
    assert all(sign_in(HOME, person.email)[0] for _ in range(8))


@pytest.mark.parametrize("count", [1, 2])
def test_a_client_cannot_choose_its_address(person, settings, count):
    """Only the last entries of X-Forwarded-For are those of our proxies."""
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = count
    proxies = ", 192.0.2.1" * (count - 1)
    for number in range(5):
        sign_in(f"10.0.0.{number}, {STRANGER}{proxies}", person.email, "wrong")
    assert sign_in(f"10.0.0.99, {STRANGER}{proxies}", person.email)[0] is False
    assert sign_in(f"10.0.0.99, {HOME}{proxies}", person.email)[0] is True


def test_without_a_proxy_the_header_is_ignored(person, settings):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 0
    for number in range(5):
        sign_in(f"10.0.0.{number}", person.email, "wrong", REMOTE_ADDR=STRANGER)
    assert sign_in("10.0.0.99", person.email, REMOTE_ADDR=STRANGER)[0] is False
    assert sign_in("10.0.0.99", person.email, REMOTE_ADDR=HOME)[0] is True


def test_the_counters_are_in_the_database_for_all_processes(person):
    sign_in(STRANGER, person.email, "wrong")
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM accounts_cache WHERE cache_key LIKE %s", ["%login%"])
        assert cursor.fetchone()[0] >= 3
    assert caches["default"].__class__.__name__ == "DatabaseCache"


def test_who_asks_too_often_is_told_what_to_do(settings):
    settings.ACCOUNT_RATE_LIMITS = {"login": "1/m/ip"}
    assert sign_in(HOME, "robin@example.org")[1].status_code == 200
    answer = sign_in(HOME, "robin@example.org")[1]
    assert answer.status_code == 429
    assert "Wait a few minutes, then try again" in answer.content.decode()
