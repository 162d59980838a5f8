"""Verbs of review for many visits at once: one reason, one step in the history of each visit.

As `verbs`, they lock, check, write, then notify; the number of statements grows with hundreds of
visits, not with each. What was chosen may have changed while somebody read the page, so a verb
takes what the page `seen`, and refuses when that is no longer what there is.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext, said_of
from surveys.models import (
    ReviewStep,
    Settlement,
    Step,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity
from surveys.runs.progress import ReportProgress, no_report
from surveys.visits.counting import count_many_in_trends, exclude_rows_from_trends
from surveys.visits.exceptions import NotSettleable, ReasonMissing, VisitError
from surveys.visits.refitting import refit_trends

# As many are done within one request; the others are offered again.
MOST_AT_ONCE = 2_000
_BATCH = 500
_SET_ASIDE_FROM = (VisitState.SUBMITTED, VisitState.SENT_BACK, VisitState.ACCEPTED)


class SelectionChanged(VisitError):  # noqa: N818 - as in exceptions
    """Somebody else reviewed, or visits came in, since the page was shown."""

    def __init__(self) -> None:
        super().__init__(
            gettext("The visits changed since you opened this page. Look at the numbers again.")
        )


@dataclass(frozen=True, kw_only=True)
class Selection:
    """Submitted visits of a route, a season and an imported file; None does not narrow."""

    route: str | None = None
    season_year: int | None = None
    upload: uuid.UUID | None = None


@dataclass(frozen=True, kw_only=True)
class OpenRule:
    """Open questions of one rule among the visits."""

    code: str
    visits: int
    questions: int


def selected(member: Membership, selection: Selection) -> QuerySet[Visit]:
    require(member, Permission.REVIEW)
    lookups = {
        "route__code": selection.route,
        "season_year": selection.season_year,
        "imported__upload": selection.upload,
    }
    return Visit.objects.filter(
        route__program=member.program_id,
        state=VisitState.SUBMITTED,
        **{name: value for name, value in lookups.items() if value is not None},
    )


def open_rules(member: Membership, selection: Selection) -> list[OpenRule]:
    """The rules with open questions, the most frequent first."""
    rows = (
        _open_questions(selected(member, selection))
        .order_by()
        .values("code")
        .annotate(visits=Count("visit", distinct=True), questions=Count("pk"))
        .order_by("-questions", "code")
    )
    return [OpenRule(**row) for row in rows]


def ready(member: Membership, selection: Selection) -> QuerySet[Visit]:
    """The visits without an open question: they can be accepted."""
    open_ones = StoredFinding.objects.filter(
        visit=OuterRef("pk"), severity=Severity.QUERY.value, settlement=""
    )
    return selected(member, selection).exclude(Exists(open_ones))


@transaction.atomic
def settle_many(
    member: Membership,
    selection: Selection,
    *,
    rule: str,
    settlement: str,
    reason: str,
    seen: int,
) -> int:
    """Answer all open questions of a rule among the visits, `seen` in number, with one reason.

    The number of visits. Raises NotSettleable, ReasonMissing, SelectionChanged.
    """
    visits = _locked(selected(member, selection))
    if settlement not in Settlement.values:
        raise NotSettleable
    _check_reason(reason)
    findings = _open_questions(visits).filter(code=rule)
    found = list(findings.values_list("pk", "visit_id"))
    if len(found) != seen or not found:
        raise SelectionChanged
    at = timezone.now()
    StoredFinding.objects.filter(pk__in=[pk for pk, _ in found]).update(
        settlement=settlement, reason=reason.strip(), settled_by=member.person, settled_at=at
    )
    touched = list(dict.fromkeys(visit_id for _, visit_id in found))
    label = Settlement(settlement).label.lower()
    number = said_of(
        "Resolved for this visit alone.", "Resolved for {number} visits at once.", len(touched)
    )
    note = f"{rule}: {label}. {reason.strip()} {number}"
    _save_steps(member, touched, Step.SETTLED, note=note, at=at)
    return len(touched)


@transaction.atomic
def accept_many(member: Membership, selection: Selection, *, seen: int) -> int:
    """Accept the visits without an open question, `seen` in number, MOST_AT_ONCE of them.

    The number of visits. Raises SelectionChanged.
    """
    waiting = ready(member, selection)
    if not seen or waiting.count() != seen:
        raise SelectionChanged
    oldest = waiting.order_by("submitted_at", "pk").values_list("pk", flat=True)[:MOST_AT_ONCE]
    visits = _locked(ready(member, selection).filter(pk__in=list(oldest)))
    for some in _batches(visits):
        counting = count_many_in_trends(some)
        Visit.objects.filter(pk__in=some).update(state=VisitState.ACCEPTED)
        Visit.objects.filter(pk__in=counting).update(counts_in_trends=True)
    note = said_of("Accepted alone.", "Accepted together, {number} visits at once.", len(visits))
    _save_steps(member, visits, Step.ACCEPTED, note=note, at=timezone.now())
    refit_trends(member.program_id)
    return len(visits)


def set_aside_many(
    member: Membership,
    visits: QuerySet[Visit],
    *,
    note: str,
    report: ReportProgress = no_report,
) -> int:
    """Set visits of the program aside, whatever was decided about them. Call it in a transaction.

    The number of visits. Raises ReasonMissing.
    """
    require(member, Permission.REVIEW)
    _check_reason(note)
    of_program = visits.filter(route__program=member.program_id, state__in=_SET_ASIDE_FROM)
    chosen = _locked(of_program)
    counted = Visit.objects.filter(pk__in=chosen, counts_in_trends=True).exists()
    for number, some in enumerate(_batches(chosen)):
        report(gettext("Setting the visits aside"), number * _BATCH, len(chosen))
        exclude_rows_from_trends(some)
        # The only way to `set aside` is from `submitted` (the state machine of the table).
        Visit.objects.filter(pk__in=some).exclude(state=VisitState.SUBMITTED).update(
            state=VisitState.SUBMITTED, counts_in_trends=False
        )
        Visit.objects.filter(pk__in=some).update(state=VisitState.SET_ASIDE)
    _save_steps(member, chosen, Step.SET_ASIDE, note=note, at=timezone.now())
    if counted:
        refit_trends(member.program_id)
    return len(chosen)


def _open_questions(visits: QuerySet[Visit] | Sequence[uuid.UUID]) -> QuerySet[StoredFinding]:
    return StoredFinding.objects.filter(
        Q(visit__in=visits), severity=Severity.QUERY.value, settlement=""
    )


def _locked(visits: QuerySet[Visit]) -> list[uuid.UUID]:
    """Always in the same order, so that two people never wait for each other."""
    locked = visits.order_by("pk").select_for_update(of=("self",))
    return list(locked.values_list("pk", flat=True))


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise ReasonMissing


def _batches(visits: Sequence[uuid.UUID]) -> Iterator[Sequence[uuid.UUID]]:
    return (visits[begin : begin + _BATCH] for begin in range(0, len(visits), _BATCH))


def _save_steps(
    member: Membership, visits: Iterable[uuid.UUID], step: Step, *, note: str, at: dt.datetime
) -> None:
    keys = list(visits)
    Visit.objects.filter(pk__in=keys).update(revision=F("revision") + 1, changed_at=at)
    revisions = Visit.objects.filter(pk__in=keys).values_list("pk", "revision")
    ReviewStep.objects.bulk_create(
        [
            ReviewStep(
                visit_id=pk, step=step, by=member.person, at=at, revision=revision, note=note
            )
            for pk, revision in revisions
        ],
        batch_size=_BATCH,
    )
