"""An observer's season: where they go, when they cannot, help they offer, and free routes."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys import dates
from surveys.language import filled, gettext, said
from surveys.planning import availability, requests, substitutes
from surveys.planning.free_routes import FreeRoute, free_routes, season_to_plan
from surveys.programs.assignments import today_of
from surveys.seasons.coverage import coverage
from surveys.visits.companions import companions_of
from surveys.web.forms.refusals import run_verb
from surveys.web.planning.forms import AbsenceForm, OfferForm, SubstituteForm, WishForm
from surveys.web.planning.page import free_map, free_rows, own_windows

# Requests of former seasons are no longer news.
SHOWN = 20


@require_GET
@needs(Permission.SURVEY)
def my_season(request: ProgramRequest) -> HttpResponse:
    return _season_page(request)


def _season_page(
    request: ProgramRequest,
    absence_form: AbsenceForm | None = None,
    offer_form: OfferForm | None = None,
) -> HttpResponse:
    member = request.membership
    program, today = member.program, today_of(member.program)
    year = season_to_plan(program, today)
    known = member.help_offers.filter(season_year=year).first()
    first_words = {"region": known.region, "note": known.note} if known else None
    context = {
        "year": year,
        "windows": own_windows(coverage(program, year, today=today), member),
        "absences": availability.absences_ahead(member),
        "absence_form": absence_form or AbsenceForm(),
        "offer": known,
        "offer_form": offer_form
        or OfferForm(
            regions=availability.regions_of(member), initial=first_words, auto_id="offer_%s"
        ),
        "requests": member.route_requests.select_related("route", "answered_by").order_by(
            "-asked_at"
        )[:SHOWN],
    }
    return render(request, "planning/my_season.html", context)


@require_POST
@needs(Permission.SURVEY)
def add_absence(request: ProgramRequest) -> HttpResponse:
    form = AbsenceForm(request.POST)
    added = form.is_valid() and run_verb(
        form, availability.add_absence, request.membership, **form.cleaned_data
    )
    if not added:
        return _season_page(request, absence_form=form)
    messages.success(
        request,
        said(
            "You cannot go from {first} to {last}. The coordinators see it.",
            first=dates.day(added.first),
            last=dates.day(added.last),
        ),
    )
    return _to_season(request)


@require_POST
@needs(Permission.SURVEY)
def delete_absence(request: ProgramRequest, absence: int) -> HttpResponse:
    gone = availability.remove_absence(request.membership, absence)
    messages.success(
        request,
        said(
            "You can go from {first} to {last} after all.",
            first=dates.day(gone.first),
            last=dates.day(gone.last),
        ),
    )
    return _to_season(request)


@require_http_methods(["GET", "POST"])
@needs(Permission.SURVEY)
def substitute(request: ProgramRequest, assignment: int) -> HttpResponse:
    """Name who goes in one's own place, in the window that `?window=` says."""
    member, window = request.membership, request.GET.get("window", "")
    own = substitutes.own_assignment(member, assignment)
    try:
        due = substitutes.due_window(own, window)
    except ValidationError as refusal:
        messages.warning(request, " ".join(refusal.messages))
        return _to_season(request)
    form = SubstituteForm(
        request.POST if request.method == "POST" else None,
        people=companions_of(member.program, observer_id=member.person_id),
    )
    named = form.is_valid() and run_verb(
        form,
        substitutes.name_own_substitute,
        member,
        assignment_id=assignment,
        window=window,
        observer_id=form.cleaned_data["observer"],
        site_url=request.build_absolute_uri("/"),
    )
    if named:
        messages.success(
            request,
            said(
                "{name} fills in for you in {window}. They and the coordinators get an email.",
                name=named.person.name,
                window=named.window,
            ),
        )
        return _to_season(request)
    context = {"form": form, "route": own.route, "due": due}
    return render(request, "planning/substitute.html", context)


