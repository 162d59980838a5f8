"""Observers at a glance, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from accounts.models import Membership
from surveys.charts.words import share
from surveys.language import gettext, said, said_of
from surveys.models import Program
from surveys.protocol.telling import rule_in_words
from surveys.protocol.words import number
from surveys.publishing.formats import yearly_csv as csv
from surveys.seasons.observers import Agreement, ObserverFigures, observer_figures, rule_shares

# Fewer visits say little about an observer, so they are shown as a count and not as a share.
FEWEST_VISITS = 5


@dataclass(frozen=True, kw_only=True)
class ObserverRow:
    member: Membership
    figures: ObserverFigures

    @property
    def asked(self) -> str:
        return part_of(self.figures.asked, self.figures.visits)

    @property
    def confirmed(self) -> str:
        return confirmed_in_words(self.figures)

    @property
    def agreement(self) -> str:
        return agreement_in_words(self.figures.agreement)

    @property
    def nights(self) -> str:
        return nights_in_words(self.figures.agreement)


@dataclass(frozen=True, kw_only=True)
class RuleRow:
    """A rule that had a question in a visit of the observer, beside all observers."""

    name: str
    own: str
    everyone: str


def observer_rows(program: Program, season_year: int | None) -> list[ObserverRow]:
    """By name."""
    figures = observer_figures(program, season_year)
    members = program.memberships.select_related("person").filter(person__in=figures)
    return [
        ObserverRow(member=member, figures=figures[member.person_id])
        for member in members.order_by("person__name", "pk")
    ]


def rule_rows(program: Program, season_year: int | None, figures: ObserverFigures) -> list[RuleRow]:
    """The most frequent first."""
    visits, everyone = rule_shares(program, season_year)
    codes = sorted(figures.by_rule, key=lambda code: (-figures.by_rule[code], code))
    return [
        RuleRow(
            name=rule_in_words(code),
            own=part_of(figures.by_rule[code], figures.visits),
            everyone=share(everyone.get(code, 0) / visits) if visits else "",
        )
        for code in codes
    ]


def part_of(part: int, whole: int) -> str:
    """`3 of 12 (25%)`; without a share of a few."""
    if whole < FEWEST_VISITS:
        return said("{part} of {whole}", part=part, whole=whole)
    return said("{part} of {whole} ({share})", part=part, whole=whole, share=share(part / whole))


def confirmed_in_words(figures: ObserverFigures) -> str:
    if not figures.recordings:
        return "–"
    return said("{part} of {whole}", part=figures.confirmed, whole=figures.recordings)


def agreement_in_words(agreement: Agreement | None) -> str:
    """`0.82 (0.71 to 0.93)`."""
    if agreement is None:
        return "–"
    kappa = agreement.kappa
    if kappa.value is None:
        return gettext("too little to say")
    value = number(f"{kappa.value:.2f}")
    if kappa.low is None or kappa.high is None or kappa.low == kappa.high:
        return value
    low, high = number(f"{kappa.low:.2f}"), number(f"{kappa.high:.2f}")
    return said("{value} ({low} to {high})", value=value, low=low, high=high)


def nights_in_words(agreement: Agreement | None) -> str:
    if agreement is None:
        return ""
    return said_of("{number} night", "{number} nights", agreement.nights)


def same_in_words(agreement: Agreement) -> str:
    return said(
        "{same} of {compared} call indexes are the same, {nights}.",
        same=agreement.same,
        compared=agreement.compared,
        nights=nights_in_words(agreement),
    )


_COLUMNS: Mapping[str, Callable[[ObserverRow], object]] = {
    "observer": lambda row: row.member.person.name,
    "visits": lambda row: row.figures.visits,
    "routes": lambda row: row.figures.routes,
    "stops_surveyed": lambda row: row.figures.stops,
    "visits_with_questions": lambda row: row.figures.asked,
    "recordings": lambda row: row.figures.recordings,
    "recordings_confirmed": lambda row: row.figures.confirmed,
    "nights_with_second_observer": lambda row: _of_agreement(row, "nights"),
    "call_indexes_compared": lambda row: _of_agreement(row, "compared"),
    "call_indexes_same": lambda row: _of_agreement(row, "same"),
    "kappa": lambda row: row.figures.agreement and row.figures.agreement.kappa.value,
    "last_night": lambda row: row.figures.last_night,
}


def _of_agreement(row: ObserverRow, name: str) -> int:
    return getattr(row.figures.agreement, name, 0)


def observers_csv(rows: Sequence[ObserverRow]) -> str:
    cells = ([csv.cell_text(value(row)) for value in _COLUMNS.values()] for row in rows)
    return csv.to_csv(tuple(_COLUMNS), cells)
