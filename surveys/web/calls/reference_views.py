"""Coordinators keep reference calls: from a confirmed recording, or from a file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext, said
from surveys.models import ReferenceCall, Species
from surveys.visits.exceptions import VisitError
from surveys.visits.media import references as verbs
from surveys.visits.media.recording_access import find_recording
from surveys.web.calls.forms import FileForm, MarkForm, ReferenceForm


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def bring(request: ProgramRequest, species: str) -> HttpResponse:
    """Keep a part of a file."""
    member = request.membership
    shown = get_object_or_404(Species.objects.known_to(member.program), code=species)
    posted = request.method == "POST"
    form = FileForm(
        *((request.POST, request.FILES) if posted else ()),
        initial={
            "license": member.program.data_license,
            "air_unit": member.program.temperature_unit,
        },
    )

    def verb() -> ReferenceCall:
        upload, terms = form.cleaned_data["sound"], form.terms(form.air_celsius)
        return verbs.bring_reference(member, shown.code, upload, terms=terms, **form.part)

    if posted and form.is_valid() and (kept := _kept(form, verb)):
        return _done(request, kept)
    context = {"form": form, "heading": said("Reference call: {species}", species=shown.name)}
    context |= {"back": shown, "brings_file": True}
    return render(request, "calls/keep.html", context, status=400 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def mark(request: ProgramRequest, recording_id: UUID) -> HttpResponse:
    """Keep a part of a confirmed recording; the part may come with the query."""
    member = request.membership
    recording = find_recording(member, recording_id)
    confirmed = list(verbs.confirmed_species(recording))
    posted = request.method == "POST"
    form = MarkForm(
        *((request.POST,) if posted else ()),
        confirmed=confirmed,
        initial={"license": member.program.data_license, **_part_of(request)},
    )

    def verb() -> ReferenceCall:
        return verbs.mark_reference(
            member,
            recording.pk,
            species=form.cleaned_data["species"],
            terms=form.terms(verbs.air_at(recording)),
            **form.part,
        )

    if posted and form.is_valid() and (kept := _kept(form, verb)):
        return _done(request, kept)
    context: dict[str, Any] = {"form": form, "heading": gettext("Keep as a reference call")}
    context |= {"recording": recording, "confirmed": confirmed}
    return render(request, "calls/keep.html", context, status=400 if form.errors else 200)


@require_POST
@needs(Permission.MANAGE)
def remove(request: ProgramRequest, reference_id: UUID) -> HttpResponse:
    species = verbs.remove_reference(request.membership, reference_id)
    messages.success(request, gettext("The reference call is deleted."))
    return redirect("web:call", program=request.membership.program.slug, species=species.code)


def _part_of(request: ProgramRequest) -> dict[str, float]:
    part = {}
    for name in ("begin_s", "end_s"):
        try:
            part[name] = float(request.GET.get(name, ""))
        except ValueError:
            continue
    return part


def _kept(form: ReferenceForm, verb: Callable[[], ReferenceCall]) -> ReferenceCall | None:
    try:
        return verb()
    except VisitError as refusal:
        form.add_error(None, str(refusal))
        return None


def _done(request: ProgramRequest, kept: ReferenceCall) -> HttpResponse:
    messages.success(
        request, said("A reference call of {species} is kept.", species=kept.species.name)
    )
    program = request.membership.program
    return redirect("web:call", program=program.slug, species=kept.species.code)
