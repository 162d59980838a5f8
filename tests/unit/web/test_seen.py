"""What a form was made from goes out and comes back whole, or not at all."""

import pytest

from accounts.edit_conflicts import (
    Difference,
    differences,
)
from surveys.web.forms.seen import (
    pack_facts,
    unpack_facts,
)

FACTS = {"Name": "Heron Marsh", "Local rules": "Ring first.\nNo lamps – none."}


def test_facts_survive_the_round_trip():
    seen = unpack_facts(pack_facts(FACTS))
    assert seen.facts == FACTS
    assert seen.at is not None


@pytest.mark.parametrize("text", ["", "nothing", pack_facts(FACTS)[:-3], "a:b:c", "\0"])
def test_damaged_text_has_no_facts(text):
    assert unpack_facts(text).facts is None


@pytest.mark.parametrize(
    ("before", "now", "fields"),
    [
        ({"A": "1", "B": "2"}, {"A": "1", "B": "2"}, []),
        ({"A": "1", "B": "2"}, {"A": "1", "B": "3"}, [("B", "2", "3")]),
        ({"A": "1"}, {"A": "1", "B": ""}, []),
        ({"A": "1", "B": "2"}, {"A": "1"}, [("B", "2", "")]),
        ({}, {"A": "1"}, [("A", "", "1")]),
    ],
)
def test_differences(before, now, fields):
    expected = tuple(Difference(label=label, before=was, now=now_) for label, was, now_ in fields)
    assert differences(before, now) == expected
