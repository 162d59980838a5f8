"""One visit, read-only: weather, grid, findings, review history and map."""

import uuid
from collections.abc import Iterable, Mapping
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    may,
    needs,
)
from accounts.models import Membership
from surveys.language import gettext, said, said_of
from surveys.models import (
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.own_fields import AskedPer, OwnField
from surveys.protocol.sentences.vocabulary import CELLS
from surveys.protocol.values import SkyState, TemperatureUnit, rain_unit_beside
from surveys.protocol.weather import (
    BEAUFORT,
    SKY,
    show_rain,
    show_temperature,
)
from surveys.seasons.visits import (
    GridRow,
    VisitGrid,
    visit_grid,
)
from surveys.visits import verbs
from surveys.visits.access import EDITABLE, find_visit, second_observer_for
from surveys.visits.added import added_by
from surveys.visits.coming_back import came_back
from surveys.visits.companions import erase_guest, may_erase_guest
from surveys.visits.conversation import write_message
from surveys.visits.exceptions import VisitError
from surveys.visits.own_values import own_facts, own_fields_of, value_in_words
from surveys.visits.sheet.own_fields import labels_of
from surveys.web.conversation import MOST_KEPT, conversation_of
from surveys.web.recordings.listing import recording_list
from surveys.web.review.forms import posted_revision
from surveys.web.seasons.maps import visit_map
from surveys.web.stations.facts import station_facts

DASH = "–"


@require_GET
@needs(Permission.READ_SEASONS)
def visit(request: ProgramRequest, visit_id: uuid.UUID) -> HttpResponse:
    member = request.membership
    shown = find_visit(member, visit_id)
    unit = TemperatureUnit(member.program.temperature_unit)
    grid = visit_grid(shown)
    may_review = may(member, Permission.REVIEW)
    is_own = shown.observer_id == member.person_id
    own_fields = own_fields_of(member.program, shown.night)
    labels = labels_of(own_fields)
    return render(
        request,
        "visits/visit.html",
        {
            "visit": shown,
            "came_back": came_back([shown])[shown.pk],
            "grid": grid,
            "rows": [
                (row, cells, row_facts(row, unit), own_facts_at(row, own_fields))
                for row, cells in grid.named_rows
            ],
            "weather": weather_facts(shown, unit),
            "stations": {"facts": station_facts(shown)[0]},
            "own_facts": own_facts(own_fields, shown.own_fields),
            "facts": visit_facts(member, shown, grid),
            "may_erase_guest": may_erase_guest(member, shown),
            "sightings": shown.sightings.select_related("species", "stop"),
            "findings": [(finding, where_words(finding, labels)) for finding in findings_of(shown)],
            "steps": shown.steps.select_related("by") if may_review or is_own else [],
            "added": added_by(shown) if shown.counts_in_trends else [],
            **conversation_of(request, shown, then="visit"),
            "zone": member.program.time_zone,
            "unit": unit.value,
            "has_water": any(
                row.period and row.period.water_temperature_c is not None for row in grid.rows
            ),
            "map": visit_map(shown, grid),
            "may_review": may_review,
            "may_withdraw": verbs.may_withdraw(member, shown),
            "may_go_on": is_own and shown.state in EDITABLE,
            **recording_list(member, shown),
        },
    )


@require_POST
@needs(Permission.SURVEY)
def message(request: ProgramRequest, visit_id: uuid.UUID) -> HttpResponse:
    """Write to the other side; then back to the page that it was written on."""
    member = request.membership
    text = request.POST.get("text", "")
    try:
        write_message(member, visit_id, text, site_url=request.build_absolute_uri("/"))
    except VisitError as error:
        messages.error(request, str(error))
        written = text
    else:
        messages.success(request, gettext("Sent. They will also get it by email."))
        written = ""
    return redirect(_page_of(request, visit_id, written))


@require_POST
@needs(Permission.SURVEY)
def withdraw(request: ProgramRequest, visit_id: uuid.UUID) -> HttpResponse:
    """The observer withdraws a submitted visit; the sheet then stands open."""
    member = request.membership
    try:
        verbs.withdraw(member, visit_id, revision=posted_revision(request.POST))
    except VisitError as error:
        messages.error(request, str(error))
        return redirect("web:visit", program=member.program.slug, visit_id=visit_id)
    messages.success(request, gettext("The visit is yours again. Submit it when it is right."))
    return redirect("web:sheet", program=member.program.slug, visit_id=visit_id)


@require_POST
@needs(Permission.SURVEY)
def forget_guest(request: ProgramRequest, visit_id: uuid.UUID) -> HttpResponse:
    """Erase the name of a guest, who asked for it."""
    member = request.membership
    try:
        number = erase_guest(member, visit_id)
    except VisitError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request,
            said_of(
                "The name is erased from this visit.",
                "The name is erased from {number} visits.",
                number,
            ),
        )
    return redirect("web:visit", program=member.program.slug, visit_id=visit_id)


