"""Questions that are drawn, and what their answers are worth."""

import json
from collections import Counter

import pytest

from surveys.sound.calls import calls
from surveys.sound.questions import (
    CHOICES,
    Candidate,
    Kind,
    Question,
    Tally,
    draw_practice,
    draw_test,
)
from surveys.sound.scoring import Count, Heard, compare, passes, score

CODES = sorted(calls())[:8]
PEEPER, TOAD = "pseudacris-crucifer", "anaxyrus-americanus"


def candidates(**special):
    return [
        Candidate(species=code, voices=(code,), **special.get(code.replace("-", "_"), {}))
        for code in CODES
    ]


def drawn(number=300, tallies=None, listed=None):
    listed = candidates() if listed is None else listed
    return [draw_practice(listed, tallies or {}, seed=seed) for seed in range(number)]


def test_a_seed_gives_the_same_question_again_even_from_json():
    for question in (*drawn(20), *draw_test(candidates(), number=20, seed=3)):
        again = Question.from_plain(json.loads(json.dumps(question.plain())))
        assert again == question
        assert again.scene(question.calls()) == question.scene()
        made = {voice.index for voice in question.voices if voice.made_as}
        assert {index for _, index in question.scene().voices} == made
    assert drawn(20) == drawn(20)
    assert draw_test(candidates(), number=9, seed=1) != draw_test(candidates(), number=9, seed=2)


def test_what_calls_is_among_the_choices_at_any_place():
    places = Counter()
    for question in drawn():
        assert set(question.there) <= set(question.choices)
        assert len(set(question.choices)) == len(question.choices)
        if question.kind is Kind.WHICH_ONE:
            assert (len(question.voices), len(question.choices)) == (1, CHOICES)
            places[question.choices.index(question.voices[0].species)] += 1
        elif question.kind is Kind.WHICH_OF_THESE:
            assert 1 <= len(question.voices) <= 3 < len(question.choices)
        else:
            assert question.voices[0].index in (1, 2, 3)
    assert set(places) == set(range(CHOICES))
    assert min(places.values()) > sum(places.values()) / 8


def test_what_a_learner_confuses_is_asked_more_often_beside_what_they_named():
    weak, named = CODES[3], CODES[6]
    tallies = {code: Tally(right=9, wrong=1) for code in CODES}
    tallies[weak] = Tally(right=3, wrong=7, named_instead={named: 5})
    questions = drawn(tallies=tallies)
    about = [question for question in questions if weak in question.there]
    assert len(about) > 0.6 * len(questions)
    asked_first = [one for one in about if one.kind is Kind.WHICH_ONE]
    assert all(named in question.choices for question in asked_first)
    assert {code for one in questions for code in one.there} > {weak}, "and others sometimes"


def test_look_alikes_are_choices():
    alike = frozenset(CODES[-2:])
    listed = candidates(**{CODES[0].replace("-", "_"): {"alike": alike}})
    for question in drawn(listed=listed):
        if question.kind is Kind.WHICH_ONE and CODES[0] in question.there:
            assert alike <= set(question.choices)


def test_a_species_with_recordings_alone_is_asked_alone():
    recorded = Candidate(species="x", recordings=("one", "two"))
    for question in drawn(listed=[*candidates(), recorded]):
        if "x" in question.there:
            assert question.recording in ("one", "two")
            assert (question.kind, question.voices[0].index) == (Kind.WHICH_ONE, None)
    for question in draw_test([*candidates(), recorded], number=40, seed=5):
        if "x" in question.there:
            assert (set(question.there), bool(question.recording)) == ({"x"}, True)


def test_few_species_leave_fewer_kinds():
    (one, two, *_) = candidates()
    assert {question.kind for question in drawn(40, listed=[one])} == {Kind.WHICH_INDEX}
    kinds = {question.kind for question in drawn(40, listed=[one, two])}
    assert kinds == {Kind.WHICH_ONE, Kind.WHICH_INDEX}
    with pytest.raises(ValueError, match="nothing to ask"):
        draw_practice([], {}, seed=1)


def test_a_test_asks_about_each_species_as_often_and_is_silent_sometimes():
    for seed in range(30):
        questions = draw_test(candidates(), number=24, seed=seed)
        assert len(questions) == 24
        asked = Counter(code for question in questions for code in question.there)
        assert set(asked) == set(CODES)
        assert max(asked.values()) - min(asked.values()) <= 1
        silent = [question for question in questions if not question.voices]
        assert len(silent) == 2
        assert all(question.behind for question in silent)
        assert all(question.choices == tuple(CODES) for question in questions)
    with pytest.raises(ValueError, match="fewer questions than species"):
        draw_test(candidates(), number=7, seed=1)


def test_with_fewest_questions_each_species_is_asked_about():
    for seed in range(60):
        questions = draw_test(candidates(), number=len(CODES), seed=seed)
        assert {code for question in questions for code in question.there} == set(CODES)


# --- What answers are worth


def test_a_score_counts_what_was_missed_and_what_was_false():
    rows = [
        *compare({PEEPER: 3, TOAD: 1}, {PEEPER: 3}),
        *compare({PEEPER: 2}, {PEEPER: 1, TOAD: 2}),
        *compare({}, {}),
        *compare({PEEPER: None}, {PEEPER: 2}),
    ]
    found = score(rows)
    assert found.overall == Count(right=3, of=5)
    assert (found.missed, found.false) == (1, 1)
    assert found.by_species == {PEEPER: Count(right=3, of=3), TOAD: Count(right=0, of=2)}
    assert found.index == Count(right=1, of=2), "the index of a recording is not known"
    assert rows[0] == Heard(species=TOAD, was_there=True, was_named=False, index_there=1)


@pytest.mark.parametrize(
    ("overall", "species", "passed"),
    [(60, 0, True), (61, 0, False), (60, 1, False), (0, 0, True)],
)
def test_both_marks_are_to_be_reached(overall, species, passed):
    rows = [
        *compare({PEEPER: 1, TOAD: 1}, {PEEPER: 1}),
        *compare({PEEPER: 1}, {PEEPER: 1}),
        *compare({PEEPER: 1}, {PEEPER: 1, TOAD: 2}),
    ]
    marks = {"overall_percent": overall, "species_percent": species}
    assert passes(score(rows), [PEEPER, TOAD], **marks) is passed


def test_a_species_that_was_not_asked_reaches_no_mark():
    found = score(compare({PEEPER: 1}, {PEEPER: 1}))
    assert not passes(found, [PEEPER, TOAD], overall_percent=100, species_percent=1)
    assert passes(found, [PEEPER, TOAD], overall_percent=100, species_percent=0)
