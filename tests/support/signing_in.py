"""Somebody who has signed in, without the sign-in."""

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.test import Client
from django.utils.crypto import get_random_string

from accounts.models import Person

_KEY_CHARACTERS = "abcdefghijklmnopqrstuvwxyz0123456789"


def sign_in(client: Client, person: Person) -> None:
    """Leave in client and database the session that `force_login` leaves, by two statements instead
    of eighteen, which took a tenth of the time of the tests of pages. The sign-in itself is written
    down nowhere: a test of its date or of the security log signs in by `force_login` or the form.
    Where a second step may be due, so does this."""
    if settings.SECOND_FACTOR_REQUIRED:
        client.force_login(person)
        return
    store = SessionStore(get_random_string(32, _KEY_CHARACTERS))
    session = store.create_model_instance(
        {
            SESSION_KEY: str(person.pk),
            BACKEND_SESSION_KEY: settings.AUTHENTICATION_BACKENDS[0],
            HASH_SESSION_KEY: person.get_session_auth_hash(),
        }
    )
    session.save(force_insert=True)
    client.cookies[settings.SESSION_COOKIE_NAME] = session.session_key
