"""Calendar files against RFC 5545 (Internet Calendaring and Scheduling Core Object Specification,
September 2009), by its sentences and by a parser that is not ours (icalendar)."""

import datetime as dt
from dataclasses import replace

from icalendar import Calendar

from surveys.reminders.icalendar_file import DaysEvent, calendar_file

MADE_AT = dt.datetime(2025, 3, 1, 18, 30, tzinfo=dt.UTC)
TITLE = "Survey R07; “Fen, north\\pond”: " + "ö" * 80
EVENT = DaysEvent(
    uid="route-7-20250315@duskpool",
    first=dt.date(2025, 3, 15),
    last=dt.date(2025, 6, 30),
    title=TITLE,
    details="First line\nsecond; line, with a comma",
    url="https://frogs.example.org/larkmoor/tonight/",
)


def test_another_parser_reads_what_was_written():
    calendar = Calendar.from_ical(calendar_file("Larkmoor", [EVENT], made_at=MADE_AT))
    assert (calendar["VERSION"], calendar["METHOD"]) == ("2.0", "PUBLISH")
    assert calendar["X-WR-CALNAME"] == "Larkmoor"
    (event,) = calendar.walk("VEVENT")
    assert not event.errors
    assert event["UID"] == EVENT.uid
    assert event["SUMMARY"] == TITLE
    assert event["DESCRIPTION"] == EVENT.details
    assert event["URL"] == EVENT.url
    assert event["DTSTAMP"].dt == MADE_AT
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (dt.date(2025, 3, 15), dt.date(2025, 7, 1))


def test_lines_are_folded_at_75_octets_and_end_in_crlf():
    """3.1: “Lines of text SHOULD NOT be longer than 75 octets, excluding the line break”; a line
    break is CRLF followed by a space, and a character of several octets is not split."""
    ascii_event = replace(EVENT, title="x" * 200)
    content = calendar_file("Larkmoor", [EVENT, ascii_event], made_at=MADE_AT)
    lines = content.split(b"\r\n")
    assert lines[-1] == b""
    assert max(map(len, lines)) <= 75
    assert b"\n" not in content.replace(b"\r\n", b"")
    for line in lines:
        line.decode()


def test_what_must_be_there_is_there():
    """3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP in every event. 3.3.11: a comma, a
    semicolon, a backslash and a line break in a text are escaped."""
    text = calendar_file("Larkmoor", [EVENT], made_at=MADE_AT).decode()
    unfolded = text.replace("\r\n ", "")
    assert unfolded.count("PRODID:") == unfolded.count("VERSION:") == 1
    assert unfolded.count("UID:") == unfolded.count("DTSTAMP:") == 1
    # 3.6.1: DTEND of whole days is the day after the last.
    assert "DTSTART;VALUE=DATE:20250315\r\nDTEND;VALUE=DATE:20250701\r\n" in unfolded
    assert "SUMMARY:Survey R07\\; “Fen\\, north\\\\pond”" in unfolded
    assert "DESCRIPTION:First line\\nsecond\\; line\\, with a comma" in unfolded
