"""Run a named SQL statement and hand back its rows by column name."""

from collections import namedtuple
from collections.abc import Mapping
from typing import Any

from django.db import connection


def fetch(sql: str, parameters: Mapping[str, object]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        row = namedtuple("row", [column.name for column in cursor.description])
        return [row._make(values) for values in cursor.fetchall()]
