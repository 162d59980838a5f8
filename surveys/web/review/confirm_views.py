"""Confirms calls by ear from their recordings, and takes it back."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext
from surveys.models import Visit
from surveys.visits import verbs
from surveys.visits.exceptions import NotYours
from surveys.web.review.forms import posted_revision
from surveys.web.review.views import Attempt, carry_out, visit_url


@require_POST
@needs(Permission.REVIEW)
def confirm(request: ProgramRequest, visit: UUID) -> HttpResponse:
    """Confirm one species of the sheet from one recording, then return to that recording."""
    attempt = Attempt(verb="confirm", seen=posted_revision(request.POST))
    recording = request.POST.get("recording", "")

    def act() -> Visit:
        try:
            recording_id = UUID(recording)
        except ValueError:
            raise NotYours(
                gettext("There is no such recording. It may have been removed.")
            ) from None
        return verbs.confirm_by_ear(
            request.membership,
            visit,
            recording_id=recording_id,
            species=request.POST.get("species", ""),
            revision=attempt.seen,
        )

    return _back_to(request, carry_out(request, visit, attempt, act), recording)


@require_POST
@needs(Permission.REVIEW)
def take_back(request: ProgramRequest, visit: UUID, confirmation: int) -> HttpResponse:
    attempt = Attempt(verb="take_back", seen=posted_revision(request.POST))

    def act() -> Visit:
        return verbs.take_back_confirmation(
            request.membership, visit, confirmation, revision=attempt.seen
        )

    changed = carry_out(request, visit, attempt, act)
    return _back_to(request, changed, request.POST.get("recording", ""))


def _back_to(
    request: ProgramRequest, changed: Visit | HttpResponse, recording: str
) -> HttpResponse:
    if isinstance(changed, HttpResponse):
        return changed
    return redirect(f"{visit_url(request, changed)}#recording-{recording}")
