"""What the page says of a changed protocol before it is saved."""

from __future__ import annotations

from dataclasses import dataclass

from accounts.edit_conflicts import Facts
from surveys.dates import short_day
from surveys.language import gettext, said_of
from surveys.models import ProtocolVersion
from surveys.programs.versionfacts import limit_facts
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol import values
from surveys.protocol.telling import rule_in_words
from surveys.publishing.formats import yearly_csv as csv
from surveys.visits.what_if import RouteChange, RuleChange, WhatIf


@dataclass(frozen=True, kw_only=True)
class ShownRoute:
    """`visits` are pairs of an id and a night in words."""

    name: str
    visits: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class ShownSide:
    """Visits that would gain or lose a question of a rule."""

    total: str
    routes: tuple[ShownRoute, ...]


@dataclass(frozen=True, kw_only=True)
class ShownRule:
    name: str
    severity: str
    gained: ShownSide
    lost: ShownSide


@dataclass(frozen=True, kw_only=True)
class FactPair:
    """One limit of two versions, in words; an empty text is no limit."""

    label: str
    first: str
    second: str

    @property
    def differs(self) -> bool:
        return self.first != self.second


@dataclass(frozen=True, kw_only=True)
class ShownWhatIf:
    result: WhatIf
    limits: tuple[FactPair, ...]
    rules: tuple[ShownRule, ...]


def shown_what_if(before: ProtocolVersion, limits: values.Protocol, result: WhatIf) -> ShownWhatIf:
    """`before` is the stored version that the changed `limits` began from."""
    units = units_of(before.protocol.program)
    pairs = fact_pairs(limit_facts(protocol_values(before), units), limit_facts(limits, units))
    return ShownWhatIf(
        result=result,
        limits=tuple(pair for pair in pairs if pair.differs),
        rules=tuple(_rule(rule) for rule in result.rules),
    )


def what_if_csv(result: WhatIf) -> str:
    """A row for each visit and rule that would ask more or less of it."""
    head = (
        gettext("Rule"),
        gettext("Severity"),
        gettext("Change"),
        gettext("Route"),
        gettext("Night"),
        gettext("Visit"),
    )
    rows = (
        (rule_in_words(rule.code), rule.severity.value, words, route.route, night, visit)
        for rule in result.rules
        for words, routes in (
            (gettext("New question"), rule.gained),
            (gettext("No longer asked"), rule.lost),
        )
        for route in routes
        for visit, night in route.visits
    )
    return csv.guarded_csv(head, rows)


def fact_pairs(first: Facts, second: Facts) -> list[FactPair]:
    labels = dict.fromkeys((*first, *second))
    return [
        FactPair(label=label, first=str(first.get(label, "")), second=str(second.get(label, "")))
        for label in labels
    ]


def _rule(rule: RuleChange) -> ShownRule:
    return ShownRule(
        name=rule_in_words(rule.code),
        severity=rule.severity.value,
        gained=_side(rule.gained),
        lost=_side(rule.lost),
    )


def _side(routes: tuple[RouteChange, ...]) -> ShownSide:
    total = sum(len(route.visits) for route in routes)
    return ShownSide(
        total=said_of("{number} visit", "{number} visits", total) if total else "",
        routes=tuple(
            ShownRoute(
                name=route.route,
                visits=tuple((str(key), short_day(night)) for key, night in route.visits),
            )
            for route in routes
        ),
    )
