"""Rules on who listened."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.values import Case, Severity


@rule(
    "observer-not-qualified",
    Severity.QUERY,
    "The observer passed the listening test that the protocol asks for.",
)
def observer_not_qualified(case: Case) -> Iterator[Breach]:
    if case.protocol.training_needed and case.surroundings.observer_qualified is False:
        yield Breach()


@rule(
    "training-unknown", Severity.NOTE, "It is known whether the observer passed a listening test."
)
def training_unknown(case: Case) -> Iterator[Breach]:
    if case.protocol.training_needed and case.surroundings.observer_qualified is None:
        yield Breach()
