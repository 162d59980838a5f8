"""Detects that a row changed while another person had it open in a form.

A form is rendered from facts: the label of each field and its value in words. They are sent
along with the form and posted back with it. The verb reads the same facts from the locked row
and refuses, before it writes anything, when they differ.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy

from accounts.models import (
    Membership,
    Person,
)
from surveys.language import gettext, said
from surveys.protocol.words import listed

Facts = Mapping[str, str]

CANNOT_TELL = gettext_lazy(
    "We no longer know what this page showed when you opened it. Nothing is saved yet, and "
    "what you typed is kept. Check the current version, then save again."
)
SOMEBODY = gettext_lazy("Someone")
YOU = gettext_lazy("You")


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What a form showed, and when. `facts` is None when the posted copy is unusable."""

    facts: Facts | None
    at: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A field as it was when the form was opened and as it is now; empty means blank."""

    label: str
    before: str
    now: str


class EditConflict(ValidationError):  # noqa: N818 - named after what happened
    """Somebody else saved first. Carries their names, what they changed, and the current facts."""

    def __init__(
        self, message: str, *, differences: tuple[Difference, ...], by: tuple[str, ...], now: Facts
    ) -> None:
        super().__init__(message)
        self.differences = differences
        self.by = by
        self.now = now


def yes_or_no(value: bool) -> str:
    return gettext("yes") if value else gettext("no")


def differences(before: Facts, now: Facts) -> tuple[Difference, ...]:
    """The fields that differ, in the order of `now`; fields missing from `now` come last."""
    labels = [*now, *(label for label in before if label not in now)]
    return tuple(
        Difference(label=label, before=before.get(label, ""), now=now.get(label, ""))
        for label in labels
        if before.get(label, "") != now.get(label, "")
    )


def check_seen(
    member: Membership, seen: Seen | None, now: Facts, events: Iterable[QuerySet]
) -> None:
    """Raise EditConflict when `now`, read from the locked row, is not what the form showed.

    `events` are the histories of the row and its parts. `seen` is None when the change does
    not come from a form; then nothing is checked.
    """
    if seen is None:
        return
    if seen.facts is None:
        raise EditConflict(CANNOT_TELL, differences=(), by=(), now=now)
    changed = differences(seen.facts, now)
    if not changed:
        return
    by = _changers(member, seen.at, events)
    labels = gettext(", ").join(said("“{text}”", text=difference.label) for difference in changed)
    raise EditConflict(
        said(
            "{by} changed {labels} while you had this page open. Your changes are not saved "
            "yet, but what you typed is kept.",
            by=listed(by),
            labels=labels,
        ),
        differences=changed,
        by=by,
        now=now,
    )


def _changers(
    member: Membership, since: dt.datetime | None, events: Iterable[QuerySet]
) -> tuple[str, ...]:
    """Names of the people who changed the row since, in order.

    A change carries the time at which its transaction began, so the latest one counts even
    when it looks older than the form.
    """
    rows = [
        row
        for history in events
        for row in history.values_list("pgh_created_at", "pgh_id", "pgh_context__metadata__user")
    ]
    rows.sort(key=lambda row: row[:2])
    recent_users = [user for at, _, user in rows if since is None or at >= since]
    users = list(dict.fromkeys(recent_users or [user for *_, user in rows[-1:]]))
    people = Person.objects.in_bulk([user for user in users if user is not None])
    return tuple(
        YOU if user == member.person_id else str(people.get(user, SOMEBODY)) for user in users
    ) or (SOMEBODY,)
