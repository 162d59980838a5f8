"""Why a visit cannot be changed. Users read what each exception `says`."""

# ruff: noqa: N818 - the names say what went wrong without ending in Error

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.http import Http404
from django.utils.translation import gettext_lazy

from surveys.language import said, said_of
from surveys.models.visit import VisitState
from surveys.protocol.words import listed

if TYPE_CHECKING:
    from surveys.models import (
        StoredFinding,
        Visit,
    )
    from surveys.visits.telling import ToldFinding


class VisitError(Exception):
    says = gettext_lazy("The visit could not be changed.")

    def __init__(self, message: str | None = None) -> None:
        super().__init__(message or str(self.says))


class NotYours(Http404):
    says = gettext_lazy("There is no such visit here, or it is not yours to open or change.")

    def __init__(self, message: str | None = None) -> None:
        super().__init__(message or str(self.says))


class DraftDiscarded(NotYours):
    says = gettext_lazy(
        "This draft was deleted. To restore it, put its sheet with `recovers`, the time at "
        "which it was deleted."
    )

    def __init__(self, discarded_at: dt.datetime) -> None:
        super().__init__()
        self.discarded_at = discarded_at


class NoAccount(VisitError):
    says = gettext_lazy(
        "The observer of this visit has no account and cannot get it back. Correct it yourself."
    )


class NoProtocolInForce(VisitError):
    says = gettext_lazy("No version of the route's protocol was in effect on that night.")


class NightUnusable(VisitError):
    says = gettext_lazy("The night must be a date between 1900 and 2199, such as 2024-04-15.")


class OtherRoute(VisitError):
    says = gettext_lazy("A visit stays on its route. Start a new visit for the other route.")


class ReasonMissing(VisitError):
    says = gettext_lazy("Write a reason: the observer and later readers need to know why.")


class ReviewBegun(VisitError):
    says = gettext_lazy(
        "A coordinator is reviewing this visit already. Write a message on its page: they can send "
        "it back to you."
    )


class NotSettleable(VisitError):
    says = gettext_lazy("Only a question can be resolved, as “counts” or “excluded from trends”.")


class SheetTooLarge(VisitError):
    says = gettext_lazy("The sheet is too large to be kept. Nothing that was saved before is lost.")


class PhotoRefused(VisitError):
    says = gettext_lazy("The photo could not be read. Send a JPEG, PNG or WebP picture.")


class StaleRevision(VisitError):
    says = gettext_lazy(
        "Someone else changed this visit in the meantime. Look at it again, then decide."
    )

    def __init__(self, visit: Visit) -> None:
        super().__init__()
        self.visit = visit


def _quoted_label(state: VisitState) -> str:
    return said("“{quoted}”", quoted=str(state.label).lower())


class WrongState(VisitError):
    says = gettext_lazy("The visit is in a state that does not allow this.")

    def __init__(self, visit: Visit, allowed: Sequence[str]) -> None:
        may_be = listed((_quoted_label(VisitState(state)) for state in allowed), last="or")
        super().__init__(
            said(
                "The visit is marked {state}; you can do this only while it is {states}.",
                state=_quoted_label(VisitState(visit.state)),
                states=may_be,
            )
        )
        self.visit = visit
        self.allowed = tuple(allowed)


class VisitRefused(VisitError):
    says = gettext_lazy("The visit has entries to fix before you can submit it.")

    def __init__(self, findings: Sequence[ToldFinding]) -> None:
        super().__init__(
            said_of(
                "You cannot submit this visit yet: one entry must be corrected first. "
                "Everything you typed is kept.",
                "You cannot submit this visit yet: {number} entries must be corrected first. "
                "Everything you typed is kept.",
                len(findings),
            )
        )
        self.findings = tuple(findings)


class QueriesOpen(VisitError):
    says = gettext_lazy("Answer every question before you accept the visit.")

    def __init__(self, findings: Sequence[StoredFinding]) -> None:
        super().__init__(
            said_of(
                "One question is open. Answer every question before you accept the visit.",
                "{number} questions are open. Answer every question before you accept the visit.",
                len(findings),
            )
        )
        self.findings = tuple(findings)


class NoRoomLeft(VisitError):
    says = gettext_lazy("There is no more room for files.")


class RecordingRefused(VisitError):
    says = gettext_lazy("The server cannot accept this recording. It is still on the phone.")


class RecordingNotScanned(VisitError):
    says = gettext_lazy(
        "The virus scanner does not answer. What was sent of the recording is kept and will be "
        "checked later."
    )


class RecordingTooLarge(VisitError):
    says = gettext_lazy("The recording is too large. Record in shorter parts.")


class OffsetMismatch(VisitError):
    says = gettext_lazy(
        "The piece does not begin where the last one ended. Ask how far the upload has come."
    )

    def __init__(self, received: int) -> None:
        super().__init__()
        self.received = received


class ChecksumMismatch(VisitError):
    says = gettext_lazy("The piece was damaged on its way. None of it was kept; send it again.")


class RecordingDamaged(VisitError):
    says = gettext_lazy(
        "The pieces do not make up the recording that was announced. They were deleted; send "
        "the recording again from the start."
    )


class NotConfirmable(VisitError):
    says = gettext_lazy(
        "A call is confirmed from a complete voucher recording of the stop where it was written "
        "down with a call index."
    )
