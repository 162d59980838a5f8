"""What the pages of practice show: a question, and after the answer what there was to hear."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.translation import gettext_lazy

from accounts.models import Membership
from surveys.language import gettext, said
from surveys.learning.bank import heard_as
from surveys.learning.practice import heard_of, tallies_of
from surveys.models import LookAlikes, PracticeAnswer, PracticeHeard, Program, Species
from surveys.programs.versions import units_of
from surveys.protocol.weather import show_temperature
from surveys.protocol.words import distance, listed
from surveys.sound.calls import call_of
from surveys.sound.questions import Kind, Question
from surveys.sound.scoring import is_right
from surveys.web.calls.shown import CALLERS, call_words

_NOISES = {
    "wind": gettext_lazy("wind"),
    "rain": gettext_lazy("rain"),
    "road": gettext_lazy("a passing car"),
}


@dataclass(frozen=True, kw_only=True)
class ToldSpecies:
    """A species in the answer: what it was, how it sounds, and how it differs from others."""

    species: Species
    verdict: str
    made_as: str
    differs: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Feedback:
    is_right: bool
    sentence: str
    played: str
    told: list[ToldSpecies]


@dataclass(frozen=True, kw_only=True)
class Known:
    """How often the learner was right about a species."""

    species: Species
    right: int
    of: int


def temperature_of(program: Program, question: Question) -> str:
    return show_temperature(Decimal(str(question.celsius)), units_of(program).temperature)


def feedback_of(answer: PracticeAnswer) -> Feedback:
    question = Question.from_plain(answer.question)
    rows = sorted(answer.heard.all(), key=lambda row: (not row.was_there, row.species.name))
    is_all_right = all(is_right(heard_of(row)) for row in rows)
    made = {voice.species: voice.made_as for voice in question.voices}
    return Feedback(
        is_right=is_all_right,
        sentence=_sentence(question, rows, is_all_right=is_all_right),
        played=_played_words(answer.program, question, rows),
        told=[
            ToldSpecies(
                species=row.species,
                verdict=_verdict(question, row),
                made_as=_made_words(made.get(row.species.code, row.species.code), question),
                differs=_differences(row.species, rows),
            )
            for row in rows
        ],
    )


def known_of(member: Membership) -> list[Known]:
    """By name of the species."""
    tallies = tallies_of(member)
    species = Species.objects.known_to(member.program).filter(code__in=tallies)
    return [
        Known(
            species=one,
            right=tallies[one.code].right,
            of=tallies[one.code].right + tallies[one.code].wrong,
        )
        for one in species.order_by("common_name")
    ]


def species_of(member: Membership, question: Question) -> dict[str, Species]:
    """Those of the choices, by code."""
    known = Species.objects.known_to(member.program).filter(code__in=question.choices)
    return {one.code: one for one in known}


def _sentence(question: Question, rows: Iterable[PracticeHeard], *, is_all_right: bool) -> str:
    if is_all_right:
        return gettext("Yes, that is right.")
    if question.kind is Kind.WHICH_INDEX:
        return gettext("Not quite. Listen again: can you count the males?")
    if any(row.was_there and row.was_named for row in rows):
        return gettext("Partly right. Listen again with the words below.")
    return gettext("Not this time. Listen again with the words below.")


def _played_words(program: Program, question: Question, rows: Iterable[PracticeHeard]) -> str:
    """Which species called with which index, how far away, and what else was to be heard."""
    names = {row.species.code: row.species.name for row in rows}
    if question.recording:
        return said("A recording of {species}.", species=names[question.voices[0].species])
    called = [
        said(
            "{species} (call index {index})",
            species=names[voice.species],
            index=voice.index,
        )
        for voice in question.voices
    ]
    away = distance(question.distance, units_of(program).distance)
    words = [
        said("You heard {species}.", species=listed(called)),
        said("Nearest male: {distance}.", distance=away),
    ]
    if question.behind:
        words.append(said("Other noise: {noise}.", noise=str(_NOISES[question.behind])))
    return " ".join(words)


def _verdict(question: Question, row: PracticeHeard) -> str:
    if not row.was_there:
        return gettext("You named it. It did not call.")
    if not row.was_named:
        return gettext("It called. You did not name it.")
    if question.kind is not Kind.WHICH_INDEX:
        return gettext("It called, and you named it.")
    words = dict(CALLERS)
    if is_right(heard_of(row)):
        return str(words[str(row.index_there)])
    return said(
        "It was: {there}. You chose: {named}.",
        there=words[str(row.index_there)],
        named=words[str(row.index_named)],
    )


def _made_words(code: str, question: Question) -> str:
    """Pitch and pulses as they were heard; blank where no call is known or a recording played."""
    call = call_of(code)
    return "" if call is None or question.recording else call_words(call, question.celsius)


def _differences(species: Species, rows: Iterable[PracticeHeard]) -> list[str]:
    """How a species that was missed or named by mistake differs from the others of the answer."""
    others = {voice.pk for row in rows if row.species != species for voice in heard_as(row.species)}
    own = {voice.pk for voice in heard_as(species)}
    groups = LookAlikes.objects.filter(members__in=own).filter(members__in=others).distinct()
    return [group.told_how for group in groups]
