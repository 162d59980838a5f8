"""Findings in words: a sentence for every code, every kind of parameter, the reader's units."""

import datetime as dt
import re
from decimal import Decimal

import pytest

from surveys.language import Plural
from surveys.protocol import params
from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import RULE_SENTENCES, RULES
from surveys.protocol.sentences.sentence import key_of
from surveys.protocol.sentences.vocabulary import VOCABULARY
from surveys.protocol.telling import SENTENCES, Reader, note_in_words, show, tell_sentence
from surveys.protocol.values import (
    DistanceUnit,
    MonthDay,
    SeasonWindow,
    Temperature,
    TemperatureUnit,
    Where,
)
from surveys.visits.sheet.reading_rules import READING_RULES
from tests.support.rule_cases import CASES

C, F = TemperatureUnit.CELSIUS, TemperatureUnit.FAHRENHEIT
METRIC = Reader(time_zone="America/Chicago", species={"hyla-gratiosa": "Barking treefrog"})
IMPERIAL = Reader(temperature_unit=F, distance_unit=DistanceUnit.MILES)
INSTANT = dt.datetime(2024, 4, 16, 2, 14, 9, tzinfo=dt.UTC)
APRIL = SeasonWindow(name="Early", opens=MonthDay(month=4, day=1), closes=MonthDay(month=4, day=30))
COLD = Temperature(value=Decimal("42"), unit=F)


@pytest.mark.parametrize(
    ("param", "text"),
    [
        (3, "3"),
        (-1, "-1"),
        ("Early", "Early"),
        (params.clock(INSTANT), "21:14"),
        (params.clocks(INSTANT, INSTANT + dt.timedelta(seconds=5))[1], "21:14:14"),
        ({"time_of_day": "02:30"}, "02:30"),
        (params.duration(dt.timedelta(seconds=270.9)), "4 min 30 s"),
        (params.from_sunset(dt.timedelta(minutes=-15)), "15 min before sunset"),
        (params.from_sunset(dt.timedelta(minutes=30)), "30 min after sunset"),
        (params.from_sunset(dt.timedelta(0)), "sunset"),
        (params.date(dt.date(2024, 4, 15)), "15 April 2024"),
        (params.season((APRIL.opens, APRIL.closes)), "1 April to 30 April"),
        (params.days(1), "1 day"),
        (params.word("depth_of_mud"), "depth of mud"),
        (params.times(2), "twice"),
        (params.times(3), "3 times"),
        (params.temperature(COLD), "42\u00a0°F (5.6\u00a0°C)"),
        (params.celsius(Decimal("-15")), "−15\u00a0°C"),
        (params.distance(1254.4), "1.25 km"),
        (params.speed(80), "80 km/h"),
        (params.stops([3, 2]), "stops 2 and 3"),
        (params.place(Where(stop=4, field="sky")), "at stop 4"),
        (params.place(Where(field="start.sky")), "at the start of the visit"),
        (params.place(Where(field="end.sky")), "at the end of the visit"),
        (params.species("hyla-gratiosa"), "Barking treefrog"),
        (params.species("hyla-unknown"), "hyla-unknown"),
        (params.wind_sign(3), "leaves and small twigs move all the time"),
        (params.wind_sign(13), ""),
        (params.word("air_temperature"), "air temperature"),
        (params.window(APRIL), "Early (1 April to 30 April)"),
        (params.any_of([1, 2, 3]), "1, 2 or 3"),
        (params.all_of([params.days(1), params.days(2)]), "1 day and 2 days"),
        ({"list": [{"quoted": "a"}, {"quoted": "b"}]}, "“a”, “b”"),
        ({"cell": {"name": "beaufort", "stop": 2}}, "Wind force at stop 2"),
        ({"cell": {"name": "beaufort", "end": "start"}}, "Wind force at the start"),
        ({"cell": {"name": "beaufort", "end": "end"}}, "Wind force at the end"),
        ({"cell": {"name": "count", "row": 3}}, "Count in row 3 of the sightings"),
        ({"cell": {"name": "night"}}, "Night"),
    ],
)
def test_every_kind_of_parameter(param, text):
    assert show(param, METRIC) == text


@pytest.mark.parametrize(
    ("param", "text"),
    [
        (params.temperature(COLD), "42\u00a0°F"),
        (params.celsius(Decimal("-15")), "5\u00a0°F"),
        (params.distance(30.48), "100 ft"),
        (params.distance(1609.344), "1 mi"),
        (params.speed(80.4672), "50 mph"),
    ],
)
def test_units_are_those_of_the_reader(param, text):
    assert show(param, IMPERIAL) == text


def test_every_code_has_a_sentence_and_every_sentence_a_code():
    codes = {rule.code for rule in (*RULES, *READING_RULES)}
    assert {key.partition(".")[0] for key in SENTENCES} == codes


def test_every_sentence_of_the_rules_is_said_in_a_case():
    findings = (finding for case in CASES for finding in judge(case.read()))
    said = {SENTENCES[key_of(finding.code, finding.variant)] for finding in findings}
    assert [key for key, sentence in RULE_SENTENCES.items() if sentence not in said] == []


def words_in(param):
    """Keys of the words that a parameter names, however deep."""
    if isinstance(param, dict):
        for kind, value in param.items():
            yield from [value] if kind == "word" else words_in(value)
    elif isinstance(param, list | tuple):
        for item in param:
            yield from words_in(item)


def test_every_word_of_a_finding_is_in_the_vocabulary():
    """Any other is shown as its key."""
    findings = (finding for case in CASES for finding in judge(case.read()))
    named = {word for finding in findings for word in words_in(dict(finding.params))}
    assert len(named) > 1
    assert named - VOCABULARY.keys() == set()


def test_both_forms_of_a_sentence_with_a_number_have_the_same_places():
    for sentence in SENTENCES.values():
        if isinstance(sentence.message, Plural):
            forms = [sentence.message.singular, sentence.message.plural]
            assert len({frozenset(re.findall(r"\{\w+\}", form)) for form in forms}) == 1


@pytest.mark.parametrize(
    ("listened", "words"), [(1, "You surveyed 1 stop;"), (2, "You surveyed 2 stops;")]
)
def test_a_number_chooses_the_form_of_a_sentence(listened, words):
    found = {"listened": listened, "wanted": 5}
    assert tell_sentence("too-few-stops", "", found, METRIC).message.startswith(words)


def test_a_cell_is_named_before_what_is_wrong_with_it():
    found = {"typed": "lots", "cell": {"cell": {"name": "count", "row": 1}}}
    told = tell_sentence("cell-unreadable", "integer", found, METRIC)
    assert told.message == "Count in row 1 of the sightings: “lots” is not a whole number."


def test_a_sentence_without_words_is_an_error():
    with pytest.raises(KeyError, match="no-such-code"):
        tell_sentence("no-such-code", "", {}, METRIC)


def test_a_note_that_begins_with_a_rule_is_told_in_its_words():
    told = "Listening starts after the arrival: counts. start-before-arrival"
    assert note_in_words("start-before-arrival: counts. start-before-arrival") == told
    assert note_in_words("start-before-arrival") == "Listening starts after the arrival"
    for note in ("Gusts only.", "start-early: counts.", ""):
        assert note_in_words(note) == note
