"""Whether the site is open, read-only, or closed for maintenance.

A file says so: every process of a host sees it at the next request, without the database and
without a restart. `manage.py site_mode` writes it.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import tempfile
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from surveys.language import gettext, said_of

# What a client is asked to wait when nobody said how long it takes, and bounds of what is asked.
_USUAL_WAIT_S = 300
_SHORTEST_WAIT_S, _LONGEST_WAIT_S = 60, 3600


class Mode(StrEnum):
    OPEN = "open"
    READ_ONLY = "read-only"
    MAINTENANCE = "maintenance"


class SiteIsReadOnly(Exception):  # noqa: N818 - a state, no error
    """A page that notes who opens it was opened while the site is read-only."""


@dataclass(frozen=True)
class SiteMode:
    mode: Mode = Mode.OPEN
    until: dt.datetime | None = None

    def wait_s(self, now: dt.datetime) -> int:
        """Seconds after which a client may try again, for the header Retry-After."""
        if self.until is None or self.until <= now:
            return _USUAL_WAIT_S
        left = int((self.until - now).total_seconds())
        return min(max(left, _SHORTEST_WAIT_S), _LONGEST_WAIT_S)

    def words(self, now: dt.datetime) -> str:
        if self.mode is Mode.MAINTENANCE:
            told = gettext("Duskpool is closed for maintenance. Everything saved before is safe.")
        else:
            told = gettext("Duskpool is read-only at the moment: nothing can be saved.")
        return f"{told} {self._when(now)}"

    def _when(self, now: dt.datetime) -> str:
        if self.until is None or self.until <= now:
            return gettext("Try again in a few minutes.")
        minutes = max(1, round((self.until - now).total_seconds() / 60))
        return said_of(
            "Try again in about {number} minute.",
            "Try again in about {number} minutes.",
            minutes,
        )


_OPEN = SiteMode()


def read(file: Path) -> SiteMode:
    """What the file says. One that is there and cannot be read keeps the site closed."""
    try:
        stored = json.loads(file.read_text("utf-8"))
        until = stored["until"]
        return SiteMode(Mode(stored["mode"]), dt.datetime.fromisoformat(until) if until else None)
    except FileNotFoundError:
        return _OPEN
    except (OSError, ValueError, KeyError, TypeError):
        return SiteMode(Mode.MAINTENANCE)


def is_open(file: Path) -> bool:
    return read(file).mode is Mode.OPEN


def write(file: Path, wanted: SiteMode) -> None:
    """Whole or not at all, and readable by the server whoever calls the command."""
    if wanted.mode is Mode.OPEN:
        file.unlink(missing_ok=True)
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    until = wanted.until.isoformat() if wanted.until else None
    handle, beside = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        json.dump({"mode": wanted.mode, "until": until}, out)
    Path(beside).chmod(0o644)
    Path(beside).replace(file)
