"""What the explorer of random evenings takes for lost."""

import datetime as dt

import pytest

from tests.browser.survey.sync.book import (
    Book,
    Written,
)

BEGAN = dt.datetime(2024, 4, 16, 2, tzinfo=dt.UTC)
CELL = "start.beaufort"


def at(minute):
    return BEGAN + dt.timedelta(minutes=minute)


def wrote(minute, phone, text, seen=""):
    return Written(phone=phone, text=text, seen=seen, at=at(minute))


@pytest.mark.parametrize(
    ("written", "server", "lost"),
    [
        ([wrote(1, 0, "0")], [(2, "0")], 0),
        # Lost, and there is a blank that nobody wrote.
        ([wrote(1, 0, "0")], [(0, "")], 2),
        ([wrote(1, 0, "0"), wrote(2, 1, "2")], [(3, "0"), (4, "2")], 0),
        ([wrote(1, 0, "0"), wrote(2, 1, "2")], [(3, "2")], 1),
        # Written over by somebody who saw it.
        ([wrote(1, 0, "0"), wrote(2, 1, "2", seen="0")], [(3, "2")], 0),
        # The other phone had sent the same text before, and went on from it.
        ([wrote(1, 1, "0"), wrote(2, 1, "2", "0"), wrote(4, 0, "0")], [(3, "0"), (5, "2")], 0),
        # The other phone had gone on before this one wrote.
        ([wrote(1, 1, "0"), wrote(2, 1, "2", "0"), wrote(4, 0, "0")], [(1, "0"), (3, "2")], 1),
    ],
)
def test_what_counts_as_lost(written, server, lost):
    book = Book(written={CELL: written})
    history = [(at(0), {}), *((at(minute), {CELL: text}) for minute, text in server)]
    assert len(book.losses(history[-1][1], history)) == lost


def test_a_text_that_was_on_offer_is_not_lost_and_one_of_nobody_is_wrong():
    book = Book(written={CELL: [wrote(1, 0, "0"), wrote(2, 1, "2")]}, offered={(CELL, "0")})
    assert book.losses({CELL: "2"}, [(at(3), {CELL: "2"})]) == []
    assert len(book.losses({CELL: "1"}, [(at(3), {CELL: "1"})])) == 2
    assert book.losses({CELL: "2", "notes": "x"}, [(at(3), {CELL: "2"})]) == [
        "notes was never written"
    ]
