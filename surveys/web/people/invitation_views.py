"""The page that an invitation's link opens. Public on purpose: the link is the credential."""

from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from accounts.invitations import (
    InvitationError,
    accept_as,
    accept_as_new_person,
    check_usable,
    find_invitation,
    invited_person,
)
from accounts.models import (
    Invitation,
    Membership,
)
from surveys import dates
from surveys.language import said
from surveys.web.forms.refusals import run_verb
from surveys.web.people.forms import JoinForm


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def open_invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Create an account from an invitation, or add its program to an existing account."""
    try:
        invitation = find_invitation(token)
        dates.use(invitation.program.date_style)
        check_usable(invitation)
        if request.user.is_authenticated:
            return _join_as_signed_in(request, invitation, token)
        if invited_person(invitation):
            return _page(request, invitation, must_sign_in=True)
        return _join_as_new_person(request, invitation, token)
    except Http404 as unknown:
        return _refusal_page(request, str(unknown), status=404)
    except InvitationError as refusal:
        return _refusal_page(request, str(refusal), status=410)


def _page(request: HttpRequest, invitation: Invitation, **context: object) -> HttpResponse:
    return render(request, "people/invitation.html", {"invitation": invitation, **context})


def _refusal_page(request: HttpRequest, why: str, *, status: int) -> HttpResponse:
    return render(request, "people/invitation_refused.html", {"why": why}, status=status)


def _welcome(request: HttpRequest, membership: Membership) -> HttpResponse:
    messages.success(
        request, said("Welcome to {program_name}.", program_name=membership.program.name)
    )
    return redirect("web:home")


def _join_as_signed_in(request: HttpRequest, invitation: Invitation, token: str) -> HttpResponse:
    if request.method == "POST":
        return _welcome(request, accept_as(request.user, token))
    is_other = request.user.email.lower() != invitation.email.lower()
    return _page(request, invitation, is_other=is_other)


def _join_as_new_person(request: HttpRequest, invitation: Invitation, token: str) -> HttpResponse:
    form = JoinForm(
        request.POST if request.method == "POST" else None, initial={"name": invitation.name}
    )
    if request.method == "POST" and form.is_valid():
        facts = {name: form.cleaned_data[name] for name in ("name", "password")}
        membership = run_verb(form, accept_as_new_person, token, **facts)
        if membership:
            login(request, membership.person)
            UserSession.objects.create_from_request(request)
            return _welcome(request, membership)
    return _page(request, invitation, form=form)
