"""Whether somebody changed a row while another person had it open in a form.

A form is made from facts: the label of each field and what it says, in words. They go out
with the form and come back with what was typed. The verb reads them off the locked row once
more, and when they differ it refuses before it writes anything.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from accounts.models import (
    Membership,
    Person,
)
from surveys.protocol.words import listed

Facts = Mapping[str, str]

CANNOT_TELL = (
    "It cannot be told any more what this page showed when you opened it. Nothing is saved yet, "
    "and what you typed is kept. Look at what holds now, then save again."
)
SOMEBODY = "Somebody"
YOU = "You"


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What a form showed, and when. `facts` is None when that cannot be told any more."""

    facts: Facts | None
    at: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A field as it was when the form was opened and as it is now; empty means blank."""

    label: str
    before: str
    now: str


class EditConflict(ValidationError):  # noqa: N818 - named after what happened
    """Others saved first. Carries who, what they changed, and the facts as they are now."""

    def __init__(
        self, message: str, *, differences: tuple[Difference, ...], by: tuple[str, ...], now: Facts
    ) -> None:
        super().__init__(message)
        self.differences = differences
        self.by = by
        self.now = now


def yes_or_no(value: bool) -> str:
    return "yes" if value else "no"


def differences(before: Facts, now: Facts) -> tuple[Difference, ...]:
    """The fields that differ, in the order of `now`, those that are gone after them."""
    labels = [*now, *(label for label in before if label not in now)]
    return tuple(
        Difference(label=label, before=before.get(label, ""), now=now.get(label, ""))
        for label in labels
        if before.get(label, "") != now.get(label, "")
    )


def check_seen(
    member: Membership, seen: Seen | None, now: Facts, events: Iterable[QuerySet]
) -> None:
    """Refuse when `now`, read off the locked row, is not what the form showed.

    `events` are the histories of the row and its parts. Without `seen` there was no form.
    Raises EditConflict.
    """
    if seen is None:
        return
    if seen.facts is None:
        raise EditConflict(CANNOT_TELL, differences=(), by=(), now=now)
    found = differences(seen.facts, now)
    if not found:
        return
    by = _changers(member, seen.at, events)
    what = ", ".join(f"“{one.label}”" for one in found)
    raise EditConflict(
        f"{listed(by)} changed {what} while you had this page open. "
        "Nothing of yours is saved yet, and all that you typed is kept.",
        differences=found,
        by=by,
        now=now,
    )


def _changers(
    member: Membership, since: dt.datetime | None, events: Iterable[QuerySet]
) -> tuple[str, ...]:
    """Names of those who changed the row, in turn. Their clock and ours may differ by the
    length of a transaction, so the last change counts even when it seems older."""
    rows = [
        row
        for history in events
        for row in history.values_list("pgh_created_at", "pgh_id", "pgh_context__metadata__user")
    ]
    rows.sort(key=lambda row: row[:2])
    late = [user for at, _, user in rows if since is None or at >= since]
    users = list(dict.fromkeys(late or [user for *_, user in rows[-1:]]))
    people = Person.objects.in_bulk([user for user in users if user is not None])
    return tuple(
        YOU if user == member.person_id else str(people.get(user, SOMEBODY)) for user in users
    ) or (SOMEBODY,)
