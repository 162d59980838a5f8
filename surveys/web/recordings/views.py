"""Listening to the recordings of visits, and adding one to a paper sheet."""

from uuid import UUID

from django.contrib import messages
from django.db.models.fields.files import FieldFile
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext
from surveys.models import Recording, RecordingPicture
from surveys.ranges import serve_file
from surveys.visits.exceptions import (
    NotYours,
    RecordingRefused,
    VisitError,
)
from surveys.visits.media.audio_formats import file_extension
from surveys.visits.media.recording_access import find_picture, find_recording
from surveys.visits.media.recordings import remove_recording
from surveys.visits.media.whole_files import store_whole_file
from surveys.web.numbers import whole_number


@require_safe
@needs(Permission.READ_SEASONS)
def recording(request: ProgramRequest, recording_id: UUID) -> HttpResponseBase:
    """The audio file, whole or in the ranges that a player requests: the copy that a player can
    jump in, where there is one. A download is what was sent."""
    sound = find_recording(request.membership, recording_id)
    kind = "attachment" if "download" in request.GET else "inline"
    copy = seekable_copy(sound) if kind == "inline" else None
    response = serve_file(
        request,
        copy or sound.audio,
        etag=f'"{sound.sha256}-copy"' if copy else f'"{sound.sha256}"',
        content_type=sound.media_type,
    )
    response["Content-Disposition"] = f'{kind}; filename="{_file_name(sound)}"'
    return response


@require_safe
@needs(Permission.READ_SEASONS)
def picture(request: ProgramRequest, recording_id: UUID) -> HttpResponseBase:
    """The picture of a recording, as PNG."""
    shown = find_picture(request.membership, recording_id)
    return _png(request, shown, shown.image)


@require_safe
@needs(Permission.READ_SEASONS)
def waveform(request: ProgramRequest, recording_id: UUID) -> HttpResponseBase:
    """How loud a recording is over time, as PNG."""
    shown = find_picture(request.membership, recording_id)
    if not shown.waveform:
        raise NotYours(gettext("There is no such picture, or it is not yours to see."))
    return _png(request, shown, shown.waveform)


@require_POST
@needs(Permission.SURVEY)
def sheet_recording(request: ProgramRequest, visit_id: UUID) -> HttpResponse:
    """Add an audio file to the member's own sheet, or remove one."""
    member = request.membership
    try:
        if "remove" in request.POST:
            remove_recording(member, _uuid(request.POST["remove"]))
            messages.success(request, gettext("Recording deleted."))
        elif "sound" in request.FILES:
            store_whole_file(
                member,
                visit_id,
                upload=request.FILES["sound"],
                stop=whole_number(request.POST.get("stop", "")),
                species=request.POST.get("species", ""),
                kind=request.POST.get("kind", ""),
            )
            messages.success(request, gettext("Recording saved."))
        else:
            raise RecordingRefused(gettext("Choose a sound file first."))
    except VisitError as error:
        messages.error(request, str(error))
    return redirect("web:sheet", program=member.program.slug, visit_id=visit_id)


def seekable_copy(recording: Recording) -> FieldFile | None:
    picture = getattr(recording, "picture", None)
    return picture.seekable if picture is not None and picture.seekable else None


def _png(request: ProgramRequest, shown: RecordingPicture, file: FieldFile) -> HttpResponseBase:
    etag = f'"{shown.made_at.timestamp()}"'
    return serve_file(request, file, etag=etag, content_type="image/png")


def _file_name(recording: Recording) -> str:
    """The name of the download, in ASCII: route, night, stop, species code and kind."""
    parts = [
        recording.visit.route.code,
        recording.visit.night.isoformat(),
        f"stop-{recording.stop.number}" if recording.stop else "",
        recording.species.code if recording.species else "",
        recording.kind,
        str(recording.pk)[:8],
    ]
    return f"{'_'.join(part for part in parts if part)}.{file_extension(recording.media_type)}"


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise NotYours(gettext("There is no such recording.")) from None
