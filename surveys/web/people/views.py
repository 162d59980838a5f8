"""People of a program: list, invitations, role, training, leaving."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts import invitations
from accounts import people as verbs
from accounts.access import (
    Permission,
    ProgramRequest,
    may,
    needs,
)
from accounts.past_observers import past_observers_of
from surveys.dates import day
from surveys.language import gettext, said
from surveys.visits.companions import guests_of
from surveys.web.forms.refusals import run_verb
from surveys.web.people.forms import InviteForm
from surveys.web.people.pages import account_page, person_form, person_page


def _site_url(request: ProgramRequest) -> str:
    return request.build_absolute_uri("/")


def _redirect_to_list(request: ProgramRequest) -> HttpResponse:
    return redirect("web:people", program=request.membership.program.slug)


@require_GET
@needs(Permission.MANAGE)
def people(request: ProgramRequest) -> HttpResponse:
    context = {
        "section": "people",
        "people": verbs.people_of(request.membership),
        "past_observers": past_observers_of(request.membership),
        "guests": guests_of(request.membership),
        "invitations": invitations.open_invitations(request.membership.program),
        "now": timezone.now(),
    }
    return render(request, "people/list.html", context)


def _say_sent(request: ProgramRequest, issued: invitations.IssuedInvitation) -> None:
    """The link itself is mailed and shown to nobody: whoever has it can join as that person."""
    messages.success(
        request,
        said(
            "The invitation is on its way to {email}. It is valid until {day}.",
            email=issued.invitation.email,
            day=day(issued.invitation.expires_at),
        ),
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def invite(request: ProgramRequest) -> HttpResponse:
    form = InviteForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        site_url = _site_url(request)
        issued = run_verb(
            form, invitations.invite, request.membership, site_url=site_url, **form.cleaned_data
        )
        if issued:
            _say_sent(request, issued)
            return _redirect_to_list(request)
    return render(request, "people/invite.html", {"section": "people", "form": form})


@require_POST
@needs(Permission.MANAGE)
def send_again(request: ProgramRequest, invitation: int) -> HttpResponse:
    try:
        issued = invitations.send_again(request.membership, invitation, site_url=_site_url(request))
        _say_sent(request, issued)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return _redirect_to_list(request)


@require_POST
@needs(Permission.MANAGE)
def withdraw(request: ProgramRequest, invitation: int) -> HttpResponse:
    try:
        withdrawn = invitations.withdraw(request.membership, invitation)
        messages.success(
            request,
            said(
                "The invitation of {withdrawn_email} is withdrawn.", withdrawn_email=withdrawn.email
            ),
        )
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return _redirect_to_list(request)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def person(request: ProgramRequest, membership: int) -> HttpResponse:
    shown = verbs.person_of(request.membership, membership)
    if not shown.person.has_account:
        return person_page(request, shown)
    form = person_form(request, shown, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        facts = {name: value for name, value in form.cleaned_data.items() if name != "sure"}
        saved = run_verb(
            form, verbs.change_person, request.membership, membership, seen=form.seen, **facts
        )
        if saved:
            messages.success(
                request, said("{person_name} is saved.", person_name=saved.person.name)
            )
            if saved.person_id == request.membership.person_id:
                return redirect("web:home")
            return _redirect_to_list(request)
    return account_page(request, shown, form)


def _change_member(
    request: ProgramRequest, verb: Callable, membership: int, outcome: str
) -> HttpResponse:
    try:
        changed = verb(request.membership, membership)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
        return _redirect_to_list(request)
    messages.success(request, f"{changed.person.name} {outcome}")
    if changed.person_id == request.membership.person_id:
        return redirect("web:home")
    return _redirect_to_list(request)


@require_POST
@needs(Permission.MANAGE)
def deactivate(request: ProgramRequest, membership: int) -> HttpResponse:
    """Whoever removes a coordinator is asked first, themselves above all."""
    shown = verbs.person_of(request.membership, membership)
    if may(shown, Permission.MANAGE) and "sure" not in request.POST:
        is_own = shown.pk == request.membership.pk
        name = shown.person.name
        context = {
            "section": "people",
            "shown": shown,
            "is_own": is_own,
            "title": gettext("Leave this program?")
            if is_own
            else said("Remove {name}?", name=name),
        }
        return render(request, "people/leave.html", context)
    outcome = gettext("can no longer open this program. All visits stay.")
    return _change_member(request, verbs.deactivate, membership, outcome)


@require_POST
@needs(Permission.MANAGE)
def reactivate(request: ProgramRequest, membership: int) -> HttpResponse:
    return _change_member(request, verbs.reactivate, membership, gettext("is a member again."))
