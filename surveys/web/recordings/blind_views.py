"""Hearing recordings of others without seeing what was written down."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.language import gettext
from surveys.models import ListeningPeriod, Recording
from surveys.programs.versions import units_of
from surveys.protocol.weather import show_temperature
from surveys.ranges import serve_file
from surveys.visits.blind import answering
from surveys.visits.blind.waiting import next_recording, waiting_recordings
from surveys.visits.exceptions import NotYours
from surveys.visits.loading import checklist_on
from surveys.web.recordings.blind_forms import BlindAnswerForm
from surveys.web.recordings.views import seekable_copy


@require_safe
@needs(Permission.SURVEY)
def blind_next(request: ProgramRequest) -> HttpResponse:
    """Leads to the recording that is worth most, or says that none waits."""
    answering.check_may_listen(request.membership)
    recording = next_recording(request.membership)
    if recording is None:
        return render(request, "recordings/blind_none.html", _program_choice(request))
    return redirect("web:blind_listen", request.membership.program.slug, recording.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Permission.SURVEY)
def blind_listen(request: ProgramRequest, recording_id: UUID) -> HttpResponse:
    member = request.membership
    recording = answering.find_waiting(member, recording_id)
    entries = checklist_on(member.program, recording.visit.night)
    form = BlindAnswerForm(
        request.POST if request.method == "POST" else None,
        species=[entry.species for entry in entries if not entry.species.is_silent],
    )
    if form.is_bound and form.is_valid():
        answering.answer_blindly(
            member,
            recording_id,
            heard=form.heard,
            usable=not form.cleaned_data["unusable"],
            note=form.cleaned_data["note"],
        )
        messages.success(request, gettext("Your answer is saved. Thank you."))
        return redirect("web:blind_next", member.program.slug)
    context: dict[str, Any] = {
        "form": form,
        "heading": gettext("What is calling in this recording?"),
        "waiting": waiting_recordings(member).count(),
        "picture": _picture(recording),
        "recording": recording,
        "temperature": _temperature(recording),
        **_program_choice(request),
    }
    return render(request, "recordings/blind.html", context, status=422 if form.errors else 200)


@require_safe
@needs(Permission.SURVEY)
def blind_sound(request: ProgramRequest, recording_id: UUID) -> HttpResponseBase:
    """The sound alone: its file name would tell route, stop and species."""
    recording = answering.find_waiting(request.membership, recording_id)
    return serve_file(
        request,
        seekable_copy(recording) or recording.audio,
        etag=f'"{recording.sha256}-blind"',
        content_type=recording.media_type,
    )


@require_safe
@needs(Permission.SURVEY)
def blind_picture(request: ProgramRequest, recording_id: UUID) -> HttpResponseBase:
    picture = _picture(answering.find_waiting(request.membership, recording_id))
    if picture is None:
        raise NotYours(gettext("This recording has no picture."))
    etag = f'"{picture.made_at.timestamp()}"'
    return serve_file(request, picture.image, etag=etag, content_type="image/png")


@require_POST
@needs(Permission.MANAGE)
def blind_listeners(request: ProgramRequest) -> HttpResponse:
    """Whether observers with a valid test listen, too."""
    program = answering.let_tested_observers_listen(request.membership, "tested" in request.POST)
    messages.success(
        request,
        gettext("Observers with a valid call-identification test can now listen, too.")
        if program.tested_observers_listen
        else gettext("Only coordinators listen now."),
    )
    return redirect("web:blind_next", program.slug)


def _picture(recording: Recording) -> Any:
    picture = getattr(recording, "picture", None)
    return None if picture is None or picture.problem else picture


def _temperature(recording: Recording) -> str:
    """Of the air at the stop, or else at the start of the visit; blank where it is not known. The
    warmer it is, the faster most species call."""
    visit = recording.visit
    period = ListeningPeriod.objects.filter(visit=visit, stop=recording.stop_id).first()
    degrees = period.air_temperature_c if period else None
    if degrees is None:
        degrees = visit.start_air_temperature_c
    if degrees is None:
        return ""
    return show_temperature(degrees, units_of(visit.route.program).temperature)


def _program_choice(request: ProgramRequest) -> dict[str, Any]:
    return {"may_choose": may(request.membership, Permission.MANAGE)}
