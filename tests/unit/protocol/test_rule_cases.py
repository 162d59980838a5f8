"""Every rule on both sides of each of its thresholds.

What each case is to break is written by hand in tests/support/rule_cases. The phone's rules run
the same cases from fixtures/rule_vectors.json (tests/browser/survey/test_rule_vectors.py).
"""

import json

from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import RULES
from surveys.protocol.telling import tell, tell_sentence
from tests.support.for_each import for_each
from tests.support.rule_cases import CASES
from tests.support.rule_cases.writing import reader_of


@for_each("case", CASES, lambda case: case.name)
def test_where_a_rule_is_broken(case):
    findings = [finding for finding in judge(case.read()) if finding.code == case.rule]
    assert tuple(finding.where for finding in findings) == case.breaks


@for_each("case", CASES, lambda case: case.name)
def test_a_finding_says_what_is_wrong_and_what_to_do_in_sentences(case):
    read = case.read()
    for finding in judge(read):
        told = tell(finding, reader_of(read))
        for text in (told.message, told.remedy):
            assert text.endswith((".", "?"))
            assert "{" not in text
            assert not {" .", " ,", "  "} & {text[at : at + 2] for at in range(len(text))}
            assert not {"None", "nan"} & set(text.replace(".", " ").split())


@for_each("case", CASES, lambda case: case.name)
def test_a_finding_is_the_same_after_it_was_stored(case):
    read = case.read()
    for finding in judge(read):
        stored = json.loads(json.dumps(dict(finding.params)))
        assert stored == finding.params
        told = tell_sentence(finding.code, finding.variant, stored, reader_of(read))
        assert told == tell(finding, reader_of(read))


def test_names_are_unique():
    names = [case.name for case in CASES]
    assert len(names) == len(set(names))


@for_each("rule", RULES, lambda rule: rule.code)
def test_every_rule_has_cases_on_both_sides(rule):
    sides = {bool(case.breaks) for case in CASES if case.rule == rule.code}
    assert sides == {True, False}, f"its cases: tests/support/rule_cases/{rule.module}.py"
