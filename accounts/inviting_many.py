"""Inviting a list of people at once: all of them or none."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models.functions import Lower
from django.utils import timezone

from accounts.access import Permission, require
from accounts.invitations import make_invitation, send_invitation
from accounts.invited_lists import LineProblem, ListedPerson, read_list
from accounts.models import Invitation, Membership, Role
from surveys.language import said
from surveys.models import Program

# Coordinators are invited one by one.
ROLES = (Role.OBSERVER, Role.PARTNER)
# So that an account that was taken over sends no mail to the whole world.
MOST_IN_A_DAY = 1000


@dataclass(frozen=True, kw_only=True)
class InvitationPlan:
    """Who would be invited. `known` are members, or have an open invitation: they are left out.
    With a problem nobody is invited."""

    invited: tuple[ListedPerson, ...]
    known: tuple[ListedPerson, ...]
    problems: tuple[LineProblem, ...]


def plan_invitations(program: Program, text: str) -> InvitationPlan:
    """What a list would do, in two queries."""
    found = read_list(text)
    known = _members(program) | _invited(program)
    return InvitationPlan(
        invited=tuple(one for one in found.people if one.email not in known),
        known=tuple(one for one in found.people if one.email in known),
        problems=tuple(found.problems),
    )


@transaction.atomic
def invite_many(member: Membership, text: str, *, role: str, site_url: str) -> list[Invitation]:
    """Invite everybody on the list who is not known yet. Raises ValidationError with every problem,
    and then invites nobody."""
    require(member, Permission.MANAGE)
    if role not in ROLES:
        raise ValidationError({"role": said("“{role}” cannot be invited by a list.", role=role)})
    program = Program.objects.select_for_update().get(pk=member.program_id)
    plan = plan_invitations(program, text)
    if plan.problems:
        raise ValidationError({"people": [str(problem) for problem in plan.problems]})
    _check_day(program, plan.invited)
    made = Invitation.objects.bulk_create(
        make_invitation(
            program, email=one.email, name=one.name, role=role, invited_by=member.person
        )
        for one in plan.invited
    )
    for invitation in made:
        send_invitation.defer(invitation_id=invitation.pk, site_url=site_url)
    return made


def _check_day(program: Program, invited: Sequence[ListedPerson]) -> None:
    since = timezone.now() - dt.timedelta(days=1)
    before = program.invitations.filter(created_at__gt=since).count()
    if before + len(invited) > MOST_IN_A_DAY:
        raise ValidationError(
            {
                "people": said(
                    "A program can send {most} invitations in 24 hours, and {before} were sent. "
                    "Send the rest tomorrow.",
                    most=MOST_IN_A_DAY,
                    before=before,
                )
            }
        )


def _members(program: Program) -> set[str]:
    active = program.memberships.filter(active=True)
    return set(active.values_list(Lower("person__email"), flat=True))


def _invited(program: Program) -> set[str]:
    waiting = program.invitations.filter(accepted_at=None, withdrawn_at=None)
    return set(waiting.values_list(Lower("email"), flat=True))
