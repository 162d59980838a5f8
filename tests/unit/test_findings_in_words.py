"""Findings that were stored in words are read back into parameters without loss.

`findings_in_words.json` holds what the rules said of every case of tests/support/rule_cases before
findings were stored as parameters, with the parameters that said the same in the sentences of that
time. Findings that refuse a visit were never stored.
"""

import datetime as dt
import json
import re
from pathlib import Path

import pytest

from surveys.migrations._findings_in_words import About, CannotTellError, read
from tests.support.for_each import for_each

STORED = json.loads(Path(__file__).with_name("findings_in_words.json").read_text("utf-8"))


def about(stored: dict) -> About:
    given = {name: stored[name] for name in ("code", "stop", "field", "species", "time_zone")}
    return About(**given, night=dt.date.fromisoformat(stored["night"]))


@for_each("stored", STORED, lambda stored: stored["message"][:60])
def test_the_parameters_are_read_back(stored):
    assert read(stored["message"], about(stored)) == (stored["variant"], stored["params"])


def test_most_are_read_back():
    assert len(STORED) > 60
    assert len({stored["code"] for stored in STORED}) > 30


@pytest.mark.parametrize(
    "message",
    [
        "Stop 1 has no water temperature.",
        "Stop x has no sky code, so it cannot be told whether the limit was met.",
        "",
    ],
)
def test_other_words_are_left_alone(message):
    stored = next(stored for stored in STORED if stored["code"] == "sky-missing")
    with pytest.raises(CannotTellError):
        read(message, about(stored))


def test_a_code_of_another_time_is_left_alone():
    stored = next(stored for stored in STORED if stored["code"] == "sky-missing")
    with pytest.raises(CannotTellError):
        read(stored["message"], about({**stored, "code": "no-such-rule"}))


def test_the_cells_without_a_place_are_read_back():
    message = "The sheet has no place for “a” and “b, c”. What was typed is kept, but not used."
    found = about({**STORED[0], "code": "cell-unknown"})
    params = {"cells": {"and": [{"quoted": "a"}, {"quoted": "b, c"}]}}
    assert read(message, found) == ("", params)
    more = re.sub(" and “b, c”", ", “b” and 3 more", message)
    with pytest.raises(CannotTellError):
        read(more, found)
