"""Practice with calls: one question at a time, and what there was to hear after each answer."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext
from surveys.learning import practice as verbs
from surveys.learning.sounds import MADE_TYPE, made_sound
from surveys.ranges import serve_bytes, serve_file
from surveys.sound.questions import Question
from surveys.visits.media.references import MEDIA_TYPE, find_reference
from surveys.web.practice.forms import PracticeForm
from surveys.web.practice.page import feedback_of, known_of, species_of, temperature_of

_ALL = "all"


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Permission.READ_SEASONS)
def practice(request: ProgramRequest) -> HttpResponse:
    """A new question; or, sent, its answer."""
    if request.method == "POST":
        return _answered(request)
    member = request.membership
    is_all = _ALL in request.GET
    bank = verbs.practice_bank(member, in_season=not is_all)
    asked = verbs.ask(member, bank)
    context = {
        "is_all": is_all,
        "known": known_of(member),
        "number": len(bank.candidates),
        "scope": bank.scope,
        "without_call": [one.name for one in bank.without_call],
    }
    if asked is None:
        return render(request, "practice/none.html", context)
    return render(request, "practice/practice.html", {**context, **_question(request, asked)})


def _answered(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    asked = verbs.unsigned(member, request.POST.get("question", ""))
    shown = _question(request, asked, request.POST)
    if not shown["form"].is_valid():
        context = {**shown, "is_all": _ALL in request.POST, "known": known_of(member)}
        return render(request, "practice/practice.html", context, status=422)
    verbs.answer(member, asked, shown["form"].named)
    address = reverse("web:practice_answer", args=[member.program.slug, asked.id])
    return redirect(f"{address}?{_ALL}" if _ALL in request.POST else address)


def _question(request: ProgramRequest, asked: verbs.Asked, data: Any = None) -> dict[str, Any]:
    member, question = request.membership, asked.question
    token = verbs.signed(member, asked)
    species = species_of(member, question)
    return {
        "form": PracticeForm(data, question=question, species=species, token=token),
        "is_recorded": bool(question.recording),
        "sound": reverse("web:practice_sound", args=[member.program.slug, token]),
        "temperature": "" if question.recording else temperature_of(member.program, question),
    }


@require_safe
@needs(Permission.READ_SEASONS)
def answered(request: ProgramRequest, answer_id: UUID) -> HttpResponse:
    member = request.membership
    answer = verbs.find_answer(member, answer_id)
    question = Question.from_plain(answer.question)
    context = {
        "feedback": feedback_of(answer),
        "is_all": _ALL in request.GET,
        "is_recorded": bool(question.recording),
        "sound": reverse("web:practice_answer_sound", args=[member.program.slug, answer_id]),
        "temperature": "" if question.recording else temperature_of(member.program, question),
    }
    return render(request, "practice/answer.html", context)


@require_safe
@needs(Permission.READ_SEASONS)
def question_sound(request: ProgramRequest, signed_question: str) -> HttpResponseBase:
    """It opens nothing: who reads it has to be a member, and learns what the page plays."""
    asked = verbs.unsigned(request.membership, signed_question)
    return _sound(request, asked.question, str(asked.id))


@require_safe
@needs(Permission.READ_SEASONS)
def answered_sound(request: ProgramRequest, answer_id: UUID) -> HttpResponseBase:
    answer = verbs.find_answer(request.membership, answer_id)
    return _sound(request, Question.from_plain(answer.question), str(answer_id))


def _sound(request: ProgramRequest, question: Question, key: str) -> HttpResponseBase:
    if question.recording:
        audio = find_reference(request.membership, UUID(question.recording)).audio
        return serve_file(request, audio, etag=f'"{key}"', content_type=MEDIA_TYPE)
    return serve_bytes(request, made_sound(question), etag=f'"{key}"', content_type=MADE_TYPE)


@require_POST
@needs(Permission.READ_SEASONS)
def forget(request: ProgramRequest) -> HttpResponse:
    verbs.forget(request.membership)
    messages.success(request, gettext("Your practice answers are deleted."))
    return redirect("web:practice", request.membership.program.slug)
