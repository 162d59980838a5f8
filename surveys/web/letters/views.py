"""Emails to a group: what was sent, and writing one, which is looked at before it is sent."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from accounts.training import validity_in_words
from surveys.language import gettext, said_of
from surveys.models import LetterGroup
from surveys.programs.assignments import today_of
from surveys.reminders import letters as verbs
from surveys.reminders.groups import Readers, readers_of
from surveys.reminders.texts import Words
from surveys.runs.mail_hours import end_of_quiet
from surveys.web.forms.refusals import add_refusal, run_verb
from surveys.web.letters.forms import GroupForm, LetterForm, is_first

# Letters of the last years are in the database; the page shows the latest.
SHOWN = 100


@require_GET
@needs(Permission.MANAGE)
def letters(request: ProgramRequest) -> HttpResponse:
    context = {"section": "reminders", "letters": verbs.letters_of(request.membership)[:SHOWN]}
    return render(request, "letters/list.html", context)


@require_GET
@needs(Permission.MANAGE)
def letter(request: ProgramRequest, letter: int) -> HttpResponse:
    shown = get_object_or_404(verbs.letters_of(request.membership), pk=letter)
    copies = shown.copies.select_related("member__person").order_by("member__person__name", "pk")
    context = {"section": "reminders", "letter": shown, "copies": copies}
    return render(request, "letters/letter.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def write(request: ProgramRequest) -> HttpResponse:
    """The address names the group to begin with. A post shows what its readers would get; only the
    button under that sends."""
    program = request.membership.program
    group_form = GroupForm(_asked(request), program)
    if not group_form.is_valid():
        context = {"section": "reminders", "group_form": group_form}
        return render(request, "letters/write.html", context, status=400)
    group, region = group_form.cleaned_data["group"], group_form.cleaned_data["region"]
    readers = readers_of(program, group, region, today_of(program))
    form = _letter_form(request, group, region, readers)
    shown = None
    if form.is_valid():
        if "send" in request.POST:
            sent = run_verb(form, _send, request, group, region, form)
            if sent is not None:
                return redirect("web:letters", program=program.slug)
        else:
            _check(form, group, region)
        if form.is_valid():
            shown = _preview(request, readers, form)
    return render(
        request,
        "letters/write.html",
        {
            "section": "reminders",
            "group_form": group_form,
            "form": form,
            "group": group.value,
            "region": region,
            "rows": _rows(form, readers),
            "left_out": readers.left_out,
            "shown": shown,
            "number": len(form.cleaned_data["chosen"]) if shown else 0,
            "places": [
                ("{" + name + "}", gettext(meaning))
                for name, meaning in verbs.places_of(group).items()
            ],
        },
    )


def _asked(request: ProgramRequest) -> QueryDict | dict[str, str]:
    """Without a group the page begins with those who are overdue."""
    for query in (request.POST, request.GET):
        if "group" in query:
            return query
    return {"group": LetterGroup.OVERDUE.value}


def _letter_form(
    request: ProgramRequest, group: LetterGroup, region: str, readers: Readers
) -> LetterForm:
    """What was posted; of another group than the page showed only its words, so that nothing is
    sent to people whom nobody has looked at."""
    posted = request.POST
    if request.method != "POST":
        return LetterForm(None, group, readers.reached)
    before = posted.get("shown_group", group.value)
    is_shown = (before, posted.get("shown_region", region)) == (group.value, region)
    if is_shown and "choose" not in posted:
        return LetterForm(posted, group, readers.reached)
    text = posted.get("text", "").replace("\r\n", "\n")
    words = Words(subject=posted.get("subject", ""), text=text)
    is_own = before not in LetterGroup.values or not is_first(words, LetterGroup(before))
    return LetterForm(None, group, readers.reached, words if is_own else None)


def _send(request: ProgramRequest, group: LetterGroup, region: str, form: LetterForm) -> int:
    letter = verbs.send_letter(
        request.membership,
        key=form.cleaned_data["key"],
        group=group,
        region=region,
        chosen=form.cleaned_data["chosen"],
        words=form.words,
        site_url=request.build_absolute_uri("/"),
    )
    number = letter.copies.count()
    if end_of_quiet(request.membership.program.time_zone, timezone.now()) is None:
        told = said_of("{number} email is on its way.", "{number} emails are on their way.", number)
    else:
        told = said_of(
            "{number} email goes out in the morning, after 9:00.",
            "{number} emails go out in the morning, after 9:00.",
            number,
        )
    messages.success(request, told)
    return number


def _check(form: LetterForm, group: LetterGroup, region: str) -> None:
    try:
        verbs.check_letter(group, region, form.words)
    except ValidationError as refusal:
        add_refusal(form, refusal)


def _preview(request: ProgramRequest, readers: Readers, form: LetterForm) -> dict[str, Any]:
    """As the first of those chosen reads it."""
    chosen = form.cleaned_data["chosen"]
    first = next(reader for reader in readers.reached if reader.member.pk in chosen)
    words: Words = verbs.filled_letter(
        request.membership.program,
        form.words,
        name=first.member.person.name,
        lines=first.lines,
        site_url=request.build_absolute_uri("/"),
    )
    return {"name": first.member.person.name, "words": words}


def _rows(form: LetterForm, readers: Readers) -> list[dict[str, Any]]:
    """A box for each reader, with the lines of the letter to them."""
    chosen = {str(value) for value in form["chosen"].value() or ()}
    return [
        {
            "reader": reader,
            "is_chosen": str(reader.member.pk) in chosen,
            "test": validity_in_words(reader.member, today_of(reader.member.program)),
        }
        for reader in readers.reached
    ]
