"""Findings of a visit under review, each with its mark and, where it is open, its form."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from surveys.models import StoredFinding
from surveys.protocol.values import Severity
from surveys.visits.finding import findings_by_cell
from surveys.web.review.forms import SettleForm

_LETTERS = {"refuse": "R", "query": "Q", "note": "N"}


@dataclass(frozen=True, kw_only=True)
class Card:
    """A finding with its mark (Q1, N2) and, while it can be settled, its form."""

    mark: str
    finding: StoredFinding
    form: SettleForm | None

    @property
    def settled(self) -> bool:
        return bool(self.finding.settlement)


def make_cards(findings: Iterable[StoredFinding], *, open_state: bool) -> tuple[Card, ...]:
    """Findings with their marks, queries first, each kind by stop."""
    kinds = list(_LETTERS)
    numbers = dict.fromkeys(kinds, 0)
    cards = []
    findings = list(findings)
    open_alike = Counter(
        f.code for f in findings if f.severity == Severity.QUERY and not f.settlement
    )
    for finding in sorted(
        findings,
        key=lambda f: (kinds.index(f.severity), f.stop.number if f.stop else 0, f.pk),
    ):
        numbers[finding.severity] += 1
        settleable = open_state and finding.severity == Severity.QUERY
        cards.append(
            Card(
                mark=f"{_LETTERS[finding.severity]}{numbers[finding.severity]}",
                finding=finding,
                form=settle_form(finding, open_alike[finding.code]) if settleable else None,
            )
        )
    return tuple(cards)


def settle_form(finding: StoredFinding, open_of_kind: int) -> SettleForm:
    alike = open_of_kind - (not finding.settlement)
    return SettleForm(finding, alike=alike)


def cards_by_cell(cards: Iterable[Card]) -> dict[str, tuple[Card, ...]]:
    """Cards by the address of the cell that their finding is about."""
    by_finding = {card.finding.pk: card for card in cards}
    places = findings_by_cell(card.finding for card in by_finding.values())
    return {
        address: tuple(by_finding[finding.pk] for finding in findings)
        for address, findings in places.items()
    }
