"""What observer and coordinators write to each other about a visit, with mail to the other side.

Messages stand among the steps of review. They change nothing of the visit, not even its revision,
so that no phone takes one for a change.
"""

from __future__ import annotations

import uuid

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from accounts.access import Permission, may
from accounts.models import Membership, Person
from surveys.language import gettext, said
from surveys.models import ReviewStep, Step, Visit, VisitState
from surveys.visits.access import lock_visit
from surveys.visits.exceptions import NotYours, ReasonMissing, VisitError
from surveys.visits.notices import mail_message
from surveys.visits.sheet.cells import storable

MOST_CHARACTERS = 4_000
# What the two sides read of each other.
_WRITTEN = (Step.SENT_BACK, Step.MESSAGE)


def takes_part(member: Membership, visit: Visit) -> bool:
    """Whether the member is one of those who write to each other about the visit."""
    return visit.observer_id == member.person_id or may(member, Permission.REVIEW)


def conversation(visit: Visit) -> QuerySet[ReviewStep]:
    """Notes with which the visit was sent back, and messages; the oldest first."""
    steps = visit.steps.filter(step__in=_WRITTEN).select_related("by")
    return steps.order_by("at", "pk")


@transaction.atomic
def write_message(
    member: Membership, visit_id: uuid.UUID | str, text: str, *, site_url: str = ""
) -> ReviewStep:
    """Write to the other side. Raises NotYours, ReasonMissing, VisitError."""
    visit = lock_visit(member, visit_id)
    if not takes_part(member, visit):
        raise NotYours
    text = storable(text).strip()
    if not text:
        raise ReasonMissing(gettext("Write a message first."))
    if len(text) > MOST_CHARACTERS:
        raise VisitError(
            said(
                "Your message has {length} characters; the limit is {most}. Shorten it.",
                length=len(text),
                most=MOST_CHARACTERS,
            )
        )
    if visit.state == VisitState.DRAFT and visit.observer_id == member.person_id:
        raise VisitError(gettext("Submit the visit first; until then, use its notes."))
    step = ReviewStep.objects.create(
        visit=visit,
        step=Step.MESSAGE,
        by=member.person,
        at=timezone.now(),
        revision=visit.revision,
        note=text,
    )
    for person in _other_side(member, visit):
        mail_message.defer(step_id=step.pk, person_id=person.pk, site_url=site_url)
    return step


def _other_side(member: Membership, visit: Visit) -> list[Person]:
    """The observer; or whoever reviewed the visit last, or all coordinators where nobody did."""
    if visit.observer_id != member.person_id:
        return [visit.observer]
    coordinators = [
        one
        for one in member.program.memberships.filter(active=True).select_related("person")
        if may(one, Permission.REVIEW) and one.person_id != member.person_id
    ]
    last = visit.steps.exclude(by=visit.observer_id).order_by("-at", "-pk").first()
    of_last = [one.person for one in coordinators if last and one.person_id == last.by_id]
    return of_last or [one.person for one in coordinators]
