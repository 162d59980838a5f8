"""Practice on the phone: what goes with a route, and answers that come back with signal."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from surveys.learning import practice
from surveys.models import PracticeAnswer, Species
from surveys.sound.questions import Kind, Question, Voice, draw_practice
from surveys.web.survey.packets import route_packet
from tests.integration.learning.conftest import GRAYS, LEOPARD, ORNATE, PEEPER, TOAD
from tests.support.builders import make_route
from tests.support.sounds import make_stored_reference

pytestmark = pytest.mark.django_db


def question(**other):
    usual = {
        "kind": Kind.WHICH_ONE,
        "voices": (Voice(species=PEEPER, made_as=PEEPER, index=2),),
        "choices": (ORNATE, PEEPER, TOAD),
        "celsius": 12.0,
        "seed": 5,
    }
    plain = Question(**{**usual, **other}).plain()
    return {**plain, "recording": plain["recording"] or None}


def body(named=None, *, at=None, **other):
    at = at or timezone.now()
    named = {ORNATE: None} if named is None else named
    return {"question": question(), "named": named, "answered_at": at.isoformat(), **other}


@pytest.fixture
def send(client_for):
    def put(member, content, answer_id=None):
        where = [member.program.slug, answer_id or uuid.uuid4()]
        return client_for(member).put(
            reverse("api:practice_answer", args=where), content, content_type="application/json"
        )

    return put


class TestPacket:
    def test_it_holds_what_a_question_is_drawn_from(self, observer, coordinator, checklist):
        leopard = Species.objects.get(code=LEOPARD)
        kept = make_stored_reference(None, leopard, coordinator, credit="Wren Tallow")
        practice.answer(
            observer,
            practice.Asked(id=uuid.uuid4(), question=Question.from_plain(question())),
            {ORNATE: None},
        )
        packet = route_packet(observer, make_route(observer.program).code, timezone.now())
        found = {one["species"]: one for one in packet["practice"]["candidates"]}
        assert list(found) == [PEEPER, ORNATE, TOAD, LEOPARD, GRAYS]
        assert ORNATE in found[PEEPER]["alike"]
        assert found[LEOPARD] == {
            "species": LEOPARD,
            "voices": (),
            "recordings": [str(kept.pk)],
            "alike": [],
        }
        assert set(found[GRAYS]["voices"]) <= set(packet["calls"]), "each can be made"
        assert [one["id"] for one in packet["references"]] == [str(kept.pk)]
        assert packet["practice"]["tallies"][PEEPER] == {
            "right": 0,
            "wrong": 1,
            "named_instead": {ORNATE: 1},
        }

    def test_a_recording_that_stays_behind_is_not_asked(
        self, observer, coordinator, checklist, monkeypatch
    ):
        leopard = Species.objects.get(code=LEOPARD)
        make_stored_reference(None, leopard, coordinator, credit="Wren Tallow")
        monkeypatch.setattr("surveys.web.calls.page.MOST_BYTES_ON_PHONE", 10)
        packet = route_packet(observer, make_route(observer.program).code, timezone.now())
        assert packet["references"] == []
        assert LEOPARD not in {one["species"] for one in packet["practice"]["candidates"]}


class TestAnswers:
    def test_it_counts_once_and_comes_back_with_what_is_confused(self, observer, checklist, send):
        key = uuid.uuid4()
        first = send(observer, body(), key)
        assert first.status_code == 200
        again = send(observer, body({PEEPER: None}), key)
        assert again.status_code == 200
        assert again.json()["tallies"] == first.json()["tallies"]
        assert first.json()["tallies"][PEEPER] == {
            "right": 0,
            "wrong": 1,
            "named_instead": {ORNATE: 1},
        }
        assert PracticeAnswer.objects.get().pk == key
        assert practice.tallies_of(observer)[PEEPER].wrong == 1

    def test_the_site_asks_about_what_was_confused_on_the_phone(self, observer, checklist, send):
        for _ in range(12):
            assert send(observer, body()).status_code == 200
        bank = practice.practice_bank(observer, in_season=False)
        tallies = practice.tallies_of(observer)
        drawn = [draw_practice(bank.candidates, tallies, seed=seed) for seed in range(60)]
        about = [one for one in drawn if {PEEPER, ORNATE} & set(one.there)]
        assert len(about) > 50

    def test_the_page_of_the_answer_plays_it_again(self, client_for, observer, checklist, send):
        key = uuid.uuid4()
        send(observer, body(), key)
        page = reverse("web:practice_answer", args=[observer.program.slug, key])
        client = client_for(observer)
        assert "It called. You did not name it." in client.get(page).content.decode()
        assert client.get(f"{page}/sound").status_code == 200

    def test_it_was_given_when_the_phone_says(self, observer, checklist, send):
        now = timezone.now()
        given = {
            "last week": now - dt.timedelta(days=7),
            "tomorrow": now + dt.timedelta(days=1),
            "long ago": now - dt.timedelta(days=4000),
        }
        stored = {}
        for name, at in given.items():
            key = uuid.uuid4()
            assert send(observer, body(at=at), key).status_code == 200
            stored[name] = PracticeAnswer.objects.get(pk=key).answered_at
        assert stored["last week"] == given["last week"]
        assert abs(stored["tomorrow"] - now) < dt.timedelta(minutes=5)
        assert stored["long ago"] > now - dt.timedelta(days=401)

    def test_one_of_another_person_is_not_taken(self, observer, coordinator, checklist, send):
        lent = send(coordinator, body(observer=observer.person_id))
        assert lent.status_code == 404
        assert "Someone else gave this answer." in lent.json()["detail"]
        key = uuid.uuid4()
        send(observer, body(), key)
        assert send(coordinator, body(), key).status_code == 404
        assert PracticeAnswer.objects.count() == 1
        assert practice.tallies_of(coordinator) == {}

    def test_what_no_phone_draws_is_refused(self, observer, checklist, send):
        voice = Voice(species=PEEPER, made_as=PEEPER, index=2)
        reference = str(uuid.uuid4())
        faults = {
            "Species that call are among the choices.": [
                {"question": question(choices=(ORNATE, TOAD))},
                {"named": {LEOPARD: None}},
                {"named": {"\x00": None}},
            ],
            "A recording has no call index": [{"question": question(recording=reference)}],
            "The program does not know no-such-frog.": [
                {"question": question(choices=(ORNATE, PEEPER, "no-such-frog"))}
            ],
            "The program does not know lithobates-pipiens.": [
                {"question": question(voices=(Voice(species=PEEPER, made_as=LEOPARD, index=1),))}
            ],
            "": [
                {"question": {**question(), "celsius": "nan"}},
                {"question": question(celsius=99)},
                {"question": question(voices=())},
                {"question": question(voices=(voice,) * 9)},
                {"question": question(kind=Kind.AS_AT_A_STOP)},
                {"question": {**question(), "behind": "thunder"}},
                {"named": {PEEPER: 4}},
                {"named": {}},
                {"answered_at": "yesterday"},
            ],
        }
        for told, bodies in faults.items():
            for fault in bodies:
                answer = send(observer, {**body(), **fault})
                assert answer.status_code == 400, fault
                assert told in answer.json()["detail"], fault
        assert not PracticeAnswer.objects.exists()
