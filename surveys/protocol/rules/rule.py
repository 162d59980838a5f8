"""What a rule is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from surveys.protocol.values import (
    Case,
    Finding,
    Severity,
    Where,
)


@dataclass(frozen=True, kw_only=True)
class Breach:
    """One place where a visit breaks a rule, in words for the observer."""

    where: Where = field(default_factory=Where)
    message: str
    remedy: str


Check = Callable[[Case], Iterator[Breach]]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One row of the table of rules.

    `summary` is one sentence for lists. `on_phone` marks the rules that the phone
    judges by itself while the visit is under way, because they need no server and
    the observer can still do something about them.
    """

    code: str
    severity: Severity
    summary: str
    check: Check
    on_phone: bool = False

    def findings(self, case: Case) -> Iterator[Finding]:
        for breach in self.check(case):
            yield Finding(
                code=self.code,
                severity=self.severity,
                where=breach.where,
                message=breach.message,
                remedy=breach.remedy,
            )
