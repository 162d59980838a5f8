"""Whether a member's call-identification test is valid on a day, and how that is said."""

import datetime as dt
from enum import StrEnum

from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said


class Validity(StrEnum):
    VALID = "valid"
    EXPIRED = "expired"
    AHEAD = "ahead"
    NONE = "none"


def validity_on(member: Membership, day: dt.date) -> Validity:
    if member.trained_on is None:
        return Validity.NONE
    if day < member.trained_on:
        return Validity.AHEAD
    if member.trained_until is not None and member.trained_until < day:
        return Validity.EXPIRED
    return Validity.VALID


def validity_in_words(member: Membership, day: dt.date) -> str:
    """What stands beside the name: `test valid to 1 Jun 2026`."""
    validity = validity_on(member, day)
    if validity is Validity.NONE:
        return gettext("no test on record")
    if validity is Validity.AHEAD:
        return said("test valid from {day}", day=dates.short_day(member.trained_on))
    if validity is Validity.EXPIRED:
        return said("test expired on {day}", day=dates.short_day(member.trained_until))
    if member.trained_until is None:
        return gettext("test valid")
    return said("test valid to {day}", day=dates.short_day(member.trained_until))
