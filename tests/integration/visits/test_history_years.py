"""Partitions of the history of visits, a year each."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.utils import timezone

from surveys.models import CallHistory
from surveys.visits.history_years import HISTORIES, add_history_year, add_next_history_year
from tests.support.builders import make_member, make_program, make_route
from tests.support.sheets import make_draft

pytestmark = pytest.mark.django_db


def rows(query, *params):
    with connection.cursor() as cursor:
        cursor.execute(query, params)
        return [row[0] for row in cursor.fetchall()]


def years_of(history):
    """What follows the name of the history in the names of its partitions."""
    names = rows("SELECT relid::text FROM pg_partition_tree(%s) WHERE isleaf", history)
    return {name.removeprefix(f"{history}_") for name in names}


def test_every_history_of_visits_has_this_year_and_the_next():
    this = timezone.now().year
    for history in HISTORIES:
        assert years_of(history) == {str(this), str(this + 1), "later"}


def test_what_is_saved_now_stands_in_this_year():
    program = make_program()
    make_draft(make_member(program), make_route(program, stops=2))
    tables = set(rows("SELECT tableoid::regclass::text FROM surveys_visitevent"))
    assert tables == {f"surveys_visitevent_{timezone.now().year}"}


def test_each_night_the_next_year_is_there_and_made_once():
    year = timezone.now().year + 1
    with connection.cursor() as cursor:
        for history in HISTORIES:
            cursor.execute(f"DROP TABLE {history}_{year}")
    add_next_history_year(0)
    add_next_history_year(0)
    add_history_year(year + 1)
    for history in HISTORIES:
        assert {str(year), str(year + 1)} < years_of(history)
    written = [
        CallHistory.objects.create(
            pgh_created_at=dt.datetime(at, month, 1, tzinfo=dt.UTC), pgh_label="insert",
            calls=[], periods=[], species=[], indexes=[], not_sure=[], distances=[],
            counts_in_trends=[],
        ).pk
        for at, month in ((2015, 5), (year, 1), (year + 1, 12), (year + 2, 1))
    ]  # fmt: skip
    stood = rows(
        "SELECT tableoid::regclass::text FROM surveys_callhistory WHERE id = ANY(%s) ORDER BY id",
        written,
    )
    assert [name.rpartition("_")[2] for name in stood] == [
        str(year - 1), str(year), str(year + 1), "later",
    ]  # fmt: skip


def test_a_question_about_one_year_reads_that_year_only():
    year = timezone.now().year + 1
    plan = rows(
        "EXPLAIN SELECT count(*) FROM surveys_callhistory"
        " WHERE pgh_created_at >= %s AND pgh_created_at < %s",
        dt.datetime(year, 1, 1, tzinfo=dt.UTC),
        dt.datetime(year + 1, 1, 1, tzinfo=dt.UTC),
    )
    assert set(re.findall(r"surveys_callhistory_(\w+)", " ".join(plan))) == {str(year)}
