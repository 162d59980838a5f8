"""Pages of a list by the key of a row."""

import pytest

from surveys.keyset import Key, page_of
from surveys.models import Route
from tests.support.builders import make_route, make_version

KEY = Key(("region", "-name", "pk"))


@pytest.fixture
def routes(program):
    version = make_version(program)
    for number in range(7):
        make_route(
            program, version=version, stops=1, name=f"Marsh {number // 2}", region="NS"[number % 2]
        )
    return Route.objects.filter(program=program)


def walk(routes, cursor, size, way):
    names = []
    while True:
        page = page_of(routes, KEY, size, cursor)
        names.append([row.pk for row in page])
        cursor = getattr(page, way)
        if cursor is None:
            return names, page


def test_pages_forth_and_back_have_every_row_once(routes):
    wanted = list(routes.order_by("region", "-name", "pk").values_list("pk", flat=True))
    forth, last = walk(routes, None, 3, "next")
    assert [pk for page in forth for pk in page] == wanted
    back, _ = walk(routes, last.previous, 3, "previous")
    assert back == [wanted[3:6], wanted[:3]]


def test_a_row_that_went_shifts_nothing(routes):
    first = page_of(routes, KEY, 3)
    wanted = [row.pk for row in page_of(routes, KEY, 3, first.next)]
    left = routes.exclude(pk=first.rows[-1].pk)
    assert [row.pk for row in page_of(left, KEY, 3, first.next)] == wanted


def test_the_beginning_is_a_full_page_and_the_end_no_empty_one(routes):
    first = page_of(routes, KEY, 3)
    second = page_of(routes, KEY, 3, first.next)
    left = routes.exclude(pk__in=[row.pk for row in first.rows[:2]])
    assert len(page_of(left, KEY, 3, second.previous)) == 3
    left = routes.filter(pk=first.rows[2].pk)
    assert [row.pk for row in page_of(left, KEY, 3, first.next)] == [first.rows[2].pk]


@pytest.mark.parametrize(
    "cursor",
    ["x", "é", "WyJhIl0", "W10", "bnVsbA", "WyJhIiwgIlMiLCAiTSIsICJ4Il0", "WyJhIiwxLDIsM10" * 9],
)
def test_what_is_no_cursor_is_the_first_page(routes, cursor):
    assert [r.pk for r in page_of(routes, KEY, 3, cursor)] == [
        r.pk for r in page_of(routes, KEY, 3)
    ]
