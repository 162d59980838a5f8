"""Practice with calls: what is asked about, what is kept, and that only the learner sees it."""

import datetime as dt
import html
import io
import re
import wave

import pytest
from django.urls import reverse
from django.utils import timezone

from accounts.erasing import erase
from accounts.models import Role
from surveys.exports.own_data import own_data
from surveys.learning import practice
from surveys.models import PracticeAnswer, Species
from surveys.sound.questions import Kind, Question, Voice
from surveys.visits.exceptions import NotYours
from tests.integration.learning.conftest import GRAYS, LEOPARD, ORNATE, PEEPER, TOAD
from tests.support.builders import make_member, make_program
from tests.support.sounds import make_stored_reference

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)


def _season(first, last):
    return {
        "calls_from_month": first.month,
        "calls_from_day": min(first.day, 28),
        "calls_to_month": last.month,
        "calls_to_day": min(last.day, 28),
    }


def question(kind=Kind.WHICH_ONE, there=((PEEPER, 2),), choices=(ORNATE, PEEPER, TOAD), **other):
    voices = tuple(Voice(species=code, made_as=code, index=index) for code, index in there)
    return Question(kind=kind, voices=voices, choices=choices, celsius=12.0, seed=5, **other)


def asked(**fields):
    return practice.Asked(id=practice.uuid.uuid4(), question=question(**fields))


def url(member, name="practice", *where):
    return reverse(f"web:{name}", args=[member.program.slug, *where])


def words(response):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


class TestBank:
    def test_what_has_a_call_can_be_asked(self, observer, checklist):
        bank = practice.practice_bank(observer, in_season=False)
        assert [one.species for one in bank.candidates] == [PEEPER, ORNATE, TOAD, GRAYS]
        assert [one.code for one in bank.without_call] == [LEOPARD]
        grays = bank.candidates[-1]
        assert set(grays.voices) == {"dryophytes-versicolor", "dryophytes-chrysoscelis"}
        assert ORNATE in bank.candidates[0].alike, "they are taken for each other"

    def test_a_reference_call_is_enough(self, observer, coordinator, checklist):
        leopard = Species.objects.get(code=LEOPARD)
        kept = make_stored_reference(None, leopard, coordinator, credit="Wren Tallow")
        bank = practice.practice_bank(observer, in_season=False)
        (found,) = (one for one in bank.candidates if one.species == LEOPARD)
        assert (found.voices, found.recordings) == ((), (str(kept.pk),))

    def test_a_joint_entry_beside_a_member_of_it_is_not_asked(self, observer, checklist):
        one = Species.objects.get(code="dryophytes-versicolor")
        observer.program.checklist.create(species=one, order=9)
        codes = [
            one.species for one in practice.practice_bank(observer, in_season=False).candidates
        ]
        assert (GRAYS in codes, one.code in codes) == (False, True)

    def test_species_of_the_season_come_first(self, observer, checklist, client_for):
        ahead = (timezone.now() + dt.timedelta(days=100)).date()
        later = ahead + dt.timedelta(days=20)
        checklist.exclude(species__code=TOAD).update(**_season(ahead, later))
        for order, code in enumerate(("lithobates-sylvaticus", "anaxyrus-fowleri"), start=9):
            species = Species.objects.get(code=code)
            checklist.create(species=species, order=order, **_season(ahead - 30 * DAY, later))
        bank = practice.practice_bank(observer)
        assert [one.species for one in bank.candidates if one.species == TOAD] == [TOAD]
        assert (len(bank.candidates), bank.scope) == (4, "nearest"), "more than an index is asked"
        nearest = {"lithobates-sylvaticus", "anaxyrus-fowleri"}
        assert nearest <= {one.species for one in bank.candidates}
        page = client_for(observer).get(url(observer))
        told = "the few that call at this time of the year, and those whose season is nearest."
        assert f"Drawn from 4 species: {told}" in words(page)
        assert len(practice.practice_bank(observer, in_season=False).candidates) == 6
        checklist.filter(species__code=TOAD).delete()
        bank = practice.practice_bank(observer)
        assert (len(bank.candidates), bank.scope) == (5, "none-calls")
        page = client_for(observer).get(url(observer))
        told = "Drawn from all 5 species of the checklist: none of them is calling now."
        assert told in words(page)


