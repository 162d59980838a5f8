"""The database that trials share, and an untouched copy to make it anew from."""

import os
import subprocess
import sys
from pathlib import Path

import psycopg
from psycopg import sql

SUFFIX = "mutate"
MAKE = """
import django
django.setup()
from django.db import connection
print(connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False))
"""


class TrialDatabase:
    """`name` is a test database of its own, whatever TEST_DB_SUFFIX says elsewhere."""

    def __init__(self) -> None:
        os.environ["TEST_DB_SUFFIX"] = f"{os.environ.get('TEST_DB_SUFFIX', 'main')}_{SUFFIX}"
        self.name = f"test_duskpool_{os.environ['TEST_DB_SUFFIX']}"
        self.copy = f"{self.name}_untouched"

    def make(self, root: Path) -> None:
        self._execute("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.copy)
        subprocess.run(
            [sys.executable, "-c", MAKE], cwd=root, check=True, stdout=subprocess.DEVNULL
        )
        self._execute("CREATE DATABASE {} TEMPLATE {}", self.copy, self.name)

    def renew(self) -> None:
        """After a trial that was ended from outside and may have left rows or locks."""
        self._execute("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name)
        self._execute("CREATE DATABASE {} TEMPLATE {}", self.name, self.copy)

    def drop(self) -> None:
        for name in (self.name, self.copy):
            self._execute("DROP DATABASE IF EXISTS {} WITH (FORCE)", name)

    @staticmethod
    def _execute(statement: str, *names: str) -> None:
        address = "postgresql://" + os.environ["DATABASE_URL"].partition("://")[2]
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))
