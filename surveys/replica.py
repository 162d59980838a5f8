"""A read replica: a second PostgreSQL that follows the first one and answers reads.

Set by DATABASES["replica"] (`DUSKPOOL_REPLICA_URL`). All code reads and writes "default"; within
`read_there` that is the replica for this thread, ORM and SQL alike. It is used only while it has
what the reader must see; whatever goes wrong with it, the primary is there.

Positions are those of the write-ahead log (`pg_lsn`): PostgreSQL documentation, 9.27.3 and 9.27.4.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic

from django.db import DatabaseError, connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper

ALIAS = "replica"
# Another person's change is seen there after so long at most.
BEHIND_S = 5
# A replica that did not answer is left alone for so long.
REST_S = 10
_POSITION = re.compile(r"[0-9A-F]{1,8}/[0-9A-F]{1,8}")
log = logging.getLogger("duskpool.replica")


def is_set() -> bool:
    return ALIAS in connections


def position_now() -> str:
    """Where the primary writes: what was saved before lies below."""
    with on_primary(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_current_wal_insert_lsn()::text")
        return cursor.fetchone()[0]


def is_position(text: str) -> bool:
    return _POSITION.fullmatch(text) is not None


class Follower:
    """What this process knows of the replica. Threads share it; at worst two of them ask."""

    def __init__(self) -> None:
        self._wanted, self._wanted_at = "", -BEHIND_S
        self._away_until = 0.0

    def has(self, position: str | None = None) -> bool:
        """Whether the replica answers and has all that the primary had BEHIND_S ago, and what lies
        below `position`."""
        if monotonic() < self._away_until:
            return False
        if monotonic() - self._wanted_at >= BEHIND_S:
            self._wanted, self._wanted_at = position_now(), monotonic()
        try:
            with connections[ALIAS].cursor() as cursor:
                cursor.execute(
                    "SELECT pg_is_in_recovery()"
                    " AND pg_last_wal_replay_lsn() >= greatest(%s::pg_lsn, %s::pg_lsn)",
                    [self._wanted, position or self._wanted],
                )
                return bool(cursor.fetchone()[0])
        except DatabaseError as error:
            self.rest(error)
            return False

    def rest(self, error: BaseException) -> None:
        self._away_until = monotonic() + REST_S
        log.warning("The read replica does not answer: %s", error)
        connections[ALIAS].close()


follower = Follower()


@contextmanager
def _with(used: BaseDatabaseWrapper) -> Iterator[None]:
    before = connections["default"]
    connections["default"] = used
    try:
        yield
    finally:
        connections["default"] = before


@contextmanager
def read_there() -> Iterator[None]:
    """ "default" is the replica. Not within a transaction."""
    there = connections[ALIAS]
    there.primary = connections["default"]
    with _with(there):
        yield


@contextmanager
def on_primary() -> Iterator[None]:
    """ "default" is the primary again, for what has to be written or be up to date."""
    with _with(getattr(connections["default"], "primary", connections["default"])):
        yield
