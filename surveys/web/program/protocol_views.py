"""Protocols: versions in plain words, a new version, a first one from a preset."""

import datetime as dt

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.dates import month_day
from surveys.language import gettext, said
from surveys.models import (
    Program,
    ProtocolVersion,
)
from surveys.programs import protocols as verbs
from surveys.programs.assignments import today_of
from surveys.programs.in_force import (
    version_in_force,
)
from surveys.programs.versionfacts import version_facts
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol.limits.phrases import window_in_words
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.presets import preset_rows
from surveys.protocol.values import (
    Protocol,
)
from surveys.visits.what_if import what_if
from surveys.web.csv_file import csv_file
from surveys.web.forms.refusals import run_verb
from surveys.web.program.protocol_forms import CompareVersionsForm, LimitsForm
from surveys.web.program.what_if_page import fact_pairs, shown_what_if, what_if_csv
from surveys.web.program.window_forms import (
    window_formset,
    with_one_more,
)


def _in_words(limits: Protocol, program: Program) -> list[tuple[str, str]]:
    """Every limit of the protocol as (name, words), in the program's units."""
    rows = [(gettext("Season year starts"), month_day(limits.season_year_begins))]
    rows += [
        (said("Window {window_name}", window_name=window.name), window_in_words(window))
        for window in limits.windows
    ]
    rows += limits_in_words(limits, units_of(program), for_coordinators=True)
    return rows


@require_GET
@needs(Permission.MANAGE)
def protocols(request: ProgramRequest) -> HttpResponse:
    """All protocols; the version in force is spelled out."""
    program = request.membership.program
    today = today_of(program)
    shown = verbs.protocols_of(program)
    for protocol in shown:
        versions = list(protocol.versions.all())
        upcoming = versions[-1] if versions else None
        protocol.current = version_in_force(versions, today) or upcoming
        if protocol.current:
            protocol.current.protocol = protocol
            protocol.words = _in_words(protocol_values(protocol.current), program)
    context = {"section": "protocols", "protocols": shown, "today": today}
    return render(request, "program/protocols.html", context)


@require_GET
@needs(Permission.MANAGE)
def begin(request: ProgramRequest) -> HttpResponse:
    """Choose what a new protocol begins from."""
    program = request.membership.program
    offered = verbs.presets_for(program)
    presets = [
        {"preset": preset, "rows": preset_rows(preset.protocol, offered, units_of(program))}
        for preset in offered.presets
    ]
    context = {"section": "protocols", "presets": presets}
    return render(request, "program/protocol_begin.html", context)


