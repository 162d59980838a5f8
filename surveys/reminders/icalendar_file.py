"""Days in a calendar file as RFC 5545 wants them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

_LONGEST_LINE = 75  # Octets without the line break (RFC 5545, 3.1).
_ESCAPED = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n", "\r": None})
_ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class DaysEvent:
    """Whole days, both included. `uid` stays the same when the event changes."""

    uid: str
    first: dt.date
    last: dt.date
    title: str
    details: str = ""
    url: str = ""


def calendar_file(name: str, events: Iterable[DaysEvent], *, made_at: dt.datetime) -> bytes:
    """A calendar that programs read again once in a while. Its days block no time of anybody."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Duskpool//Survey windows//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME:{_text(name)}",
        f"X-WR-CALNAME:{_text(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT12H",
    ]
    for event in events:
        lines += _event_lines(event, f"{made_at.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}")
    lines.append("END:VCALENDAR")
    return b"".join(part for line in lines for part in _folded(line))


def _event_lines(event: DaysEvent, stamp: str) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{_text(event.uid)}"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{event.first:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{event.last + _ONE_DAY:%Y%m%d}"
    yield f"SUMMARY:{_text(event.title)}"
    if event.details:
        yield f"DESCRIPTION:{_text(event.details)}"
    if event.url:
        yield f"URL:{event.url}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _text(text: str) -> str:
    return text.translate(_ESCAPED)


def _folded(line: str) -> Iterator[bytes]:
    """The line, broken where it is too long; never within a character."""
    part = b""
    for character in line:
        octets = character.encode()
        if len(part) + len(octets) > _LONGEST_LINE:
            yield part + b"\r\n"
            part = b" "
        part += octets
    yield part + b"\r\n"