def _page_of(request: ProgramRequest, visit_id: uuid.UUID, written: str) -> str:
    """What was written and could not be sent is in the box again."""
    places = {"review": ("web:review_visit", "visit"), "sheet": ("web:sheet", "visit_id")}
    page, key = places.get(request.POST.get("then", ""), ("web:visit", "visit_id"))
    path = reverse(page, kwargs={"program": request.membership.program.slug, key: visit_id})
    query = urlencode({"message": written[:MOST_KEPT]}) if written.strip() else ""
    return f"{path}?{query}#conversation" if query else f"{path}#conversation"


def findings_of(visit: Visit) -> Iterable[StoredFinding]:
    return visit.findings.select_related("visit__route__program", "stop", "species", "settled_by")


def own_facts_at(row: GridRow, own_fields: Iterable[OwnField]) -> list[tuple[str, str]]:
    """What was written down at a stop in the program's own fields: label and value."""
    if row.period is None:
        return []
    values = row.period.own_fields
    return [
        (field.label, value_in_words(field, values[field.key]))
        for field in own_fields
        if field.per is AskedPer.STOP and field.key in values
    ]


def where_words(finding: StoredFinding, labels: Mapping[str, str]) -> str:
    """`labels` are the names of the program's own fields by cell."""
    field = labels.get(finding.field) or gettext(CELLS.get(finding.field, ""))
    parts = [
        said("Stop {stop_number}", stop_number=finding.stop.number) if finding.stop else "",
        finding.species.name if finding.species else field,
    ]
    return ": ".join(part for part in parts if part) or gettext("Visit")


def visit_facts(member: Membership, visit: Visit, grid: VisitGrid) -> list[tuple[str, object, str]]:
    facts = [
        (gettext("Observer"), visit.observer.name, ""),
        (gettext("Second observer"), second_observer_for(member, visit), ""),
        (gettext("Season"), visit.season_year, visit.window or gettext("outside every window")),
        (gettext("Protocol"), str(visit.protocol_version), ""),
        (
            gettext("Stops surveyed"),
            said(
                "{sum} of {rows}", sum=sum(row.listened for row in grid.rows), rows=len(grid.rows)
            ),
            "",
        ),
        (gettext("Entered from"), visit.get_source_display(), ""),
        (gettext("In trends"), _in_trends(visit), ""),
    ]
    return [fact for fact in facts if fact[1]]


def _in_trends(visit: Visit) -> str:
    if visit.state != VisitState.ACCEPTED:
        return gettext("Not until it is accepted")
    return gettext("Counts") if visit.counts_in_trends else gettext("Excluded")


def weather_facts(visit: Visit, unit: TemperatureUnit) -> list[tuple[str, str, str]]:
    """The weather at start and end of the visit, then the rain before it."""
    facts = []
    for when, prefix in (("start", "start_"), ("end", "end_")):
        temperature = getattr(visit, f"{prefix}air_temperature_c")
        beaufort = getattr(visit, f"{prefix}beaufort")
        sky = getattr(visit, f"{prefix}sky")
        facts += [
            (said("Air, {when}", when=when), _degrees(temperature, unit), ""),
            (said("Wind, {when}", when=when), *_beaufort(beaufort)),
            (said("Sky, {when}", when=when), *_sky(sky)),
        ]
    rain = show_rain(visit.rain_48h_mm, rain_unit_beside(unit), is_trace=visit.rain_48h_is_trace)
    if rain:
        facts.append((gettext("Rain in the 48 hours before"), rain, ""))
    return [fact for fact in facts if fact[1] != DASH]


def row_facts(row: GridRow, unit: TemperatureUnit) -> dict[str, str]:
    period = row.period
    if period is None:
        return {}
    return {
        "air": _degrees(period.air_temperature_c, unit, sign=False),
        "water": _degrees(period.water_temperature_c, unit, sign=False),
        "noise": period.get_noise_display() or DASH,
        "pool": period.get_water_tonight_display() or DASH,
    }


def _degrees(celsius, unit: TemperatureUnit, *, sign: bool = True) -> str:
    if celsius is None:
        return DASH
    text = show_temperature(celsius, unit)
    return text if sign else text.split()[0]


def _beaufort(force: int | None) -> tuple[str, str]:
    if force is None:
        return DASH, ""
    return said("Beaufort {force}", force=force), next(
        (gettext(row.sign) for row in BEAUFORT if row.force == force), ""
    )


def _sky(state: str) -> tuple[str, str]:
    if not state:
        return DASH, ""
    words = SKY[SkyState(state)]
    return gettext(words.name).capitalize(), gettext(words.sign)
