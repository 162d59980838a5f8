"""A database that does not answer: it is started anew, cannot be reached, or takes nobody in."""

import psycopg

# Asked again after so many seconds; the proxy says the same of an app that is away.
WAIT_S = 10
# PostgreSQL documentation, appendix A: connection exceptions; admin_shutdown, crash_shutdown,
# cannot_connect_now; too_many_connections.
_CONNECTION = "08"
_AWAY = frozenset({"57P01", "57P02", "57P03", "53300"})


def is_away(error: BaseException | None) -> bool:
    """Whether an error, or one that led to it, is that the connection to the database is gone."""
    while error is not None:
        if isinstance(error, psycopg.OperationalError):
            state = error.sqlstate  # None: the server never got to say anything
            if state is None or state in _AWAY or state.startswith(_CONNECTION):
                return True
        error = error.__cause__ or error.__context__
    return False
