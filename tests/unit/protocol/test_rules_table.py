"""The table of rules and its page of the guide."""

import re
from pathlib import Path

from surveys.protocol.rules.table import (
    RULES,
    RULES_BY_CODE,
)
from surveys.protocol.values import Severity
from tests.support.for_each import for_each

PAGE = Path(__file__).parents[3] / "surveys" / "guide" / "pages" / "rules.md"
PARTS = ("What is checked", "Why", "What you do", "What the coordinator may do")


def sections():
    """Code and text of every section of the page."""
    parts = re.split(r"^## .+ `(.+)`$", PAGE.read_text("utf-8"), flags=re.MULTILINE)[1:]
    return list(zip(parts[::2], parts[1::2], strict=True))


def test_codes_are_unique_plain_words():
    assert len(RULES) == len(RULES_BY_CODE)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)+", rule.code) for rule in RULES)


@for_each("rule", RULES, lambda rule: rule.code)
def test_every_rule_is_summed_up_in_one_sentence(rule):
    assert rule.summary.endswith(".")
    assert rule.summary.count(".") == 1


def test_the_page_has_a_section_for_every_rule_in_their_order():
    assert [code for code, _ in sections()] == list(RULES_BY_CODE), f"see {PAGE}"


@for_each("code, text", sections(), lambda section: section[0])
def test_every_section_says_what_why_and_what_to_do(code, text):
    bold = re.findall(r"^\*\*(.+?)\.\*\* \S", text, flags=re.MULTILINE)
    assert tuple(bold) == PARTS


def test_only_the_impossible_is_refused():
    """A breach of the protocol never keeps a visit from being handed in."""
    refused = {rule.code for rule in RULES if rule.severity is Severity.REFUSE}
    assert refused == {
        "future-night",
        "future-time",
        "time-on-another-night",
        "unknown-stop",
        "twice-the-same-stop",
        "start-before-arrival",
        "finish-before-start",
        "pause-longer-than-listening",
        "stops-overlap",
        "unknown-wind-force",
        "index-impossible",
        "species-twice-at-stop",
        "calls-at-skipped-stop",
    }
