"""Rules on who listened."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.language import gettext_noop as _
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.sentences.sentence import Sentence
from surveys.protocol.values import Case, Severity, WithoutTest


@rule(
    "observer-not-qualified",
    Severity.QUERY,
    "The observer passed the call-identification test that the protocol requires.",
    Sentence(
        _(
            "The protocol asks for a passed call-identification test, and none is on record"
            " for the observer of this visit."
        ),
        (
            _("If you passed it, tell the coordinator the date."),
            _("The coordinator will decide whether the visit counts."),
        ),
    ),
    on_phone=True,
)
def observer_not_qualified(case: Case) -> Iterator[Breach]:
    if case.protocol.without_test is WithoutTest.QUESTION and _has_no_test(case):
        yield Breach()


@rule(
    "observer-without-test",
    Severity.NOTE,
    "A valid call-identification test of the observer is on record, where the protocol notes it.",
    Sentence(
        _(
            "The protocol asks for a passed call-identification test, and none is on record"
            " for the observer of this visit."
        ),
        (_("If you passed it, tell the coordinator the date."), _("The visit counts as it is.")),
    ),
    on_phone=True,
)
def observer_without_test(case: Case) -> Iterator[Breach]:
    if case.protocol.without_test is WithoutTest.NOTE and _has_no_test(case):
        yield Breach()


@rule(
    "training-unknown",
    Severity.NOTE,
    "There is a record of call-identification tests.",
    Sentence(
        _(
            "The protocol asks for a passed call-identification test, but no tests are on"
            " record, so we cannot check this."
        ),
        (_("Nothing to fix in this visit."),),
    ),
    on_phone=True,
)
def training_unknown(case: Case) -> Iterator[Breach]:
    if case.protocol.training_needed and case.surroundings.observer_qualified is None:
        yield Breach()


def _has_no_test(case: Case) -> bool:
    return case.protocol.training_needed and case.surroundings.observer_qualified is False
