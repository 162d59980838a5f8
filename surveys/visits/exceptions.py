"""Why a visit cannot be changed. The docstrings are the messages that users read."""

# ruff: noqa: N818 - the names say what went wrong without ending in Error

from __future__ import annotations

import datetime as dt
import inspect
from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.http import Http404

if TYPE_CHECKING:
    from surveys.models import (
        StoredFinding,
        Visit,
    )
    from surveys.visits.telling import ToldFinding


class VisitError(Exception):
    """The visit could not be changed."""

    def __init__(self, message: str | None = None) -> None:
        super().__init__(message or inspect.getdoc(type(self)))


class NotYours(Http404):
    """There is no such visit here, or it is not yours to open or change."""

    def __init__(self, message: str | None = None) -> None:
        super().__init__(message or inspect.getdoc(type(self)))


class DraftDiscarded(NotYours):
    """This draft was thrown away. To begin it again all the same, put its sheet with `recovers`,
    the time at which it was thrown away."""

    def __init__(self, discarded_at: dt.datetime) -> None:
        super().__init__()
        self.discarded_at = discarded_at


class NoProtocolInForce(VisitError):
    """No version of the route's protocol was in force on that night."""


class NightUnusable(VisitError):
    """The night must be a date between 1900 and 2199, such as 2024-04-15."""


class OtherRoute(VisitError):
    """A visit stays on the route it was begun on. Begin a new visit for the other route."""


class ReasonMissing(VisitError):
    """Write a reason: the observer and later readers need to know why."""


class NotSettleable(VisitError):
    """Only a query can be settled, as “counts” or “left out of trends”."""


class SheetTooLarge(VisitError):
    """The sheet is too large to be kept. Nothing that was saved before is lost."""


class PhotoRefused(VisitError):
    """The photo could not be read. Send a JPEG, PNG or WebP picture."""


class StaleRevision(VisitError):
    """Somebody else changed this visit in the meantime. Look at it again, then decide."""

    def __init__(self, visit: Visit) -> None:
        super().__init__()
        self.visit = visit


class WrongState(VisitError):
    """The visit is in a state that does not allow this."""

    def __init__(self, visit: Visit, allowed: Sequence[str]) -> None:
        is_now = visit.get_state_display().lower()
        may_be = " or ".join(state.replace("_", " ") for state in allowed)
        super().__init__(f"The visit is {is_now}; this can be done only while it is {may_be}.")
        self.visit = visit
        self.allowed = tuple(allowed)


class VisitRefused(VisitError):
    """The sheet holds something impossible, so it cannot be submitted yet."""

    def __init__(self, findings: Sequence[ToldFinding]) -> None:
        number = len(findings)
        places = "one place" if number == 1 else f"{number} places"
        super().__init__(
            f"The sheet cannot be submitted yet: {places} must be mended first. "
            "Everything typed is kept."
        )
        self.findings = tuple(findings)


class QueriesOpen(VisitError):
    """Settle every query before the visit is accepted."""

    def __init__(self, findings: Sequence[StoredFinding]) -> None:
        number = len(findings)
        queries = "One query is" if number == 1 else f"{number} queries are"
        super().__init__(f"{queries} not settled yet. Settle each before accepting the visit.")
        self.findings = tuple(findings)


class RecordingRefused(VisitError):
    """The recording cannot be taken as it is. It is kept on the phone."""


class RecordingTooLarge(VisitError):
    """The recording is larger than the server takes. Record in shorter parts."""


class OffsetMismatch(VisitError):
    """The piece does not begin where the last one ended. Ask how far the upload has come."""

    def __init__(self, received: int) -> None:
        super().__init__()
        self.received = received


class ChecksumMismatch(VisitError):
    """The piece was damaged on its way. Nothing of it was kept; send it again."""


class RecordingDamaged(VisitError):
    """The pieces do not make up the recording that was announced. They were thrown away;
    send the recording again from its beginning."""


class NotConfirmable(VisitError):
    """A call is confirmed from a complete voucher recording of the stop where it was written down
    with a call index."""
