"""For each limit a value that it does not have, and what is typed for it."""

import datetime as dt
from decimal import Decimal

from surveys.protocol.limits.limit import Kind
from surveys.protocol.values import Interruption

_VALUES = {
    Kind.LENGTH: (dt.timedelta(minutes=7), "7"),
    Kind.AFTER_SUNSET: (dt.timedelta(minutes=37), "37"),
    Kind.CLOCK: (dt.time(2, 10), "02:10"),
    Kind.COUNT: (17, "17"),
    Kind.CODE: (1, "1"),
    Kind.CODES: (frozenset({2, 4}), ["2", "4"]),
    Kind.CHOICE: (Interruption.EXTEND, "extend"),
    Kind.LONG_DISTANCE: (1230.0, "1.23"),
    Kind.SHORT_DISTANCE: (77.0, "77"),
    Kind.SPEED: (63.0, "63"),
    Kind.TEMPERATURES: ((Decimal(-9), Decimal(31)), {"from": "-9", "to": "31"}),
}


def another(limit, protocol):
    """A value that the limit does not have in the protocol, with what is typed for it."""
    if limit.kind is Kind.YES_NO:
        value = not getattr(protocol, limit.name)
        return value, "on" if value else None
    return _VALUES[limit.kind]
