"""The verbs of submission and review: each locks the visit, checks, writes, then notifies.

`member` is the membership of the person who acts. Every verb raises PermissionDenied when the
role does not allow it, NotYours, WrongState, and StaleRevision when `revision` is not the
current one. A verb that succeeds increments the revision and records a review step.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping

from django.db import transaction
from django.utils import timezone

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    CallIndex,
    Confirmation,
    ReviewStep,
    Settlement,
    Step,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity
from surveys.visits.access import (
    EDITABLE,
    check_revision,
    check_state,
    lock_own_visit,
    lock_visit,
)
from surveys.visits.confirmable import CONFIRMABLE, call_to_confirm
from surveys.visits.counting import (
    count_in_trends,
    exclude_from_trends,
)
from surveys.visits.drafts import apply_changes
from surveys.visits.exceptions import (
    NoAccount,
    NotSettleable,
    NotYours,
    QueriesOpen,
    ReasonMissing,
    ReviewBegun,
    VisitRefused,
)
from surveys.visits.judging import read_and_judge
from surveys.visits.notices import mail_accepted, mail_sent_back
from surveys.visits.refitting import refit_trends
from surveys.visits.rows import write_rows
from surveys.visits.sheet.cells import CellChange
from surveys.visits.telling import tell_findings


@transaction.atomic
def submit_visit(
    member: Membership,
    visit_id: uuid.UUID | str,
    *,
    revision: int,
    now: dt.datetime | None = None,
) -> Visit:
    """Submit the observer's own sheet. Submitting the same revision again changes nothing.

    Raises VisitRefused when a finding on the sheet is a refusal.
    """
    require(member, Permission.SURVEY)
    visit = lock_own_visit(member, visit_id)
    if visit.submissions.filter(revision=revision + 1, submitted_by=member.person_id).exists():
        return visit
    check_state(visit, EDITABLE)
    check_revision(visit, revision)
    at = now or timezone.now()
    _write_submission(visit, member, at)
    visit.state = VisitState.SUBMITTED
    visit.submitted_at = at
    return _save_step(visit, member, Step.SUBMITTED, at=at)


def may_withdraw(member: Membership, visit: Visit) -> bool:
    """Whether the visit is the member's own, and nobody has reviewed anything of it since it was
    submitted."""
    if visit.observer_id != member.person_id or visit.state != VisitState.SUBMITTED:
        return False
    last = visit.steps.exclude(step=Step.MESSAGE).last()
    return last is not None and last.step == Step.SUBMITTED


@transaction.atomic
def withdraw(member: Membership, visit_id: uuid.UUID | str, *, revision: int) -> Visit:
    """Give the observer the submitted sheet again, to change it before it is reviewed. What was
    submitted is kept.

    Raises ReviewBegun.
    """
    require(member, Permission.SURVEY)
    visit = lock_own_visit(member, visit_id)
    check_state(visit, [VisitState.SUBMITTED])
    check_revision(visit, revision)
    if not may_withdraw(member, visit):
        raise ReviewBegun
    visit.state = VisitState.SENT_BACK
    return _save_step(visit, member, Step.WITHDRAWN)


@transaction.atomic
def correct_cells(
    member: Membership,
    visit_id: uuid.UUID | str,
    changes: Mapping[str, CellChange],
    *,
    reason: str,
    revision: int,
) -> Visit:
    """Correct a submitted sheet as a coordinator.

    The observer's submission is kept; the correction becomes a submission of its own. Raises
    ReasonMissing, VisitRefused.
    """
    visit = _lock_for_review(member, visit_id, [VisitState.SUBMITTED], revision)
    _check_reason(reason)
    at = timezone.now()
    overriding = {
        address: CellChange(was=visit.cells.get(address, ""), now=change.now)
        for address, change in changes.items()
    }
    apply_changes(visit, overriding)
    visit.revision = revision
    _write_submission(visit, member, at)
    return _save_step(visit, member, Step.CORRECTED, note=reason, at=at)


@transaction.atomic
def settle(
    member: Membership,
    finding_id: int,
    *,
    settlement: str,
    reason: str,
    revision: int,
    whole_kind: bool = False,
) -> Visit:
    """Answer a query: what it is about `counts` in trends, or is `left_out`. With `whole_kind`,
    answer all open queries of the visit that come from the same rule.

    Raises NotSettleable, ReasonMissing.
    """
    require(member, Permission.REVIEW)
    visit_id = (
        StoredFinding.objects.filter(pk=finding_id, visit__route__program=member.program_id)
        .values_list("visit_id", flat=True)
        .first()
    )
    if visit_id is None:
        raise NotYours(
            gettext("There is no such finding. The visit may have been submitted again.")
        )
    visit = _lock_for_review(member, visit_id, [VisitState.SUBMITTED], revision)
    finding = visit.findings.filter(pk=finding_id).first()
    if finding is None:
        raise NotYours(
            gettext("There is no such finding. The visit may have been submitted again.")
        )
    if finding.severity != Severity.QUERY or settlement not in Settlement.values:
        raise NotSettleable
    _check_reason(reason)
    at = timezone.now()
    answered = [finding]
    if whole_kind:
        alike = visit.findings.filter(
            code=finding.code, severity=Severity.QUERY.value, settlement=""
        )
        answered += alike.exclude(pk=finding.pk)
    for one in answered:
        one.settlement = settlement
        one.reason = reason.strip()
        one.settled_by = member.person
        one.settled_at = at
        one.save()
    label = Settlement(settlement).label.lower()
    number = f" ({len(answered)})" if len(answered) > 1 else ""
    note = f"{finding.code}{number}: {label}. {finding.reason}"
    return _save_step(visit, member, Step.SETTLED, note=note, at=at)


@transaction.atomic
def accept(
    member: Membership, visit_id: uuid.UUID | str, *, revision: int, site_url: str = ""
) -> Visit:
    """Accept a visit: it counts in trends, except for what was left out. Raises QueriesOpen.

    With the address of this installation its observer gets mail; many that are accepted at once
    send none.
    """
    visit = _lock_for_review(member, visit_id, [VisitState.SUBMITTED], revision)
    findings = list(visit.findings.select_related("stop", "species"))
    open_queries = [f for f in findings if f.severity == Severity.QUERY and not f.settlement]
    if open_queries:
        raise QueriesOpen(open_queries)
    visit.state = VisitState.ACCEPTED
    count_in_trends(visit, findings)
    _save_step(visit, member, Step.ACCEPTED)
    if site_url and visit.observer_id != member.person_id:
        mail_accepted.defer(step_id=visit.steps.latest("pk").pk, site_url=site_url)
    refit_trends(member.program_id)
    return visit


@transaction.atomic
def send_back(
    member: Membership,
    visit_id: uuid.UUID | str,
    *,
    note: str,
    revision: int,
    site_url: str = "",
) -> Visit:
    """Return the sheet to its observer, with a note that is also mailed.

    `site_url`, the address of this installation, is used for the link in the mail.
    """
    visit = _lock_for_review(member, visit_id, [VisitState.SUBMITTED], revision)
    _check_reason(note)
    if not visit.observer.has_account:
        raise NoAccount
    visit.state = VisitState.SENT_BACK
    _save_step(visit, member, Step.SENT_BACK, note=note)
    mail_sent_back.defer(step_id=visit.steps.latest("pk").pk, site_url=site_url)
    return visit


@transaction.atomic
def set_aside(member: Membership, visit_id: uuid.UUID | str, *, note: str, revision: int) -> Visit:
    """Keep the visit but exclude it from review and trends."""
    visit = _lock_for_review(member, visit_id, [VisitState.SUBMITTED], revision)
    _check_reason(note)
    visit.state = VisitState.SET_ASIDE
    return _save_step(visit, member, Step.SET_ASIDE, note=note)


@transaction.atomic
def reopen(member: Membership, visit_id: uuid.UUID | str, *, note: str, revision: int) -> Visit:
    """Return an accepted or set-aside visit to review; it no longer counts in trends."""
    reopenable = [VisitState.ACCEPTED, VisitState.SET_ASIDE]
    visit = _lock_for_review(member, visit_id, reopenable, revision)
    _check_reason(note)
    was_counted = visit.counts_in_trends
    visit.state = VisitState.SUBMITTED
    exclude_from_trends(visit)
    _save_step(visit, member, Step.REOPENED, note=note)
    if was_counted:
        refit_trends(member.program_id)
    return visit


@transaction.atomic
def confirm_by_ear(
    member: Membership,
    visit_id: uuid.UUID | str,
    *,
    recording_id: uuid.UUID,
    species: str,
    revision: int,
) -> Visit:
    """Say that a species, by its code, was heard again in a recording of its stop.

    The call becomes a certain detection. Raises NotConfirmable.
    """
    visit = _lock_for_review(member, visit_id, CONFIRMABLE, revision)
    recording, call = call_to_confirm(member, visit, recording_id, species)
    at = timezone.now()
    Confirmation.objects.create(call=call, recording=recording, by=member.person, at=at)
    return _save_confirmation_step(visit, member, Step.CONFIRMED, call, at)


@transaction.atomic
def take_back_confirmation(
    member: Membership, visit_id: uuid.UUID | str, confirmation_id: int, *, revision: int
) -> Visit:
    """The call is no longer a certain detection; that it once was stays in the history."""
    visit = _lock_for_review(member, visit_id, CONFIRMABLE, revision)
    confirmation = (
        Confirmation.objects.filter(pk=confirmation_id, call__period__visit=visit)
        .select_related("call__species", "call__period__stop")
        .first()
    )
    if confirmation is None:
        raise NotYours(gettext("There is no such confirmation. It may already be withdrawn."))
    confirmation.delete()
    return _save_confirmation_step(
        visit, member, Step.TAKEN_BACK, confirmation.call, timezone.now()
    )


def _save_confirmation_step(
    visit: Visit, member: Membership, step: Step, call: CallIndex, at: dt.datetime
) -> Visit:
    note = said(
        "{species} at stop {stop}",
        species=call.species.common_name,
        stop=call.period.stop.number,
    )
    _save_step(visit, member, step, note=note, at=at)
    if visit.counts_in_trends:
        refit_trends(member.program_id)
    return visit


def _lock_for_review(
    member: Membership, visit_id: uuid.UUID | str, allowed: list[str], revision: int
) -> Visit:
    require(member, Permission.REVIEW)
    visit = lock_visit(member, visit_id)
    check_state(visit, allowed)
    check_revision(visit, revision)
    return visit


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise ReasonMissing


def _write_submission(visit: Visit, member: Membership, at: dt.datetime) -> None:
    judgment = read_and_judge(visit, at)
    if judgment.refusals:
        raise VisitRefused(tell_findings(judgment.refusals, visit.route.program))
    write_rows(visit, judgment)
    Submission.objects.create(
        visit=visit,
        revision=visit.revision + 1,
        cells=visit.cells,
        submitted_by=member.person,
        submitted_at=at,
    )


def _save_step(
    visit: Visit,
    member: Membership,
    step: Step,
    *,
    note: str = "",
    at: dt.datetime | None = None,
) -> Visit:
    visit.revision += 1
    visit.save()
    ReviewStep.objects.create(
        visit=visit,
        step=step,
        by=member.person,
        at=at or timezone.now(),
        revision=visit.revision,
        note=note.strip(),
    )
    return visit