@require_POST
@needs(Permission.SURVEY)
def drop_substitute(request: ProgramRequest, substitute: int) -> HttpResponse:
    member = request.membership
    dropped = substitutes.drop_own_substitute(
        member, substitute, site_url=request.build_absolute_uri("/")
    )
    route, window = dropped.assignment.route, dropped.window
    if dropped.person_id == member.person_id:
        text = gettext("You are no longer going to {route} in {window}. The others get an email.")
    else:
        text = gettext("You are going to {route} in {window} after all. The others get an email.")
    messages.success(request, filled(text, {"route": route.code, "window": window}))
    return _to_season(request)


@require_POST
@needs(Permission.SURVEY)
def offer(request: ProgramRequest) -> HttpResponse:
    """Offer help, or with `withdraw` no longer."""
    member = request.membership
    year = season_to_plan(member.program, today_of(member.program))
    if "withdraw" in request.POST:
        availability.withdraw_offer(member, year)
        messages.success(request, gettext("You no longer offer help this season."))
        return _to_season(request)
    form = OfferForm(request.POST, regions=availability.regions_of(member), auto_id="offer_%s")
    offered = form.is_valid() and run_verb(
        form, availability.offer_help, member, season_year=year, **form.cleaned_data
    )
    if not offered:
        return _season_page(request, offer_form=form)
    messages.success(request, gettext("Thank you. The coordinators see that you would help."))
    return _to_season(request)


@require_POST
@needs(Permission.SURVEY)
def withdraw(request: ProgramRequest, plan_request: int) -> HttpResponse:
    withdrawn = requests.withdraw_request(request.membership, plan_request)
    messages.success(request, said("Your request for {route} is withdrawn.", route=withdrawn.route))
    return _to_season(request)


@require_GET
@needs(Permission.SURVEY)
def free(request: ProgramRequest) -> HttpResponse:
    return _free_page(request)


@require_POST
@needs(Permission.SURVEY)
def want(request: ProgramRequest, route: int) -> HttpResponse:
    """Take a free route, or ask for it where the program wants that."""
    member = request.membership
    program = member.program
    wanted = get_object_or_404(program.routes, pk=route)
    year = season_to_plan(program, today_of(program))
    found = free_routes(program, year, today_of(program))
    one = next((each for each in found if each.route.pk == route), None)
    if one is None:
        messages.warning(
            request, said("{route} is no longer free. Choose another one.", route=wanted)
        )
        return redirect("web:free_routes", program=program.slug)
    form = WishForm(request.POST, free=one, is_taken=program.routes_are_taken)
    told = _take_or_ask(request, form, one) if form.is_valid() else None
    if told is None:
        return _free_page(request, (route, form))
    messages.success(request, told)
    return _to_season(request)


def _take_or_ask(request: ProgramRequest, form: WishForm, one: FreeRoute) -> str | None:
    member, facts = request.membership, form.cleaned_data
    if member.program.routes_are_taken:
        taken = run_verb(
            form, requests.take_route, member, route_id=one.route.pk, window=facts["window"]
        )
        return taken and said("{route} is yours. Thank you.", route=one.route)
    asked = run_verb(
        form,
        requests.ask_for_route,
        member,
        route_id=one.route.pk,
        window=facts["window"],
        note=facts["note"],
        site_url=request.build_absolute_uri("/"),
    )
    return asked and said(
        "The coordinators know that you would like {route}. The answer comes by email.",
        route=one.route,
    )


def _free_page(request: ProgramRequest, tried: tuple[int, WishForm] | None = None) -> HttpResponse:
    member = request.membership
    program, today = member.program, today_of(member.program)
    year = season_to_plan(program, today)
    found = free_routes(program, year, today)
    asked = member.route_requests.filter(season_year=year)
    rows = free_rows(member, found, asked, tried)
    context = {
        "year": year,
        "rows": rows,
        "has_routes": bool(rows) or program.routes.filter(active=True).exists(),
        "map": free_map(rows, today),
    }
    return render(request, "planning/free_routes.html", context)


def _to_season(request: ProgramRequest) -> HttpResponse:
    return redirect("web:my_season", program=request.membership.program.slug)