@require_GET
@needs(Permission.MANAGE)
def version(request: ProgramRequest, version: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.version_of(program, version)
    newest = shown.protocol.versions.order_by("-number").first()
    context = {
        "section": "protocols",
        "version": shown,
        "is_newest": newest == shown,
        "before": shown.protocol.versions.filter(number__lt=shown.number).last(),
        "words": _in_words(protocol_values(shown), program),
    }
    return render(request, "program/version.html", context)


@require_GET
@needs(Permission.MANAGE)
def compare(request: ProgramRequest) -> HttpResponse:
    """Two versions side by side: those named in the address, or the newest two."""
    form = CompareVersionsForm(request.GET or None, program=request.membership.program)
    pairs = []
    if chosen := form.chosen():
        pairs = fact_pairs(*(version_facts(one) for one in chosen))
    context = {
        "section": "protocols",
        "form": form,
        "chosen": chosen,
        "different": [pair for pair in pairs if pair.differs],
        "same_facts": [(pair.label, pair.first or "–") for pair in pairs if not pair.differs],
    }
    return render(request, "program/versions_compared.html", context)


class _Screen:
    """The form for limits with the formset for windows, bound when posted."""

    def __init__(
        self,
        request: ProgramRequest,
        *,
        protocol: Protocol | None,
        in_force_from: dt.date,
        source: str,
        is_new_protocol: bool = False,
    ) -> None:
        program = request.membership.program
        data = request.POST if request.method == "POST" else None
        self.wants_more = data is not None and "one_more" in data
        self.asks_what_if = data is not None and "what_if" in data
        if self.wants_more:
            data = with_one_more(request.POST, program)
        self.form = LimitsForm(
            data,
            program=program,
            protocol=protocol,
            in_force_from=in_force_from,
            source=source,
            is_new_protocol=is_new_protocol,
        )
        self.windows = window_formset(data, protocol=protocol, program=program)

    def is_valid(self) -> bool:
        """Both are checked, so that all errors show at once."""
        if self.wants_more:
            return False
        valid = [self.form.is_valid(), self.windows.is_valid()]
        if not self.windows.is_valid():
            self.form.add_error(
                None, gettext("Check the survey windows: something needs to be corrected.")
            )
        return all(valid)

    def facts(self) -> dict[str, object]:
        return {
            "limits": self.form.limits(self.windows.windows()),
            "in_force_from": self.form.cleaned_data["in_force_from"],
            "source": self.form.cleaned_data["source"],
        }


def _done(request: ProgramRequest, saved: ProtocolVersion) -> HttpResponse:
    messages.success(request, said("{saved} is saved.", saved=saved))
    return redirect(
        "web:program_version", program=request.membership.program.slug, version=saved.pk
    )


def _form_page(request: ProgramRequest, screen: _Screen, **context: object) -> HttpResponse:
    context |= {"section": "protocols", "form": screen.form, "windows": screen.windows}
    return render(request, "program/version_form.html", context)


def _what_if_page(
    request: ProgramRequest, screen: _Screen, shown: ProtocolVersion, **context: object
) -> HttpResponse:
    """The form as it was sent, with what the limits would have asked last season; or the same as
    a file."""
    limits = screen.facts()["limits"]
    result = run_verb(screen.form, what_if, request.membership, shown.pk, limits)
    if result is not None and request.POST["what_if"] == "csv":
        name = f"{request.membership.program.slug}-what-if-{result.season_year or 'none'}.csv"
        return csv_file(what_if_csv(result), name)
    if result is not None:
        context["what_if"] = shown_what_if(shown, limits, result)
    return _form_page(request, screen, **context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest) -> HttpResponse:
    """A new protocol, from the preset named in the address or from nothing."""
    code = request.GET.get("preset", "")
    program = request.membership.program
    preset = verbs.preset_called(program, code) if code else None
    if code and preset is None:
        raise Http404(gettext("There is no such preset."))
    screen = _Screen(
        request,
        protocol=preset.protocol if preset else None,
        in_force_from=today_of(program).replace(month=1, day=1),
        source=verbs.sources_in_words(preset, units_of(program)) if preset else "",
        is_new_protocol=True,
    )
    if request.method == "POST" and screen.is_valid():
        saved = run_verb(screen.form, verbs.start_protocol, request.membership, **screen.facts())
        if saved:
            return _done(request, saved)
    return _form_page(request, screen, preset=preset)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def following(request: ProgramRequest, version: int) -> HttpResponse:
    """The next version of a protocol, beginning from the one shown."""
    shown = verbs.version_of(request.membership.program, version)
    screen = _Screen(
        request,
        protocol=protocol_values(shown),
        in_force_from=today_of(request.membership.program),
        source=shown.source,
    )
    if request.method == "POST" and screen.is_valid():
        if screen.asks_what_if:
            return _what_if_page(request, screen, shown, before=shown)
        saved = run_verb(
            screen.form,
            verbs.add_version,
            request.membership,
            shown.protocol_id,
            **screen.facts(),
        )
        if saved:
            return _done(request, saved)
    return _form_page(request, screen, before=shown)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgramRequest, version: int) -> HttpResponse:
    """Change a version that no visit uses; one in use says so instead."""
    shown = verbs.version_of(request.membership.program, version)
    if request.method == "GET" and shown.visit_count:
        messages.warning(
            request,
            said(
                "Version {shown_number} is in use by visits and can no longer change. "
                "Make a new version instead.",
                shown_number=shown.number,
            ),
        )
        return redirect(
            "web:program_version", program=request.membership.program.slug, version=shown.pk
        )
    screen = _Screen(
        request,
        protocol=protocol_values(shown),
        in_force_from=shown.in_force_from,
        source=shown.source,
    )
    screen.form.show(version_facts(shown))
    if request.method == "POST" and screen.is_valid():
        if screen.asks_what_if:
            return _what_if_page(request, screen, shown, version=shown)
        saved = run_verb(
            screen.form,
            verbs.change_version,
            request.membership,
            shown.pk,
            seen=screen.form.seen,
            **screen.facts(),
        )
        if saved:
            return _done(request, saved)
    return _form_page(request, screen, version=shown)
