"""Rules on who listened."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.values import Case, Severity


@rule(
    "observer-not-qualified",
    Severity.QUERY,
    "The observer passed the call-identification test that the protocol requires.",
)
def observer_not_qualified(case: Case) -> Iterator[Breach]:
    if case.protocol.training_needed and case.surroundings.observer_qualified is False:
        yield Breach()


@rule("training-unknown", Severity.NOTE, "There is a record of call-identification tests.")
def training_unknown(case: Case) -> Iterator[Breach]:
    if case.protocol.training_needed and case.surroundings.observer_qualified is None:
        yield Breach()
