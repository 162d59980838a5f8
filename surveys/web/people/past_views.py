"""Observers of the past, who have no account; and what every person may have erased or taken."""

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_POST

from accounts import erasing, invitations
from accounts import past_observers as verbs
from accounts.access import Permission, ProgramRequest, needs
from accounts.people import person_of
from surveys.exports.own_data import own_data
from surveys.language import gettext, said, said_of
from surveys.web.people.pages import Refused, person_page


@require_POST
@needs(Permission.MANAGE)
def rename(request: ProgramRequest, membership: int) -> HttpResponse:
    def act() -> str:
        name = forms.CharField().clean(request.POST.get("name", ""))
        person = verbs.rename(request.membership, membership, name)
        return said("{name} is saved.", name=person.name)

    return _carried_out(request, membership, act, field="name")


@require_POST
@needs(Permission.MANAGE)
def merge(request: ProgramRequest, membership: int) -> HttpResponse:
    def act() -> str:
        if _chosen(request) and "sure_merge" not in request.POST:
            raise NotSureError(gettext("Check the box first. Merging cannot be undone."))
        visits = verbs.merge(request.membership, membership, into=_chosen(request))
        return _told(visits)

    return _carried_out(request, membership, act, field="into")


@require_POST
@needs(Permission.MANAGE)
def hand_over(request: ProgramRequest, membership: int) -> HttpResponse:
    def act() -> str:
        visits = verbs.hand_over(request.membership, membership, into=_chosen(request))
        return _told(visits)

    return _carried_out(request, membership, act, field="into")


@require_POST
@needs(Permission.MANAGE)
def claim(request: ProgramRequest, membership: int) -> HttpResponse:
    """Invite an observer of the past."""

    def act() -> str:
        issued = invitations.invite_past_observer(
            request.membership,
            membership,
            email=forms.EmailField().clean(request.POST.get("email", "")),
            site_url=request.build_absolute_uri("/"),
        )
        return said(
            "The invitation is on its way to {email}. Whoever joins with it gets the visits.",
            email=issued.invitation.email,
        )

    return _carried_out(request, membership, act, field="email")


@require_POST
@needs(Permission.MANAGE)
def erase(request: ProgramRequest, membership: int) -> HttpResponse:
    def act() -> str:
        if "sure" not in request.POST:
            raise ValidationError(gettext("Check the box first. Erasing cannot be undone."))
        pseudonym = erasing.erase(request.membership, membership)
        return said("The person is erased. The records stand under {name}.", name=pseudonym)

    return _carried_out(request, membership, act, field="sure")


@require_GET
def own_data_file(request: HttpRequest) -> HttpResponse:
    """What the site knows of the person who is signed in."""
    return JsonResponse(
        own_data(request.user),
        json_dumps_params={"indent": 2, "ensure_ascii": False},
        headers={"Content-Disposition": 'attachment; filename="my-data.json"'},
    )


class NotSureError(ValidationError):
    """Raised while the box beside a button is not checked."""


def _chosen(request: ProgramRequest) -> int:
    text = request.POST.get("into", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _told(visits: int) -> str:
    return said_of("One visit changed hands.", "{number} visits changed hands.", visits)


def _carried_out(
    request: ProgramRequest, membership: int, act: Callable[[], str], *, field: str
) -> HttpResponse:
    """Do it and return to the list; what is refused is said at its field, with what was typed."""
    # Before the form is read: of people of other programs nothing is said, not even that.
    shown = person_of(request.membership, membership)
    try:
        messages.success(request, act())
    except ValidationError as refusal:
        refused = Refused(
            field="sure_merge" if isinstance(refusal, NotSureError) else field,
            message=" ".join(refusal.messages),
            typed=request.POST.get(field, ""),
        )
        return person_page(request, shown, refused)
    return redirect("web:people", program=request.membership.program.slug)
