"""All rules, in the order in which their findings are shown: module by module, and in each
module in the order in which its rules are written."""

from __future__ import annotations

from surveys.protocol.rules import hours, night, observer, own, species, stops, times, weather
from surveys.protocol.rules.rule import Rule
from surveys.protocol.sentences.sentence import Sentences, key_of

_MODULES = (night, observer, stops, times, hours, weather, species, own)

RULES: tuple[Rule, ...] = tuple(
    rule for module in _MODULES for rule in vars(module).values() if isinstance(rule, Rule)
)
RULES_BY_CODE = {rule.code: rule for rule in RULES}
RULE_SENTENCES: Sentences = {
    key_of(rule.code, variant): sentence
    for rule in RULES
    for variant, sentence in rule.sentences.items()
}
