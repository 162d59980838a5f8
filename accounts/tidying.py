"""What the worker does about accounts every night."""

from importlib import import_module

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import connection
from procrastinate.contrib.django import app

from surveys.runs.queues import SHORT


@app.periodic(cron="40 3 * * *")
@app.task(name="accounts.clear_expired", queue=SHORT, queueing_lock="clear expired sessions")
def clear_expired(timestamp: int) -> None:
    """Forget sessions that have ended, and counters of sign-ins that count no more."""
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
    UserSession.objects.exclude(session_key__in=Session.objects.values("session_key")).delete()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM accounts_cache WHERE expires < now()")
