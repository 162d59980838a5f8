"""One recording, listened to closely: slower, a part again and again, measured part by part."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from accounts.access import Permission, ProgramRequest, may, needs
from accounts.models import Membership
from surveys import bounded
from surveys.language import gettext, said
from surveys.models import Recording, RecordingPicture
from surveys.visits.media.pictures import measured_part
from surveys.visits.media.recording_access import find_recording
from surveys.visits.media.references import air_at
from surveys.web.calls.page import to_compare
from surveys.web.recordings.forms import PartForm
from surveys.web.recordings.hint_words import shown_hints


@require_safe
@needs(Permission.READ_SEASONS)
def recording_listen(request: ProgramRequest, recording_id: UUID) -> HttpResponse:
    """The page of a recording; what was measured in the part of the query, if there is one. With
    htmx, only that."""
    member = request.membership
    recording = find_recording(member, recording_id)
    picture: RecordingPicture | None = getattr(recording, "picture", None)
    context: dict[str, Any] = {"recording": recording, "picture": picture}
    if picture is not None and not picture.problem:
        asked = bool(request.GET)
        form = PartForm(request.GET if asked else None, seconds=picture.seconds)
        context["form"] = form
        if not asked:
            context["measured"] = picture.measures
        elif form.is_valid():
            context |= _measured(recording, form.cleaned_data)
        if "measured" in context:
            context["hints"] = shown_hints(member, recording, context["measured"])
    if request.htmx:
        return render(request, "recordings/measured.html", context)
    context |= {"heading": _heading(recording), "crumbs": _crumbs(member, recording)}
    context |= {
        "compared": to_compare(member, recording),
        "celsius": "" if (air := air_at(recording)) is None else air,
        "may_keep": may(member, Permission.MANAGE),
    }
    status = 422 if "form" in context and context["form"].errors else 200
    return render(request, "recordings/listen.html", context, status=status)


def _measured(recording: Recording, part: dict[str, float]) -> dict[str, Any]:
    try:
        return {"measured": measured_part(recording, **part)}
    except bounded.RefusedError as refusal:
        return {"trouble": str(refusal)}
    except (bounded.OverLimitError, bounded.BrokenError):
        return {"trouble": gettext("This part could not be measured. Try a shorter one.")}


def _heading(recording: Recording) -> str:
    if recording.stop is None:
        return gettext("Recording without a stop")
    return said("Recording of stop {number}", number=recording.stop.number)


def _crumbs(member: Membership, recording: Recording) -> list[dict[str, str]]:
    visit, slug = recording.visit, member.program.slug
    page, key = ("web:visit", "visit_id")
    if may(member, Permission.REVIEW):
        page, key = ("web:review_visit", "visit")
    url = reverse(page, kwargs={"program": slug, key: visit.pk})
    return [
        {"name": gettext("Visit"), "url": f"{url}#recordings-title"},
        {"name": _heading(recording), "url": ""},
    ]
