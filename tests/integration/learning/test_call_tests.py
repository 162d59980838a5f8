"""The call-identification test: set, taken, passed, and what is on record then."""

import datetime as dt
import html
import json
import re

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from accounts.models import Membership, Role
from accounts.people import record_passed_test
from accounts.training import Validity, validity_on
from surveys.exports.own_data import own_data
from surveys.learning import call_tests
from surveys.learning.results import calls_in_tests, result_of, tries_of_all
from surveys.learning.sounds import made_sound
from surveys.models import CallTest, CallTestHeard, CallTestTry, Species
from surveys.programs.assignments import today_of
from surveys.sound.hearing_errors import hearing_errors
from surveys.sound.questions import Question
from surveys.visits.exceptions import NotYours
from tests.support.builders import make_accepted_visit, make_member, make_program, make_route
from tests.support.call_tests import answer_all, make_test, rightly
from tests.support.sounds import make_stored_reference

pytestmark = pytest.mark.django_db
PEEPER, WOOD, TOAD = "pseudacris-crucifer", "lithobates-sylvaticus", "anaxyrus-americanus"
LEOPARD = "lithobates-pipiens"
TERMS = {
    "species": [PEEPER, TOAD],
    "questions": 6,
    "pass_overall": 80,
    "pass_species": 50,
    "valid_months": 12,
    "tries_allowed": 2,
}


@pytest.fixture
def checklist(catalog, program):
    for order, code in enumerate((PEEPER, WOOD, TOAD, LEOPARD)):
        program.checklist.create(species=Species.objects.get(code=code), order=order)


@pytest.fixture
def test(checklist, coordinator):
    return make_test(coordinator, PEEPER, TOAD, tries_allowed=2)


def url(member, name, *where):
    return reverse(f"web:{name}", args=[member.program.slug, *where])


def words(response):
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def never(question):
    return {}


class TestSetting:
    @pytest.mark.parametrize(
        ("wrong", "field"),
        [
            ({"species": [PEEPER, LEOPARD]}, "species"),
            ({"species": [PEEPER]}, "species"),
            ({"questions": 1}, "questions"),
        ],
    )
    def test_what_cannot_be_asked_is_refused(self, coordinator, checklist, wrong, field):
        with pytest.raises(ValidationError) as refusal:
            call_tests.set_test(coordinator, call_tests.Terms(**TERMS | wrong))
        assert list(refusal.value.message_dict) == [field]

    def test_a_new_test_closes_the_one_before(self, coordinator, observer, test):
        taken = call_tests.begin(observer)
        new = call_tests.set_test(coordinator, call_tests.Terms(**TERMS))
        test.refresh_from_db()
        assert (call_tests.open_test(observer.program), test.closed_at is None) == (new, False)
        assert call_tests.begin(observer) == taken, "who has begun finishes"
        with pytest.raises(IntegrityError), transaction.atomic():
            make_test(coordinator, PEEPER, TOAD)

    def test_only_coordinators_set_it(self, observer, test):
        for verb in (lambda: call_tests.set_test(observer, call_tests.Terms(**TERMS)),
                     lambda: call_tests.close_test(observer),
                     lambda: tries_of_all(observer)):  # fmt: skip
            with pytest.raises(PermissionDenied):
                verb()


