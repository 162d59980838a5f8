"""Plans of random evenings: a seed makes steps as plain data.

Every step can be carried out in any state, so a plan that fails can be cut down step by step and
run again.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from tests.browser.survey.sync.wire import FAULTS

SPECIES = ("pseudacris-crucifer", "lithobates-sylvaticus")
STOPS = (1, 2, 3)
WINDS = {"0": "0 calm", "1": "1 light air", "2": "2 light breeze"}
_WEIGHTS = {
    "tap": 30,
    "pick": 6,
    "write": 10,
    "send": 16,
    "fault": 14,
    "offline": 4,
    "online": 8,
    "reload": 4,
    "expire": 3,
    "sign in": 3,
    "open tab": 3,
    "close tab": 1,
    "clock": 2,
    "deliver": 4,
    "close stop": 2,
    "move stop": 2,
    "full disk": 3,
    "full disk while sending": 3,
    "sign out": 3,
    "other signs in": 3,
    "companion": 4,
    "role ends": 3,
    "role returns": 5,
}

_NOTES = ("fog ", "rain ", "é ", "🐸 ", "“dry” ")


def _call(draw: random.Random) -> tuple[int, str]:
    return draw.choice(STOPS), draw.choice(SPECIES)


# What a step says besides where it happens.
_DETAILS: dict[str, Callable[[random.Random], tuple[str | int, ...]]] = {
    "tap": _call,
    "kill in a tap": _call,
    "full disk": _call,
    "pick": lambda draw: (draw.choice(list(WINDS)),),
    "close stop": lambda draw: (draw.choice(STOPS),),
    "move stop": lambda draw: (draw.choice(STOPS),),
    "write": lambda draw: (draw.choice(_NOTES) + str(draw.randint(0, 999)),),
    "fault": lambda draw: (draw.choice(list(FAULTS)), draw.choice(["write"] * 3 + ["hello"])),
    "clock": lambda draw: (draw.choice([-30, -5, -1, 2, 7, 26]),),
    "full disk while sending": lambda draw: (draw.randint(0, 4),),
    "sign out": lambda draw: (draw.choice(["observer", "companion", "nobody"]),),
    "companion": lambda draw: (draw.randint(0, 2),),
    "role ends": lambda draw: (
        draw.choice(["observer", "observer", "companion"]),
        draw.choice(["now", "in sending"]),
    ),
}


@dataclass(frozen=True)
class Step:
    """`phone` and `tab` are taken modulo what there is at that time."""

    what: str
    phone: int = 0
    tab: int = 0
    more: tuple[str | int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Plan:
    seed: int
    steps: tuple[Step, ...]
    last_fault: str | None
    killable: bool

    def without(self, place: int, count: int) -> Plan:
        steps = self.steps[:place] + self.steps[place + count :]
        return replace(self, steps=steps)


def plan_of(seed: int) -> Plan:
    draw = random.Random(seed)
    killable, two_phones = draw.random() < 0.3, draw.random() < 0.35
    weights = {**_WEIGHTS, **({"kill": 5, "kill in a tap": 5} if killable else {})}
    steps = []
    for _ in range(draw.randint(14, 28)):
        what = draw.choices(list(weights), list(weights.values()))[0]
        phone = int(two_phones and draw.random() < 0.4)
        more = _DETAILS[what](draw) if what in _DETAILS else ()
        steps.append(Step(what, phone, draw.randint(0, 1), more))
    last_fault = draw.choice([None, *FAULTS])
    return Plan(seed=seed, steps=tuple(steps), last_fault=last_fault, killable=killable)
