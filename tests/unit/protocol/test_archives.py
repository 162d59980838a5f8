"""Findings of old files: one for a rule, and a note where the sheet had no place for a value."""

import pytest

from surveys.protocol import params
from surveys.protocol.archives import NOT_ASKED, as_archive
from surveys.protocol.rules.table import RULES_BY_CODE
from surveys.protocol.telling import Reader, tell
from surveys.protocol.values import Finding, Severity, Where


def finding(code, at, severity=Severity.QUERY, species=None, **filled):
    return Finding(
        code=code, severity=severity, where=Where(stop=at, species=species), params=filled
    )


def missing(*stops):
    return [
        finding("times-missing", stop, stop=stop, missing=params.word("arrived_at"))
        for stop in stops
    ]


def test_what_the_sheet_did_not_ask_is_one_note():
    (one,) = as_archive(missing(1, 2, 3), listened=3)
    assert one.severity is Severity.NOTE
    assert one.where.stop == 1
    assert tell(one, Reader()).message.endswith("Also at stops 2 and 3.")


def test_what_is_missing_at_some_stops_alone_stays_a_question():
    (one,) = as_archive(missing(1, 3), listened=3)
    assert one.severity is Severity.QUERY
    assert tell(one, Reader()).message.endswith("Also at stop 3.")


def test_a_breach_is_one_question_for_each_rule_and_species():
    found = as_archive(
        [
            finding("wait-too-short", 1),
            finding("species-off-checklist", 1, species="a"),
            finding("wait-too-short", 2),
            finding("species-off-checklist", 2, species="b"),
            finding("species-off-checklist", 3, species="a"),
            finding("outside-window", None),
            finding("index-impossible", 1, Severity.REFUSE),
            finding("index-impossible", 2, Severity.REFUSE),
        ],
        listened=3,
    )
    assert [(f.code, f.where.stop, f.where.species, f.params) for f in found] == [
        ("wait-too-short", 1, None, {"also_at": {"stops": [2]}}),
        ("species-off-checklist", 1, "a", {"also_at": {"stops": [3]}}),
        ("species-off-checklist", 2, "b", {}),
        ("outside-window", None, None, {}),
        # What must be fixed is said of each place.
        ("index-impossible", 1, None, {}),
        ("index-impossible", 2, None, {}),
    ]
    assert {f.severity for f in found[:4]} == {Severity.QUERY}


@pytest.mark.parametrize("code", sorted(NOT_ASKED))
def test_the_rules_are_there(code):
    assert RULES_BY_CODE[code].severity is Severity.QUERY
