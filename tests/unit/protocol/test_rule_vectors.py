"""The cases of fixtures/rule_vectors.json: both sides of every threshold of every rule.

The phone's implementation runs the same file.
"""

import json
from pathlib import Path

import pytest

from surveys.protocol.hours import (
    earliest_start,
    latest_end,
)
from surveys.protocol.plain import (
    from_plain,
    to_plain,
)
from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import (
    RULES,
    RULES_BY_CODE,
)
from surveys.protocol.seasons import window_of
from surveys.protocol.values import Case

FILE = json.loads((Path(__file__).parents[3] / "fixtures" / "rule_vectors.json").read_text("utf-8"))
VECTORS = FILE["vectors"]


def plain_finding(finding):
    where = finding.where
    plain = {
        "code": finding.code,
        "severity": finding.severity.value,
        "stop": where.stop,
        "field": where.field,
        "species": where.species,
    }
    if RULES_BY_CODE[finding.code].on_phone:
        plain |= {"message": finding.message, "remedy": finding.remedy}
    return plain


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_vector(vector):
    case = from_plain(Case, vector["case"], at="case")
    assert [plain_finding(finding) for finding in judge(case)] == vector["expect"]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_what_the_server_works_out_for_the_phone(vector):
    case = from_plain(Case, vector["case"], at="case")
    window = window_of(case.visit.night, case.protocol)
    hours = {}
    for stop in case.route.stops:
        sky = case.sky.get(stop.number)
        earliest = earliest_start(case.protocol, sky)
        latest = latest_end(case.protocol, sky, case.visit.night, case.route.time_zone)
        if earliest or latest:
            hours[str(stop.number)] = {
                "earliest_start": to_plain(earliest),
                "latest_end": to_plain(latest),
            }
    assert vector["derived"] == {"window": window.name if window else None, "hours": hours}


def test_names_are_unique():
    names = [vector["name"] for vector in VECTORS]
    assert len(names) == len(set(names))


def test_the_file_says_which_rules_the_phone_judges():
    assert FILE["on_phone"] == [rule.code for rule in RULES if rule.on_phone]


@pytest.mark.parametrize("code", [rule.code for rule in RULES])
def test_every_rule_has_a_vector_on_both_sides(code):
    found = {
        any(finding["code"] == code for finding in vector["expect"])
        for vector in VECTORS
        if vector["rule"] == code
    }
    assert found == {True, False}
