"""The words of reminders: the usual ones, and those that a coordinator writes. Nothing in a text is
run; places such as {name} are filled with words."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError

from surveys.language import filled, gettext, gettext_noop, said
from surveys.models import Program, ReminderKind

_PLACE = re.compile(r"\{([^{}\s]*)\}")
# What stands in each place. Without {list} nobody knows what is due.
PLACES = {
    "name": gettext_noop("the name of the observer"),
    "program": gettext_noop("the name of the program"),
    "list": gettext_noop("the routes and windows, the nights, or the test, one per line"),
    "link": gettext_noop("the address of the page where the observer continues"),
    "contact": gettext_noop("the contact email of the program"),
}


@dataclass(frozen=True, kw_only=True)
class Words:
    subject: str
    text: str


_HELLO = gettext_noop("Hello {name},")
# What stands before the address in the mail.
TO_ROUTES = gettext_noop("Your routes:")
_TO_VISITS = gettext_noop("Your visits:")
_TO_TEST = gettext_noop("The test:")
_LEADS = {
    ReminderKind.SENT_BACK: _TO_VISITS,
    ReminderKind.NOT_SUBMITTED: _TO_VISITS,
    ReminderKind.TEST_EXPIRES: _TO_TEST,
}
_CAUTION = gettext_noop("No visit is worth an unsafe night.")
_USUAL = {
    ReminderKind.WINDOW_OPENS: (
        gettext_noop("{program}: your survey window is open"),
        gettext_noop("A visit is due now on:"),
        _CAUTION,
    ),
    ReminderKind.HALF_GONE: (
        gettext_noop("{program}: half of your survey window is over"),
        gettext_noop("Half of the window is over, and there is no visit yet on:"),
        gettext_noop("If you cannot go, tell us, so that someone else can."),
    ),
    ReminderKind.CLOSES_SOON: (
        gettext_noop("{program}: your survey window closes soon"),
        gettext_noop("The window closes within 7 days, and there is no visit yet on:"),
        gettext_noop(
            "If you cannot go, tell us, so that someone else can. No visit is worth a night that "
            "is not safe."
        ),
    ),
    ReminderKind.SENT_BACK: (
        gettext_noop("{program}: a visit is waiting for you"),
        gettext_noop("These visits were sent back to you with a note a week or more ago:"),
        gettext_noop("Open them, correct what you can, and submit them again."),
    ),
    ReminderKind.NOT_SUBMITTED: (
        gettext_noop("{program}: a night is not submitted yet"),
        gettext_noop("You began these nights and did not submit them:"),
        gettext_noop("Open them on the phone or the computer where you began, and submit them."),
    ),
    ReminderKind.TEST_EXPIRES: (
        gettext_noop("{program}: your call-identification test expires soon"),
        gettext_noop("This expires within 30 days:"),
        gettext_noop("Take the test again before then. You can practice first."),
    ),
}


def usual_words(kind: ReminderKind) -> Words:
    subject, before, after = _USUAL[kind]
    leads = _LEADS.get(kind, TO_ROUTES)
    parts = (_HELLO, before, "{list}", after, leads, "{link}")
    return Words(
        subject=gettext(subject),
        text="\n\n".join(part if part.startswith("{") else gettext(part) for part in parts),
    )


def check_words(subject: str, text: str) -> None:
    """Raise ValidationError by field for a place that there is not, and a text without its list.
    Blank is the usual text."""
    problems = place_problems(subject, text, PLACES)
    if text.strip() and "{list}" not in text and "text" not in problems:
        problems["text"] = gettext("Add {list}: it says what is due.")
    if problems:
        raise ValidationError(problems)


def place_problems(subject: str, text: str, known: Collection[str]) -> dict[str, str]:
    """By field: a place that there is not, and a subject of two lines."""
    problems = {}
    for field, value in (("subject", subject), ("text", text)):
        unknown = [name for name in _PLACE.findall(value) if name not in known]
        if unknown:
            problems[field] = said(
                "{place} is not a placeholder. Use {places}.",
                place="{" + unknown[0] + "}",
                places=", ".join("{" + name + "}" for name in known),
            )
    if "\n" in subject.strip() or "\r" in subject.strip():
        problems["subject"] = gettext("The subject is one line. Delete the line break.")
    return problems


def filled_words(
    kind: ReminderKind,
    own: Words,
    program: Program,
    *,
    name: str,
    lines: Sequence[str],
    link: str,
) -> Words:
    """What is mailed. What is filled in is never looked at for places again."""
    usual = usual_words(kind)
    words = Words(subject=own.subject.strip() or usual.subject, text=own.text.strip() or usual.text)
    return fill(words, program, name=name, lines=lines, link=link)


def fill(words: Words, program: Program, *, name: str, lines: Sequence[str], link: str) -> Words:
    values: Mapping[str, str] = {
        "name": name,
        "program": program.name,
        "list": "\n".join(f"- {line}" for line in lines),
        "link": link,
        "contact": program.contact_email or "–",
    }
    subject = filled(words.subject, values)
    return Words(subject=" ".join(subject.split()), text=filled(words.text, values))
