"""Looking for return times that have passed, every minute."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Greatest
from django.utils import timezone
from procrastinate.contrib.django import app

from surveys.check_ins.contacts import ASKED_WITHIN, MEMBER_KEY
from surveys.check_ins.mailing import GRACE, mail_overdue
from surveys.check_ins.verbs import TOO_LATE
from surveys.models import CheckIn, CheckInContact
from surveys.runs.queues import SHORT

# Return times are of no use later, and say where somebody was.
KEPT = dt.timedelta(days=30)


@app.periodic(cron="* * * * *")
@app.task(name="check_ins.look", queue=SHORT, queueing_lock="look for return times")
def look_for_overdue(timestamp: int) -> None:
    queue_overdue(timezone.now())


@transaction.atomic
def queue_overdue(now: dt.datetime) -> int:
    """Queue the mail of each that is late, once. Returns how many.

    One that reached the site after its time waits anew: its phone has signal, and says so on the
    screen. After TOO_LATE nobody is mailed any more.
    """
    late = (
        CheckIn.objects.filter(back_at=None, overdue_at=None, back_by__gt=now - TOO_LATE)
        .annotate(due=Greatest(F("back_by"), F("begun_at")) + GRACE)
        .filter(due__lte=now)
    )
    rows = list(late.select_for_update(skip_locked=True).order_by("back_by"))
    for row in rows:
        row.overdue_at = now
        row.save(update_fields=["overdue_at"])
        mail_overdue.defer(check_in_id=str(row.pk))
    return len(rows)


@app.periodic(cron="40 4 * * *")
@app.task(name="check_ins.forget", queue=SHORT, queueing_lock="forget return times")
def forget(timestamp: int) -> None:
    """Old return times, and contacts who were taken off a list."""
    now = timezone.now()
    CheckIn.objects.filter(back_by__lt=now - KEPT).delete()
    # Of who never answered the hash stays, so that they are not asked again.
    CheckInContact.objects.filter(
        ~Q(confirmed_at=None) | Q(address_key__startswith=MEMBER_KEY),
        removed_at__lt=now - ASKED_WITHIN,
        asked_at__lt=now - ASKED_WITHIN,
    ).delete()
