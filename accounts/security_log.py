"""What happened to the accounts of a program: who signed in, changed what, gave which right.

The rows are written by triggers of the database (migration 0007), so that nothing that changes an
account goes past them. An act of a person stands in every program whose member they were then; an
act on a membership or token in its own program.
"""

from __future__ import annotations

from django.db import models
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy

from accounts.access import Permission, require
from accounts.models import Membership, Role, Scope, SecurityAct
from surveys.language import gettext


class Act(models.TextChoices):
    SIGNED_IN = "signed-in", gettext_lazy("Signed in")
    WRONG_PASSWORD = "wrong-password", gettext_lazy("Someone typed a wrong password")
    WRONG_STEP = "wrong-step", gettext_lazy("Someone failed at the second step")
    PASSWORD = "password", gettext_lazy("Set a new password")
    ADDRESS = "address", gettext_lazy("Changed the email address")
    CLOSED = "closed", gettext_lazy("Account closed")
    OPENED = "opened", gettext_lazy("Account opened")
    JOINED = "joined", gettext_lazy("Joined the program")
    LEFT = "left", gettext_lazy("Removed from the program")
    RETURNED = "returned", gettext_lazy("Became a member again")
    ROLE = "role", gettext_lazy("Role changed")
    EXACT_GIVEN = "exact-given", gettext_lazy("May download exact locations")
    EXACT_TAKEN = "exact-taken", gettext_lazy("May no longer download exact locations")
    TOKEN_MADE = "token-made", gettext_lazy("Made a token")
    TOKEN_ENDED = "token-ended", gettext_lazy("Token ended")
    STEP_ADDED = "step-added", gettext_lazy("Set up a second step at sign-in")
    STEP_REMOVED = "step-removed", gettext_lazy("Removed a second step at sign-in")


FAILED_SIGN_INS = (Act.WRONG_PASSWORD, Act.WRONG_STEP)
_STEPS = {
    "totp": gettext_lazy("Authenticator app"),
    "webauthn": gettext_lazy("Passkey"),
    "recovery_codes": gettext_lazy("Recovery codes"),
}


def security_acts(member: Membership) -> QuerySet[SecurityAct]:
    """The acts of the member's program, latest first."""
    require(member, Permission.MANAGE)
    return (
        SecurityAct.objects.filter(program=member.program)
        .select_related("person", "by")
        .order_by("-at", "-pk")
    )


def words_of(act: SecurityAct) -> str:
    return str(Act(act.act).label)


def details_of(act: SecurityAct) -> str:
    """`Observer → Coordinator`; the name and scope of a token; the old and the new address."""
    before, after = act.before, act.after
    if act.act in (Act.ROLE, Act.JOINED, Act.LEFT, Act.RETURNED):
        before, after = (str(Role(role).label) if role else "" for role in (before, after))
    elif act.act in (Act.TOKEN_MADE, Act.TOKEN_ENDED):
        after = str(Scope(after).label)
        return gettext("“{name}”: {scope}").format(name=before, scope=after)
    elif act.act in (Act.STEP_ADDED, Act.STEP_REMOVED):
        after = str(_STEPS.get(after, after))
    elif act.act == Act.PASSWORD and after:
        return gettext("or the server hashed the old one again")
    return " → ".join(part for part in (before, after) if part)
