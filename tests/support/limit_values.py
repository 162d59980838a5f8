"""For each limit a value that it does not have, and what is typed for it."""

import datetime as dt
from decimal import Decimal

from surveys.protocol.limits.limit import Kind
from surveys.protocol.values import Interruption, NoiseEffect, SkyState, WithoutTest

_VALUES = {
    Kind.LENGTH: (dt.timedelta(minutes=7), "7"),
    Kind.AFTER_SUNSET: (dt.timedelta(minutes=37), "37"),
    Kind.CLOCK: (dt.time(2, 10), "02:10"),
    Kind.COUNT: (17, "17"),
    Kind.FORCE: (1, "1"),
    Kind.CHOICES: (
        frozenset({SkyState.OVERCAST, SkyState.FOG}),
        [SkyState.OVERCAST.value, SkyState.FOG.value],
    ),
    Kind.LONG_DISTANCE: (1230.0, "1.23"),
    Kind.SHORT_DISTANCE: (77.0, "77"),
    Kind.SPEED: (63.0, "63"),
    Kind.TEMPERATURES: ((Decimal(-9), Decimal(31)), {"from": "-9", "to": "31"}),
}


_BY_NAME = {
    "interruption": (Interruption.EXTEND, "extend"),
    "without_test": (WithoutTest.NOTE, "note"),
    "loudest_noise": (NoiseEffect.FAINT_LOST, "faint_lost"),
    "sky_codes": ({"1": SkyState.CLEAR, "1b": SkyState.CLEAR}, {"clear": "1, 1b"}),
    "noise_codes": ({"Q": NoiseEffect.QUIET}, {"quiet": "Q"}),
}


def another(limit, protocol):
    """A value that the limit does not have in the protocol, with what is typed for it."""
    if limit.kind is Kind.YES_NO:
        value = not getattr(protocol, limit.name)
        return value, "on" if value else None
    return _BY_NAME[limit.name] if limit.name in _BY_NAME else _VALUES[limit.kind]
