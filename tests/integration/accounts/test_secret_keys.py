"""What hangs on the secret key of the server, and what happens when it is replaced."""

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.auth.hashers import Argon2PasswordHasher, check_password, make_password
from django.core.management import call_command
from django.test import Client

from accounts import second_factor
from accounts.models import Person
from accounts.sealing import unseal
from tests.support.builders import PASSWORD, make_person

OLD, NEW = "the first key of a server, long enough", "the second key of a server, long enough"
ARGON2 = [
    "accounts.hashing.KeyedPasswordHasher",
    "django.contrib.auth.hashers.Argon2PasswordHasher",
]


@pytest.fixture(autouse=True)
def hashers(settings):
    settings.PASSWORD_HASHERS = ARGON2
    settings.SECRET_KEY = OLD


def replace_key(settings, *, old_is_named: bool = True):
    settings.SECRET_KEY = NEW
    settings.SECRET_KEY_FALLBACKS = [OLD] if old_is_named else []


def test_a_copy_of_the_database_lets_no_password_be_tried(settings):
    """OWASP ASVS 4.0.3, 2.4.5: Argon2 of the password alone does not fit."""
    encoded = make_password(PASSWORD)
    assert check_password(PASSWORD, encoded)
    assert not check_password("another evening", encoded)
    plain = "argon2$" + encoded.split("$", 2)[2]
    assert not Argon2PasswordHasher().verify(PASSWORD, plain)
    replace_key(settings, old_is_named=False)
    assert not check_password(PASSWORD, encoded)


@pytest.mark.django_db
def test_passwords_of_before_and_of_an_old_key_are_hashed_anew_at_sign_in(settings):
    person = make_person("Robin Fenwick", "robin@example.org")

    def hashed_after_sign_in() -> str:
        answer = Client().post("/accounts/login/", {"login": person.email, "password": PASSWORD})
        assert answer.status_code == 302
        return Person.objects.get().password

    Person.objects.update(password=Argon2PasswordHasher().encode(PASSWORD, "salt" * 6))
    with_old = hashed_after_sign_in()
    assert with_old.startswith("keyed_argon2$")
    assert hashed_after_sign_in() == with_old
    replace_key(settings)
    with_new = hashed_after_sign_in()
    assert with_new.split("$")[1] != with_old.split("$")[1]
    replace_key(settings, old_is_named=False)
    assert hashed_after_sign_in() == with_new


@pytest.mark.django_db
def test_second_steps_outlast_the_key(settings, capsys):
    person = make_person()
    adapter = second_factor.SecondFactorAdapter()
    for kind, name in (("totp", "secret"), ("recovery_codes", "seed")):
        Authenticator.objects.create(user=person, type=kind, data={name: adapter.encrypt(kind)})
    Authenticator.objects.create(user=person, type="webauthn", data={"credential": {}})
    replace_key(settings)
    call_command("reseal")
    assert "3 sealed with the newest key" in capsys.readouterr().out
    replace_key(settings, old_is_named=False)
    data = {row.type: row.data for row in Authenticator.objects.all()}
    assert adapter.decrypt(data["totp"]["secret"]) == "totp"
    assert unseal(data["recovery_codes"]["seed"], "second factor") == "recovery_codes"
    settings.SECRET_KEY = OLD
    call_command("reseal")
    told = capsys.readouterr().out
    assert told.startswith("1 sealed")
    assert f"{person.email}: totp was sealed with a key that is not named" in told
