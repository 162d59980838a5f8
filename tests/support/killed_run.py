"""Two test runs for `tests/integration/test_killed_run.py`: one to kill, and the next one.

The name of this file keeps it out of the suite."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection

from surveys.models import Program
from tests.support.builders import make_program

pytestmark = pytest.mark.django_db(transaction=True)

# Writes to the database it was told of for as long as it lives, as a worker would: again and
# again, also after the server has cut it off.
INTRUDER = """
import sys, time, psycopg
while True:
    try:
        with psycopg.connect(sys.argv[1], autocommit=True) as there:
            while True:
                there.execute("CREATE TABLE IF NOT EXISTS left_behind ()")
                time.sleep(0.05)
    except psycopg.Error:
        time.sleep(0.05)
"""


def test_never_ends():
    make_program("Left behind")
    found = connection.get_connection_params()
    address = f"host={found['host']} user={found['user']} dbname={found['dbname']}"
    intruder = subprocess.Popen([sys.executable, "-c", INTRUDER, address])
    while "left_behind" not in connection.introspection.table_names():
        time.sleep(0.05)
    _report(database=found["dbname"], intruder=intruder.pid)
    time.sleep(600)


def test_finds_an_empty_database_to_itself():
    _report(database=connection.settings_dict["NAME"])
    for _ in range(10):
        assert not Program.objects.exists()
        assert "left_behind" not in connection.introspection.table_names()
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            )
            assert cursor.fetchone() == (1,)
        time.sleep(0.1)


def _report(**facts: object) -> None:
    """Whole or not at all: the test that waits for it reads it at once."""
    report = Path(os.environ["KILLED_RUN_REPORT"])
    report.with_suffix(".part").write_text(json.dumps(facts), "utf-8")
    report.with_suffix(".part").rename(report)
