"""Failed sign-ins, for the security log of those whose account was tried.

Whose address was typed is found out by the worker: the request does the same for an address that
nobody has. At most one line for each address in `_ONE_IN_S`, however often somebody tries; how
often they may is limited by `ACCOUNT_RATE_LIMITS`.
"""

from typing import Any

from allauth.account.models import EmailAddress
from allauth.mfa.signals import authentication_failed
from django.core.cache import cache
from django.db import connection
from django.dispatch import receiver
from django.utils.crypto import salted_hmac
from procrastinate.contrib.django import app

from accounts.models import Person
from accounts.sealing import seal, unseal
from accounts.security_log import Act
from surveys.runs.queues import SHORT

_PURPOSE = "failed-sign-in"
_ONE_IN_S = 10 * 60


def queue_failed_sign_in(email: str, act: Act) -> None:
    """Have the worker note it; once in a while for the same address."""
    email = email.strip().lower()
    sign = salted_hmac(_PURPOSE, f"{act}:{email}", algorithm="sha256").hexdigest()
    if cache.add(f"{_PURPOSE}:{sign}", True, _ONE_IN_S):
        note_failed_sign_in.defer(sealed=seal(email, _PURPOSE), act=act.value)


@app.task(name="accounts.note_failed_sign_in", queue=SHORT)
def note_failed_sign_in(*, sealed: str, act: str) -> None:
    """A line in the log of each program of the person whose confirmed address it is."""
    address = EmailAddress.objects.filter(email=unseal(sealed, _PURPOSE), verified=True).first()
    if address is None:
        return
    with connection.cursor() as cursor:
        # The same function as in the triggers of migration 0007.
        cursor.execute("SELECT accounts_note_act_of_person(%s, %s, '', '')", [address.user_id, act])


@receiver(authentication_failed)
def note_wrong_second_step(user: Person, **more: Any) -> None:
    queue_failed_sign_in(user.email, Act.WRONG_STEP)
