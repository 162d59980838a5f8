"""Cells of a program's own fields: every kind, as typed and as read. Our own rules: no source."""

import datetime as dt
from decimal import Decimal

import pytest

from surveys.protocol.own_fields import AskedPer, FieldKind, OwnField
from surveys.protocol.telling import Reader, tell
from surveys.protocol.values import Route
from surveys.visits.sheet.reader import read_sheet

NIGHT = dt.date(2024, 4, 15)


def field(key: str, kind: str, per: str = "visit", **more) -> OwnField:
    return OwnField(
        key=key, label=key.capitalize(), kind=FieldKind(kind), per=AskedPer(per), **more
    )


SALINITY = field("salinity", "number", low=Decimal(0), high=Decimal("45.5"))
MASSES = field("masses", "whole", low=Decimal(0))
COLD = field("cold", "number", high=Decimal(10))
MOWN = field("mown", "yes_no")
SHORE = field(
    "shore", "choice", choices=(("reed", "Reed bed"), ("open", "Open"), ("na", "N/A: dry"))
)
REMARK = field("remark", "text")
FIELDS = (SALINITY, MASSES, COLD, MOWN, SHORE, REMARK)


def read(cells, fields=FIELDS):
    route = Route(
        code="R1", name="Long Meadow", time_zone="America/Chicago", stops=(), own_fields=fields
    )
    return read_sheet(cells, route=route, night=NIGHT)


@pytest.mark.parametrize(
    ("key", "typed", "value"),
    [
        ("salinity", "12.5", 12.5),
        ("salinity", " 12,5 ", 12.5),
        ("salinity", "45.5", 45.5),
        ("salinity", "0", 0),
        ("masses", "3", 3),
        ("masses", "3.0", 3),
        ("cold", "−4", -4),
        ("mown", "Yes", True),
        ("mown", "n", False),
        ("shore", "reed", "reed"),
        ("shore", "Reed  Bed", "reed"),
        ("shore", "ope", "open"),
        ("shore", "na", "na"),
        ("remark", " two herons ", "two herons"),
    ],
)
def test_what_is_typed_becomes_a_value_of_its_kind(key, typed, value):
    reading = read({f"own.{key}": typed})
    assert not reading.findings
    assert reading.facts.own_fields == {key: value}
    assert type(reading.facts.own_fields[key]) is type(value)
    assert reading.visit.own_filled == {key}


@pytest.mark.parametrize("typed", ["", "  ", "-", "n/a"])
def test_nothing_written_down_is_no_value(typed):
    reading = read({"own.salinity": typed})
    assert (reading.facts.own_fields, reading.findings) == ({}, ())


@pytest.mark.parametrize(
    ("key", "typed", "code", "message"),
    [
        ("salinity", "lots", "cell-unreadable", "Salinity: “lots” is not a number."),
        ("salinity", "46", "cell-out-of-range", "Salinity: “46” is not between 0 and 45.5."),
        ("salinity", "-1", "cell-out-of-range", "Salinity: “-1” is not between 0 and 45.5."),
        ("masses", "-1", "cell-out-of-range", "Masses: “-1” is below 0."),
        ("masses", "2.5", "cell-unreadable", "Masses: “2.5” is not a whole number."),
        ("cold", "10.01", "cell-out-of-range", "Cold: “10.01” is above 10."),
        ("mown", "maybe", "cell-unreadable", "Mown: “maybe” is neither yes nor no."),
        ("shore", "sand", "cell-unreadable", "Shore: “sand” is not one of the answers."),
        ("shore", "re", "cell-unreadable", "Shore: “re” is not one of the answers."),
        (
            "remark",
            "x" * 501,
            "cell-too-long",
            "Remark: The text has 501 characters; the limit is 500.",
        ),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_cell(key, typed, code, message):
    reading = read({f"own.{key}": typed})
    (finding,) = reading.findings
    assert (finding.code, finding.severity.value) == (code, "refuse")
    assert finding.where.field == f"own.{key}"
    assert tell(finding, Reader()).message == message
    assert reading.facts.own_fields == {}


def test_the_answers_of_a_choice_are_named():
    (finding,) = read({"own.shore": "sand"}).findings
    assert tell(finding, Reader()).remedy == "Choose Reed bed, Open or N/A: dry."


def test_a_field_per_stop_is_read_at_each_stop():
    fields = (field("depth", "number", "stop", unit="cm"),)
    cells = {"stops.1.status": "listened", "stops.1.own.depth": "30", "stops.2.own.depth": "deep"}
    reading = read({**cells, "stops.2.status": "skipped", "stops.2.skip_reason": "flood"}, fields)
    assert reading.stop_facts[1].own_fields == {"depth": 30}
    assert reading.visit.periods[0].own_filled == {"depth"}
    assert reading.stop_facts[2].own_fields == {}
    (finding,) = reading.findings
    assert tell(finding, Reader()).message == "Depth at stop 2: “deep” is not a number."


def test_a_cell_of_no_field_is_kept_and_not_used():
    """The field of another program, or one that is asked elsewhere on the sheet."""
    reading = read(
        {"own.depth": "30", "stops.1.own.salinity": "3", "stops.1.status": "listened"}, (SALINITY,)
    )
    (finding,) = reading.findings
    assert (finding.code, finding.severity.value) == ("cell-unknown", "note")
    assert "“own.depth” and “stops.1.own.salinity”" in tell(finding, Reader()).message
    assert reading.facts.own_fields == {}
