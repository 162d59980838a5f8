"""The page of a person: role and training, or what can be done about an observer of the past."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus

from django.http import HttpResponse
from django.shortcuts import render

from accounts.access import ProgramRequest
from accounts.models import Membership
from accounts.past_observers import is_erased
from accounts.people import person_facts
from surveys.models import Source
from surveys.web.people.forms import PersonForm


@dataclass(frozen=True, kw_only=True)
class Refused:
    """What one of the small forms was refused for: its field, why, and what was typed."""

    field: str
    message: str
    typed: str


def person_page(
    request: ProgramRequest, shown: Membership, refused: Refused | None = None
) -> HttpResponse:
    """The page as it is before anything of the person's own form is typed."""
    if not shown.person.has_account:
        return _past_observer_page(request, shown, refused)
    return account_page(request, shown, person_form(request, shown, None), refused)


def person_form(request: ProgramRequest, shown: Membership, data: object) -> PersonForm:
    form = PersonForm(data, membership=shown, is_own=shown.pk == request.membership.pk)
    form.show(person_facts(shown))
    return form


def account_page(
    request: ProgramRequest, shown: Membership, form: PersonForm, refused: Refused | None = None
) -> HttpResponse:
    from_files = shown.person.visits.filter(route__program=shown.program, source=Source.IMPORT)
    context = {
        "section": "people",
        "shown": shown,
        "form": form,
        "others": _others(request, shown),
        "from_files": from_files.count(),
        "refused": refused,
    }
    return render(request, "people/person.html", context, status=_status(refused))


def _past_observer_page(
    request: ProgramRequest, shown: Membership, refused: Refused | None
) -> HttpResponse:
    context = {
        "section": "people",
        "shown": shown,
        "visits": shown.person.visits.filter(route__program=shown.program).count(),
        "others": _others(request, shown),
        "claims": shown.person.claims.filter(accepted_at=None, withdrawn_at=None),
        "refused": refused,
        "erased": is_erased(shown.person),
    }
    return render(request, "people/past_observer.html", context, status=_status(refused))


def _others(request: ProgramRequest, shown: Membership) -> list[Membership]:
    """Everyone else in the program, to credit visits to."""
    members = request.membership.program.memberships.exclude(pk=shown.pk)
    return list(members.select_related("person").order_by("person__name", "pk"))


def _status(refused: Refused | None) -> HTTPStatus:
    return HTTPStatus.UNPROCESSABLE_ENTITY if refused else HTTPStatus.OK