class TestAnswers:
    def test_what_was_confused_is_known(self, observer, checklist):
        practice.answer(observer, asked(), {ORNATE: None})
        practice.answer(observer, asked(), {PEEPER: None})
        index = {"kind": Kind.WHICH_INDEX, "choices": (PEEPER,)}
        practice.answer(observer, asked(**index), {PEEPER: 3})
        tallies = practice.tallies_of(observer)
        assert (tallies[PEEPER].right, tallies[PEEPER].wrong) == (1, 2), "a wrong index is wrong"
        assert tallies[PEEPER].named_instead == {ORNATE: 1}
        assert (tallies[ORNATE].right, tallies[ORNATE].wrong) == (0, 1)

    def test_an_answer_sent_twice_is_kept_once(self, observer, checklist):
        one = asked()
        practice.answer(observer, one, {ORNATE: None})
        practice.answer(observer, one, {PEEPER: None})
        (kept,) = practice.answers_of(observer)
        assert {row.species.code: row.was_named for row in kept.heard.all()} == {
            PEEPER: False,
            ORNATE: True,
        }

    def test_nobody_else_reads_it(self, client_for, observer, coordinator, checklist):
        kept = practice.answer(observer, asked(), {ORNATE: None})
        for name in ("practice_answer", "practice_answer_sound"):
            assert client_for(coordinator).get(url(coordinator, name, kept.pk)).status_code == 404
        assert practice.tallies_of(coordinator) == {}
        elsewhere = make_member(make_program(), Role.OBSERVER, person=observer.person)
        assert not practice.answers_of(elsewhere).exists(), "each program has its own"
        with pytest.raises(NotYours):
            practice.unsigned(elsewhere, practice.signed(observer, asked()))

    def test_it_goes_with_the_person(self, observer, coordinator, checklist):
        practice.answer(observer, asked(), {ORNATE: None})
        ((ornate, peeper),) = (one["heard"] for one in own_data(observer.person)["practice"])
        assert (peeper["species"], peeper["called"], peeper["named"]) == (PEEPER, True, False)
        assert (ornate["species"], ornate["called"], ornate["named"]) == (ORNATE, False, True)
        erase(coordinator, observer.pk)
        assert not PracticeAnswer.objects.exists()

    def test_only_ones_own_are_deleted(self, observer, coordinator, checklist):
        practice.answer(observer, asked(), {ORNATE: None})
        kept = practice.answer(coordinator, asked(), {ORNATE: None})
        assert practice.forget(observer) == 1
        assert list(PracticeAnswer.objects.all()) == [kept]


class TestPages:
    def test_a_question_is_heard_answered_and_told(self, client_for, observer, checklist):
        client = client_for(observer)
        page = client.get(url(observer) + "?all")
        assert "Drawn from 4 species of the checklist." in words(page)
        assert "no question about them: Northern leopard frog." in words(page)
        token = page.context["form"].fields["question"].initial
        sound = client.get(url(observer, "practice_sound", token))
        with wave.open(io.BytesIO(b"".join(sound.streaming_content))) as file:
            assert file.getnframes() == 10 * file.getframerate()
        part = client.get(url(observer, "practice_sound", token), headers={"Range": "bytes=0-1"})
        assert (part.status_code, b"".join(part.streaming_content)) == (206, b"RI")
        shown = page.context["form"].question
        choice = "1" if shown.kind is Kind.WHICH_INDEX else shown.choices[0]
        answer = client.post(url(observer), {"question": token, "answer": choice, "all": "1"})
        assert answer.url.endswith("?all"), "the next question is of all, too"
        told = client.get(answer.url)
        for code in shown.there:
            assert Species.objects.get(code=code).call.split(";")[0] in words(told)
        assert "Next question" in words(told)

    @pytest.mark.parametrize(
        ("fields", "answer", "told"),
        [
            ({}, PEEPER, ["Yes, that is right.", "It called, and you named it."]),
            (
                {},
                ORNATE,
                [
                    "Not this time.",
                    "It called. You did not name it.",
                    "You named it. It did not call.",
                    "The peeper whistles once a second and slides upward.",
                    "At 12 °C (54 °F): rising from 2,700 to 2,950 Hz.",
                ],
            ),
            (
                {
                    "kind": Kind.WHICH_OF_THESE,
                    "there": ((PEEPER, 1), (TOAD, 2)),
                    "distance": 60.0,
                    "behind": "road",
                },
                [TOAD],
                [
                    "Partly right.",
                    "You heard Spring peeper (call index 1) and American toad (call index 2).",
                    "Nearest male: 60 m. Other noise: a passing car.",
                ],
            ),
            (
                {"kind": Kind.WHICH_INDEX, "choices": (PEEPER,)},
                "3",
                ["It was: A few that overlap (call index 2). You chose: Full chorus"],
            ),
        ],
    )
    def test_the_answer_says_what_to_listen_for(
        self, client_for, observer, checklist, fields, answer, told
    ):
        client = client_for(observer)
        token = practice.signed(observer, asked(**fields))
        page = client.post(url(observer), {"question": token, "answer": answer}, follow=True)
        for sentence in told:
            assert sentence in words(page)

    def test_what_is_wrong_is_said_beside_the_same_question(self, client_for, observer, checklist):
        token = practice.signed(observer, asked())
        client = client_for(observer)
        page = client.post(url(observer), {"question": token})
        assert page.status_code == 422
        assert "Not answered yet Which species calls?" in words(page)
        assert practice.unsigned(observer, page.context["form"].fields["question"].initial)
        assert not PracticeAnswer.objects.exists()
        assert client.post(url(observer), {"question": "made up"}).status_code == 404

    def test_a_recording_plays_as_it_is(self, client_for, observer, coordinator, checklist):
        peeper = Species.objects.get(code=PEEPER)
        kept = make_stored_reference(None, peeper, coordinator, credit="Wren Tallow")
        one = asked(there=((PEEPER, None),), recording=str(kept.pk))
        token = practice.signed(observer, one)
        client = client_for(observer)
        sound = client.get(url(observer, "practice_sound", token))
        assert b"".join(sound.streaming_content) == kept.audio.read()
        told = client.post(url(observer), {"question": token, "answer": PEEPER}, follow=True)
        assert "recorded" in words(told)
        assert "A recording of Spring peeper." in words(told)
        assert "Air temperature" not in words(told)

    def test_without_a_call_it_says_so(self, client_for, observer, catalog, program):
        program.checklist.create(species=Species.objects.get(code=LEOPARD))
        page = client_for(observer).get(url(observer))
        assert "There is nothing to practice yet" in words(page)
        assert "Northern leopard frog" in words(page)
