"""The calls of a program's species: made by computer, and kept as references."""

from uuid import UUID

from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_safe

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.models import Species
from surveys.programs.in_force import entries_listed
from surveys.protocol.nights import night_of
from surveys.ranges import serve_file
from surveys.visits.media.references import MEDIA_TYPE, find_reference, kept_references
from surveys.web.calls.hints import hint_rows
from surveys.web.calls.page import beside, calls_of
from surveys.web.calls.shown import CALLERS, made_once

# Of the species that a learner hears together.
MOST_AT_ONCE = 3


@require_GET
@needs(Permission.READ_SEASONS)
def calls(request: ProgramRequest) -> HttpResponse:
    """The species of tonight's checklist and how they sound."""
    member = request.membership
    program = member.program
    entries = (
        program.checklist.select_related("species")
        .prefetch_related("species__members")
        .order_by("order", "pk")
    )
    tonight = night_of(timezone.now(), program.time_zone)
    listed = [entry.species for entry in entries_listed(entries, tonight)]
    context = {
        "calls": calls_of(member, listed),
        "made": made_once(listed),
        "rows": range(1, MOST_AT_ONCE + 1),
        "callers": CALLERS,
    }
    return render(request, "calls/calls.html", context)


@require_GET
@needs(Permission.READ_SEASONS)
def hints(request: ProgramRequest) -> HttpResponse:
    """How often the hint was right, by season."""
    return render(request, "calls/hints.html", {"rows": hint_rows(request.membership)})


@require_GET
@needs(Permission.READ_SEASONS)
def call(request: ProgramRequest, species: str) -> HttpResponse:
    """A species beside what is taken for it."""
    member = request.membership
    shown = get_object_or_404(
        Species.objects.known_to(member.program).prefetch_related("members"), code=species
    )
    context = {
        "species": shown,
        "beside": beside(member, shown),
        "may_manage": may(member, Permission.MANAGE),
        "kept": kept_references(member.program).filter(species=shown),
    }
    return render(request, "calls/call.html", context)


@require_safe
@needs(Permission.READ_SEASONS)
def reference_sound(request: ProgramRequest, reference_id: UUID) -> HttpResponseBase:
    reference = find_reference(request.membership, reference_id)
    return serve_file(request, reference.audio, etag=f'"{reference.pk}"', content_type=MEDIA_TYPE)


@require_safe
@needs(Permission.READ_SEASONS)
def reference_picture(request: ProgramRequest, reference_id: UUID) -> HttpResponseBase:
    reference = find_reference(request.membership, reference_id)
    return serve_file(request, reference.image, etag=f'"{reference.pk}"', content_type="image/png")
