"""The history of the program: who changed what, when, from what to what, and undoing it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from accounts.access import Permission, ProgramRequest, needs
from accounts.form_errors import Form
from accounts.models import Membership, Person
from surveys.language import gettext, said_of
from surveys.models import Program
from surveys.programs.history import (
    KIND_LABELS,
    Entry,
    HistoryFilters,
    Place,
    act_in_words,
    history,
)
from surveys.programs.undoing import may_undo, undo
from surveys.protocol.telling import note_in_words
from surveys.web.forms.fields import DateField

PAGE_SIZE = 30
_PAGES = {
    "people": ("people_person", "membership"),
    "routes": ("program_route", "route"),
    "stops": ("program_stop", "stop"),
    "protocol": ("program_version", "version"),
    "checklist": ("program_entry", "entry"),
    "own-fields": ("program_own_field", "own_field"),
    "visits": ("review_visit", "visit"),
}

# A day later or earlier can still be reckoned with in any time zone; no history is older.
_EARLIEST, _LATEST = dt.date(1900, 1, 1), dt.date(9000, 1, 1)


class HistoryForm(Form):
    """The filters in the query string."""

    kind = forms.ChoiceField(
        label=gettext_lazy("What"),
        required=False,
        choices=[("", gettext_lazy("Everything")), *KIND_LABELS.items()],
    )
    person = forms.TypedChoiceField(
        label=gettext_lazy("Who"), required=False, coerce=int, empty_value=None
    )
    since = DateField(label=gettext_lazy("From"), required=False)
    until = DateField(label=gettext_lazy("To"), required=False)

    def __init__(self, data: QueryDict, program: Program) -> None:
        super().__init__(data)
        self.zone = ZoneInfo(program.time_zone)
        people = Person.objects.filter(memberships__program=program).order_by("name", "pk")
        self.fields["person"].choices = [
            ("", gettext("Everyone")),
            *people.values_list("pk", "name"),
        ]

    @property
    def filters(self) -> HistoryFilters:
        """Those that can be read."""
        self.is_valid()
        data = self.cleaned_data
        return HistoryFilters(
            kind=data.get("kind", ""),
            person=data.get("person"),
            since=self._midnight(data.get("since")),
            until=self._midnight(data.get("until"), days=1),
        )

    def _midnight(self, day: dt.date | None, days: int = 0) -> dt.datetime | None:
        if day is None:
            return None
        within_reach = min(max(day, _EARLIEST), _LATEST)
        at = dt.datetime.combine(within_reach, dt.time(), tzinfo=self.zone)
        return at + dt.timedelta(days=days)


@dataclass(frozen=True, kw_only=True)
class Row:
    """An entry as the page shows it."""

    entry: Entry
    kind: str
    act: str
    who: str
    names: str
    more: str
    note: str
    url: str
    can_undo: bool


@require_GET
@needs(Permission.MANAGE)
def program_history(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    form = HistoryForm(request.GET, member.program)
    after = Place.read(request.GET.get("at"))
    entries, following = history(member, form.filters, size=PAGE_SIZE, after=after)
    kept = {name: request.GET[name] for name in form.fields if request.GET.get(name)}
    return render(
        request,
        "program/history.html",
        {
            "section": "overview",
            "form": form,
            "rows": [_row(entry, member) for entry in entries],
            "older_url": f"?{urlencode({**kept, 'at': following})}" if following else "",
            "latest_url": f"?{urlencode(kept)}" if after else "",
        },
    )


def _row(entry: Entry, member: Membership) -> Row:
    more = entry.number - len(entry.things)
    return Row(
        entry=entry,
        kind=str(KIND_LABELS[entry.kind]),
        act=act_in_words(entry),
        who=entry.by.name if entry.by else gettext("The site"),
        names="; ".join(dict.fromkeys(filter(None, entry.things))),
        more=said_of("and {number} more", "and {number} more", more) if more else "",
        note=note_in_words(entry.note),
        url=_url(entry, member),
        can_undo=may_undo(entry),
    )


def _url(entry: Entry, member: Membership) -> str:
    if entry.kind not in _PAGES or entry.thing is None or entry.act == "delete":
        return ""
    name, argument = _PAGES[entry.kind]
    return reverse(f"web:{name}", kwargs={"program": member.program.slug, argument: entry.thing})


@require_POST
@needs(Permission.MANAGE)
def undo_entry(request: ProgramRequest, subject: str, event: int) -> HttpResponse:
    try:
        undo(request.membership, subject, event)
        messages.success(request, gettext("Undone. The history shows this change, too."))
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return redirect("web:program_history", program=request.membership.program.slug)
