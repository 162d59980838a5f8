"""After a test that committed the tables are as migrating left them."""

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from procrastinate.contrib.django import app

from accounts.models import Role
from tests.support.builders import make_member, make_program
from tests.support.emptying import MADE_BY_MIGRATING, NOT_OF_DJANGO


def rows() -> dict[str, int]:
    """The tables that have rows, and how many."""
    with connection.cursor() as cursor:
        counts = {}
        tables = connection.introspection.django_table_names(only_existing=True)
        for table in (*tables, *NOT_OF_DJANGO):
            cursor.execute(f"SELECT count(*) FROM {connection.ops.quote_name(table)}")
            counts[table] = cursor.fetchone()[0]
    return {table: count for table, count in counts.items() if count}


@pytest.mark.django_db(transaction=True)
def test_what_was_committed_is_gone_and_what_migrating_made_is_there():
    before = rows()
    assert set(before) == set(MADE_BY_MIGRATING)
    make_member(make_program(), Role.OBSERVER)
    cache.set("attempts", 1)
    app.configure_task("unknown").defer()
    assert {"accounts_cache", "procrastinate_jobs", "procrastinate_events"} < set(rows())
    call_command("flush", verbosity=0, interactive=False)
    assert rows() == before