class TestTaking:
    def test_who_answers_rightly_has_a_valid_test(self, observer, test):
        taken = answer_all(observer, call_tests.begin(observer), rightly)
        observer.refresh_from_db()
        today = today_of(observer.program)
        assert taken.passed
        assert observer.trained_on == today
        assert observer.trained_until == taken.valid_until == call_tests.months_later(today, 12)
        result = result_of(taken)
        assert (result.overall.estimate.value, result.missed, result.false) == (1, 0, 0)
        assert result.index.count.right == result.index.count.of > 0

    def test_who_misses_calls_has_none(self, observer, test):
        taken = answer_all(observer, call_tests.begin(observer), never)
        observer.refresh_from_db()
        assert (taken.passed, observer.trained_on) == (False, None)
        assert not CallTestHeard.objects.filter(was_named=True).exists()

    def test_one_weak_species_is_enough_to_fail(self, observer, coordinator, checklist):
        make_test(coordinator, PEEPER, TOAD, WOOD, pass_overall=50, questions=9)
        taken = answer_all(
            observer,
            call_tests.begin(observer),
            lambda question: {code: 1 for code in question.there if code != TOAD},
        )
        result = result_of(taken)
        assert (taken.passed, result.overall.reached) == (False, True)
        shares = {species.code: share for species, share in result.species}
        assert [code for code, share in shares.items() if not share.reached] == [TOAD]
        assert shares[TOAD].estimate.low == 0 < shares[TOAD].estimate.high

    def test_naming_everything_fails(self, observer, coordinator, checklist):
        make_test(coordinator, PEEPER, TOAD, WOOD, questions=12)
        taken = answer_all(
            observer, call_tests.begin(observer), lambda _: {PEEPER: 1, TOAD: 1, WOOD: 1}
        )
        result = result_of(taken)
        assert not taken.passed
        assert result.false >= 3, "at least where nothing called"
        assert result.missed == 0

    def test_tries_are_counted_and_one_is_under_way(self, observer, test):
        first = call_tests.begin(observer)
        assert call_tests.begin(observer) == first
        answer_all(observer, first, never)
        second = answer_all(observer, call_tests.begin(observer), never)
        assert call_tests.tries_left(observer, test) == 0
        with pytest.raises(PermissionDenied, match="no tries left"):
            call_tests.begin(observer)
        asked = [[row.question for row in one.questions.all()] for one in (first, second)]
        assert asked[0] != asked[1], "each try has questions of its own"

    def test_an_answer_is_given_once(self, observer, test):
        taken = call_tests.begin(observer)
        call_tests.answer(observer, taken.pk, 1, {TOAD: 2})
        before = list(CallTestHeard.objects.values_list("species__code", "was_named"))
        call_tests.answer(observer, taken.pk, 1, {PEEPER: 2})
        call_tests.answer(observer, taken.pk, 3, {PEEPER: 2})
        assert list(CallTestHeard.objects.values_list("species__code", "was_named")) == before
        assert call_tests.next_question(observer, taken.pk).number == 2

    def test_what_was_asked_can_be_played_again_after_the_calls_changed(
        self, observer, test, monkeypatch
    ):
        stored = call_tests.begin(observer).questions.filter(question__recording="").first()
        question = Question.from_plain(stored.question)
        made = made_sound(question)
        monkeypatch.setattr("surveys.sound.questions.call_of", lambda code: None)
        assert made_sound(question, stored.calls) == made

    def test_no_test_no_try(self, observer, coordinator, test):
        call_tests.close_test(coordinator)
        with pytest.raises(PermissionDenied, match="no test now"):
            call_tests.begin(observer)

    def test_a_reference_call_that_was_deleted_stops_new_tries(
        self, observer, coordinator, checklist
    ):
        leopard = Species.objects.get(code=LEOPARD)
        kept = make_stored_reference(None, leopard, coordinator, credit="Wren Tallow")
        make_test(coordinator, PEEPER, LEOPARD)
        kept.delete()
        with pytest.raises(ValidationError, match="Northern leopard frog"):
            call_tests.begin(observer)
        assert not CallTestTry.objects.exists()


class TestRecord:
    BEFORE, LATER = dt.date(2025, 6, 1), dt.date(2028, 1, 1)
    TODAY, UNTIL = dt.date(2026, 5, 1), dt.date(2027, 5, 1)

    @pytest.mark.parametrize(
        ("before", "after"),
        [
            ((None, None), (TODAY, UNTIL)),
            ((dt.date(2024, 1, 1), dt.date(2025, 1, 1)), (TODAY, UNTIL)),
            ((BEFORE, dt.date(2026, 6, 1)), (BEFORE, UNTIL)),
            ((BEFORE, LATER), (BEFORE, LATER)),
            ((BEFORE, None), (BEFORE, None)),
            ((dt.date(2026, 6, 1), LATER), (TODAY, LATER)),
        ],
        ids=["none", "expired", "extended", "longer", "without an end", "ahead"],
    )
    def test_what_is_valid_is_never_cut_short(self, observer, before, after):
        observer.trained_on, observer.trained_until = before
        observer.save()
        record_passed_test(observer, self.TODAY, self.UNTIL)
        observer.refresh_from_db()
        assert (observer.trained_on, observer.trained_until) == after
        assert validity_on(observer, self.TODAY) is Validity.VALID


class TestWhoSees:
    def test_others_do_not(self, client_for, observer, coordinator, program, test):
        taken = call_tests.begin(observer)
        other = make_member(program, Role.OBSERVER)
        stranger = make_member(make_program(), Role.COORDINATOR)
        for one in (other, stranger):
            with pytest.raises(NotYours):
                call_tests.find_try(one, taken.pk)
        with pytest.raises(NotYours):
            call_tests.answer(coordinator, taken.pk, 1, {})
        sound = url(observer, "call_test_sound", taken.pk, 1)
        assert client_for(coordinator).get(sound).status_code == 404, "while it is taken"
        assert client_for(observer).get(sound).status_code == 200
        later = url(observer, "call_test_sound", taken.pk, 2)
        assert client_for(observer).get(later).status_code == 404, "one after the other"
        answer_all(observer, taken, never)
        result = url(observer, "call_test_result", taken.pk)
        assert [client_for(one).get(result).status_code for one in (observer, coordinator, other)] \
            == [200, 200, 404]  # fmt: skip
        assert client_for(coordinator).get(later).status_code == 200, "all, once it is over"

    def test_the_page_does_not_tell(self, client_for, observer, test):
        """Pages of questions on different species differ in numbers alone."""
        taken = call_tests.begin(observer)
        client, pages, headers = client_for(observer), set(), set()
        address = url(observer, "call_test_question", taken.pk)
        while stored := call_tests.next_question(observer, taken.pk):
            answer = client.get(address)
            page = re.sub(r'csrfmiddlewaretoken" value="\w+', "", answer.content.decode())
            page = re.sub(r"\d+", "0", re.sub(r'nonce[-=]"?[\w+/=-]+', "", page))
            pages.add(page)
            sound = client.get(url(observer, "call_test_sound", taken.pk, stored.number))
            told = {name: value for name, value in sound.items()
                    if name not in ("ETag", "Server-Timing", "X-Request-ID")}  # fmt: skip
            headers.add(json.dumps(told, sort_keys=True))
            call_tests.answer(observer, taken.pk, stored.number, {})
        assert (len(pages), len(headers)) == (1, 1)

    def test_it_goes_with_the_data_of_the_person(self, observer, test):
        taken = answer_all(observer, call_tests.begin(observer), rightly)
        (told,) = own_data(observer.person)["call_tests"]
        assert (told["passed"], len(told["questions"])) == (True, taken.test.questions)


