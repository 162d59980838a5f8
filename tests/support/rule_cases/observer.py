"""Cases of the rules in surveys/protocol/rules/observer.py, on both sides of every threshold."""

from tests.support.rule_cases.writing import (
    at,
    case,
    rows,
)

CASES = rows(
    {
        "observer-not-qualified": [
            case("passed", training_needed=True, observer_qualified=True),
            case("not passed", at(), training_needed=True, observer_qualified=False),
            case("not passed, but not needed", observer_qualified=False),
        ],
        "observer-without-test": [
            case("passed", training_needed=True, without_test="note", observer_qualified=True),
            case(
                "not passed",
                at(),
                training_needed=True,
                without_test="note",
                observer_qualified=False,
            ),
            case("not passed, but not needed", without_test="note", observer_qualified=False),
            case("no record is kept", training_needed=True, without_test="note"),
        ],
        "training-unknown": [
            case("no record is kept", at(), training_needed=True),
            case("no record is kept, but none is needed"),
        ],
    }
)
