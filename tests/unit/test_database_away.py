"""Which errors say that the database is away: PostgreSQL documentation, appendix A."""

import psycopg
import pytest
from django.db import OperationalError
from psycopg import errors

from surveys.database_away import is_away


def wrapped(error: Exception) -> Exception:
    """As Django raises it."""
    try:
        raise OperationalError(str(error)) from error
    except OperationalError as raised:
        return raised


@pytest.mark.parametrize(
    ("error", "away"),
    [
        (psycopg.OperationalError("consuming input failed"), True),  # the connection broke
        (errors.AdminShutdown(), True),
        (errors.CrashShutdown(), True),
        (errors.CannotConnectNow(), True),
        (errors.TooManyConnections(), True),
        (errors.ConnectionFailure(), True),
        # Whoever waits for these in vain is not helped by a second try of the same.
        (errors.LockNotAvailable(), False),
        (errors.QueryCanceled(), False),
        (errors.DiskFull(), False),
        (errors.UniqueViolation(), False),
        (ValueError(), False),
    ],
    ids=lambda value: type(value).__name__,
)
def test_a_connection_that_is_gone_and_nothing_else(error, away):
    assert is_away(error) is away
    assert is_away(wrapped(error)) is away
    assert not is_away(None)