class TestPages:
    def test_from_setting_to_the_certificate(
        self, client_for, observer, coordinator, program, checklist
    ):
        sets = client_for(coordinator)
        form = {**TERMS, "species": [PEEPER, TOAD]}
        page = sets.post(url(coordinator, "call_test_set"), form, follow=True)
        assert "The test is set." in words(page)
        takes = client_for(observer)
        page = takes.get(url(observer, "call_test"))
        assert "You have 2 tries left." in words(page)
        assert "Your record:" not in words(page)
        page = takes.post(url(observer, "call_test_begin"), follow=True)
        taken = CallTestTry.objects.get()
        while stored := call_tests.next_question(observer, taken.pk):
            assert f"Question {stored.number} of 6" in words(page)
            there = rightly(Question.from_plain(stored.question))
            heard = {f"heard-{code}": index for code, index in there.items()}
            answer = {"number": stored.number, **heard, **({} if there else {"nothing": "on"})}
            page = takes.post(page.request["PATH_INFO"], answer, follow=True)
        assert "Passed" in words(page)
        assert "80%, reached" in words(page)
        assert "Hear question 6 again" in words(page)
        page = takes.get(url(observer, "call_test_certificate", taken.pk))
        assert observer.person.name in words(page)
        assert "passed the call-identification test of" in words(page)
        page = sets.get(url(coordinator, "call_test_results"))
        assert f"{observer.person.name}" in words(page)
        assert "passed, valid until" in words(page)
        assert "Your record: test valid to" in words(takes.get(url(observer, "call_test")))
        Membership.objects.filter(pk=observer.pk).update(trained_until=dt.date(2024, 3, 1))
        expired = words(takes.get(url(observer, "call_test")))
        assert "Your record: test expired on 1 Mar 2024." in expired
        page = sets.post(url(coordinator, "call_test_close"), follow=True)
        assert "There is no test now" in words(page)
        assert CallTest.objects.filter(closed_at=None).count() == 0

    @pytest.mark.parametrize(
        ("answer", "sentence"),
        [
            ({}, "Choose what you heard, or check the box below the species."),
            (
                {f"heard-{PEEPER}": "1", "nothing": "on"},
                "These answers contradict each other. Keep the species or the box only.",
            ),
        ],
    )
    def test_an_unclear_answer_is_asked_again(self, client_for, observer, test, answer, sentence):
        taken = call_tests.begin(observer)
        address = url(observer, "call_test_question", taken.pk)
        page = client_for(observer).post(address, {"number": "1", **answer})
        assert page.status_code == 422
        assert sentence in words(page)
        assert call_tests.next_question(observer, taken.pk).number == 1

    def test_there_is_no_certificate_without_passing(self, client_for, observer, test):
        taken = answer_all(observer, call_tests.begin(observer), never)
        client = client_for(observer)
        page = client.get(url(observer, "call_test_certificate", taken.pk))
        assert page.status_code == 404
        page = client.get(url(observer, "call_test_result", taken.pk))
        assert "Not passed this time" in words(page)
        assert "80%, not reached" in words(page)


def test_what_was_missed_in_finished_tests_stands_by_species(test, observer, program, client_for):
    taken = call_tests.begin(observer)
    assert calls_in_tests(program, observer.person_id) == []
    # Never the toad; the peeper always at index 1, also where it is not there.
    answer_all(observer, taken, lambda question: {PEEPER: 1})
    asked = [Question.from_plain(one.question).there for one in taken.questions.all()]
    errors = hearing_errors(calls_in_tests(program, observer.person_id))
    toads, peepers = (sum(code in there for there in asked) for code in (TOAD, PEEPER))
    assert (errors.missed.part, errors.missed.whole) == (toads, toads + peepers)
    assert (errors.not_heard.part, errors.not_heard.whole) == (len(asked) - peepers, len(asked))
    known = [there[PEEPER] for there in asked if there.get(PEEPER)]
    assert errors.other_index.whole == len(known)
    assert errors.other_index.part == sum(index != 1 for index in known)
    assert calls_in_tests(make_program(), observer.person_id) == []
    assert calls_in_tests(program, make_member(program).person_id) == []
    make_accepted_visit(make_route(program), observer.person)
    page = client_for(observer).get(f"/{program.slug}/your-surveys/")
    assert [table.key for table in page.context["hearing"]] == ["tests"]
    assert "Named, not there" in page.content.decode()
