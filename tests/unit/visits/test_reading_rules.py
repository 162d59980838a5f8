"""Every rule of reading a sheet is explained in the guide, and the other way round."""

from surveys.guide.pages import (
    guide_page,
    rule_sections,
)
from surveys.protocol.rules.table import RULES
from surveys.visits.sheet.reading_rules import READING_RULES


def test_every_code_has_a_section_and_every_section_a_code():
    codes = [rule.code for rule in (*RULES, *READING_RULES)]
    assert sorted(rule_sections()) == sorted(codes)
    assert len(set(codes)) == len(codes)


def test_sections_are_not_empty():
    assert all(len(html) > 60 for html in rule_sections().values())
    assert guide_page("reading").title == "How a paper sheet is read"
