"""All rules on one visit."""

from __future__ import annotations

from surveys.protocol.rules.table import RULES
from surveys.protocol.values import (
    Case,
    Finding,
)


def judge(case: Case) -> tuple[Finding, ...]:
    """Every finding of every rule: those on the visit as a whole first, then stop by
    stop, in the order of the table at each."""
    findings = [finding for rule in RULES for finding in rule.findings(case)]
    return tuple(sorted(findings, key=_place))


def _place(finding: Finding) -> tuple[bool, int]:
    stop = finding.where.stop
    return stop is not None, stop or 0
