"""What a rule is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from surveys.protocol.params import Param
from surveys.protocol.sentences.sentence import Sentence, Sentences
from surveys.protocol.values import (
    Case,
    Finding,
    Severity,
    Where,
)


@dataclass(frozen=True, kw_only=True)
class Breach:
    """One place where a visit breaks a rule. `variant` chooses between the sentences of the rule,
    `params` fill the sentence."""

    where: Where = field(default_factory=Where)
    variant: str = ""
    params: Mapping[str, Param] = field(default_factory=dict)


Check = Callable[[Case], Iterator[Breach]]


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A check with what is said of it; made by the decorator `rule`.

    `summary` is one sentence for lists. `sentences` are what a finding says, by variant; `""` is
    the usual one. `on_phone` marks the rules that the phone judges by itself while the visit is
    under way; what they need of other visits comes with the route packet.
    """

    code: str
    severity: Severity
    summary: str
    sentences: Mapping[str, Sentence]
    check: Check
    on_phone: bool = False

    @property
    def module(self) -> str:
        """Name of the module the check stands in: `night`, `weather`."""
        return self.check.__module__.rpartition(".")[2]

    def findings(self, case: Case) -> Iterator[Finding]:
        for breach in self.check(case):
            yield Finding(
                code=self.code,
                severity=self.severity,
                where=breach.where,
                variant=breach.variant,
                params=breach.params,
            )


def rule(
    code: str,
    severity: Severity,
    summary: str,
    sentence: Sentence,
    *,
    variants: Sentences | None = None,
    on_phone: bool = False,
) -> Callable[[Check], Rule]:
    """Declare a rule beside its check. `table.py` collects what is declared. `variants` are the
    sentences of breaches that name a variant.

    A rule `on_phone` has a twin of the same name, in camel case, in the module of the
    same name under `static/survey/rules`.
    """

    def declare(check: Check) -> Rule:
        return Rule(
            code=code,
            severity=severity,
            summary=summary,
            sentences={"": sentence} | dict(variants or {}),
            check=check,
            on_phone=on_phone,
        )

    return declare
