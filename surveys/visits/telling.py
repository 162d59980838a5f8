"""Findings in words, for screens, the API and imports."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from surveys.models import Program, Species
from surveys.protocol.telling import tell
from surveys.protocol.values import Finding


@dataclass(frozen=True, kw_only=True)
class ToldFinding(Finding):
    """A finding with its sentences, in the reader's language and the program's units."""

    message: str
    remedy: str


def tell_findings(findings: Iterable[Finding], program: Program) -> tuple[ToldFinding, ...]:
    """One query for the names of species, if there are any."""
    findings = tuple(findings)
    codes = {finding.where.species for finding in findings} - {None}
    known = Species.objects.known_to(program).filter(code__in=codes) if codes else ()
    reader = program.reader({species.code: species.name for species in known})
    return tuple(
        ToldFinding(**vars(finding), **vars(tell(finding, reader))) for finding in findings
    )
