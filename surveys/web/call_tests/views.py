"""Taking a call-identification test: nothing on the page tells the answer."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import Permission, ProgramRequest, may, needs
from accounts.training import validity_in_words
from surveys.language import gettext
from surveys.learning import call_tests as verbs
from surveys.learning.results import questions_of, result_of, tries_of
from surveys.learning.sounds import MADE_TYPE, made_sound
from surveys.models import CallTestQuestion, CallTestTry, Species
from surveys.programs.assignments import today_of
from surveys.ranges import serve_bytes, serve_file
from surveys.sound.questions import Question
from surveys.visits.exceptions import NotYours
from surveys.visits.media.references import MEDIA_TYPE, find_reference
from surveys.web.call_tests.forms import QuestionForm
from surveys.web.practice.page import temperature_of


@require_safe
@needs(Permission.SURVEY)
def call_test(request: ProgramRequest) -> HttpResponse:
    """The program's test, and the member's own tries."""
    member = request.membership
    test = verbs.open_test(member.program)
    context = {
        "test": test,
        "species": test and Species.objects.filter(code__in=test.species).order_by("common_name"),
        "tries_left": test and verbs.tries_left(member, test),
        "under_way": verbs.try_under_way(member),
        "tries": tries_of(member).exclude(finished_at=None),
        "may_manage": may(member, Permission.MANAGE),
        "validity": member.trained_on and validity_in_words(member, today_of(member.program)),
    }
    return render(request, "call_tests/test.html", context)


@require_POST
@needs(Permission.SURVEY)
def begin(request: ProgramRequest) -> HttpResponse:
    slug = request.membership.program.slug
    try:
        taken = verbs.begin(request.membership)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
        return redirect("web:call_test", slug)
    return redirect("web:call_test_question", slug, taken.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Permission.SURVEY)
def question(request: ProgramRequest, try_id: UUID) -> HttpResponse:
    """The next question; sent, its answer."""
    member = request.membership
    stored = verbs.next_question(member, try_id)
    if stored is None:
        return redirect("web:call_test_result", member.program.slug, try_id)
    data = request.POST if request.method == "POST" else None
    form = QuestionForm(data, species=_species_of(stored.taken), number=stored.number)
    if form.is_bound and form.is_valid():
        verbs.answer(member, try_id, form.cleaned_data["number"], form.named)
        return redirect("web:call_test_question", member.program.slug, try_id)
    context = {
        "form": form,
        "heading": gettext("What calls here?"),
        "number": stored.number,
        "of": stored.taken.test.questions,
        "temperature": _temperature(request, stored),
        "try": stored.taken,
    }
    return render(request, "call_tests/question.html", context, status=422 if form.errors else 200)


@require_safe
@needs(Permission.SURVEY)
def sound(request: ProgramRequest, try_id: UUID, number: int) -> HttpResponseBase:
    stored = verbs.find_question(request.membership, try_id, number)
    asked, etag = Question.from_plain(stored.question), f'"{try_id}-{number}"'
    if asked.recording:
        audio = find_reference(request.membership, UUID(asked.recording)).audio
        return serve_file(request, audio, etag=etag, content_type=MEDIA_TYPE)
    made = made_sound(asked, stored.calls)
    return serve_bytes(request, made, etag=etag, content_type=MADE_TYPE)


@require_safe
@needs(Permission.SURVEY)
def result(request: ProgramRequest, try_id: UUID) -> HttpResponse:
    taken = _finished(request, try_id)
    context = {
        "heading": gettext("Passed") if taken.passed else gettext("Not passed this time"),
        "result": result_of(taken),
        "questions": questions_of(taken),
        "taken": taken,
        "is_own": taken.person_id == request.membership.person_id,
    }
    return render(request, "call_tests/result.html", context)


@require_safe
@needs(Permission.SURVEY)
def certificate(request: ProgramRequest, try_id: UUID) -> HttpResponse:
    """To print."""
    taken = _finished(request, try_id)
    if not taken.passed:
        raise NotYours(gettext("This test was not passed."))
    return render(request, "call_tests/certificate.html", {"result": result_of(taken)})


def _finished(request: ProgramRequest, try_id: UUID) -> CallTestTry:
    taken = verbs.find_try(request.membership, try_id)
    if taken.finished_at is None:
        raise NotYours(gettext("This test is not finished yet."))
    return taken


def _species_of(taken: CallTestTry) -> list[Species]:
    return list(Species.objects.filter(code__in=taken.test.species).order_by("common_name"))


def _temperature(request: ProgramRequest, stored: CallTestQuestion) -> Any:
    """Of a recording none is told: it would help to know which one plays."""
    asked = Question.from_plain(stored.question)
    return "" if asked.recording else temperature_of(request.membership.program, asked)
