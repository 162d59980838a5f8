"""Sessions that have ended are forgotten every night."""

import datetime as dt

import pytest
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.utils import timezone

from accounts.tidying import clear_expired
from tests.support.builders import PASSWORD

pytestmark = pytest.mark.django_db


def stored():
    """Which of the two counters are in the table; servers that other tests started leave theirs."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT cache_key FROM accounts_cache WHERE cache_key IN (%s, %s)",
            [cache.make_key("old"), cache.make_key("new")],
        )
        return [key for (key,) in cursor.fetchall()]


def test_ended_sessions_go_and_others_stay(observer):
    keys = []
    for _ in range(2):
        client = Client()
        client.post("/accounts/login/", {"login": observer.person.email, "password": PASSWORD})
        keys.append(client.session.session_key)
    ended, open_ = keys
    # Further back than the transaction of the test, whose start is the time of the database.
    past = timezone.now() - dt.timedelta(hours=1)
    Session.objects.filter(pk=ended).update(expire_date=past)
    cache.set("old", 1, timeout=60)
    cache.set("new", 1, timeout=60)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE accounts_cache SET expires = %s WHERE cache_key LIKE %s", [past, "%old"]
        )
    clear_expired(timestamp=0)
    assert set(Session.objects.values_list("pk", flat=True)) == {open_}
    assert set(UserSession.objects.values_list("session_key", flat=True)) == {open_}
    assert (stored(), cache.get("new")) == ([cache.make_key("new")], 1)
