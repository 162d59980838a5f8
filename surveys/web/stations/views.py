"""Weather stations near the routes: their daily files, what is known, taking one out."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.importing.problems import UnreadableFileError
from surveys.importing.stations import StationFile, read_station_file
from surveys.language import gettext, said, said_of
from surveys.programs import stations as verbs
from surveys.web.forms.refusals import run_verb
from surveys.web.stations.forms import StationForm


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def stations(request: ProgramRequest) -> HttpResponse:
    """The stations, and the form that brings the file of one."""
    program = request.membership.program
    posted = request.method == "POST"
    form = StationForm(*((request.POST, request.FILES) if posted else ()), program=program)
    if posted and form.is_valid():
        file = _read(form)
        if file is not None and _bring(request, form, file):
            return redirect("web:stations", program=program.slug)
    context = {
        "section": "stations",
        "form": form,
        "stations": verbs.stations_of(program),
    }
    return render(request, "stations/stations.html", context, status=400 if form.errors else 200)


def _read(form: StationForm) -> StationFile | None:
    facts = form.cleaned_data
    try:
        return read_station_file(
            facts["file"].read(),
            rain_unit=facts["rain_unit"],
            temperature_unit=facts["temperature_unit"],
        )
    except UnreadableFileError as error:
        form.add_error("file", str(error))
        return None


def _bring(request: ProgramRequest, form: StationForm, file: StationFile) -> bool:
    facts = form.cleaned_data
    typed = facts["code"].strip()
    if typed and file.code and typed != file.code:
        form.add_error(
            "code",
            said(
                "The file is of the station {code}. Leave this blank, or send another file.",
                code=file.code,
            ),
        )
        return False
    station = run_verb(
        form,
        verbs.bring_station,
        request.membership,
        code=file.code or typed,
        name=facts["name"],
        place=form.place,
        days=file.days,
    )
    if station is None:
        return False
    days = said_of("{number} day", "{number} days", len(file.days))
    messages.success(request, said("{station}: {days} saved.", station=station.name, days=days))
    if file.failed:
        failed = said_of(
            "{number} value failed a quality check at its source and was left out.",
            "{number} values failed a quality check at their source and were left out.",
            file.failed,
        )
        messages.info(request, failed)
    return True


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def delete(request: ProgramRequest, station: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.station_of(program, station)
    if request.method == "POST":
        verbs.delete_station(request.membership, station)
        messages.success(request, said("{station} is deleted.", station=shown.name))
        return redirect("web:stations", program=program.slug)
    context = {"section": "stations", "station": shown, "heading": gettext("Delete the station?")}
    return render(request, "stations/delete.html", context)
