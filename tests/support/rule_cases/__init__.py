"""The cases of all rules, by module and rule. fixtures/rule_vectors.json is made from them."""

from tests.support.rule_cases import hours, night, observer, own, species, stops, times, weather

CASES = tuple(
    case
    for module in (night, observer, stops, times, hours, weather, species, own)
    for case in module.CASES
)

__all__ = ["CASES"]
