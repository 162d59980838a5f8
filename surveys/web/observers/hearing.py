"""What an observer missed, and what others did not hear, by species and in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from accounts.models import Membership
from surveys.charts.words import share
from surveys.language import gettext, said
from surveys.learning.results import calls_in_tests
from surveys.models import Species
from surveys.seasons.second_observers import heard_by_second_observers
from surveys.sound.hearing_errors import HearingErrors, Share, Written, hearing_errors
from surveys.visits.blind.checked_calls import checked_calls


@dataclass(frozen=True, kw_only=True)
class HearingRow:
    """One species, or all of them."""

    name: str
    errors: HearingErrors

    @property
    def missed(self) -> str:
        return share_in_words(self.errors.missed)

    @property
    def not_heard(self) -> str:
        return share_in_words(self.errors.not_heard)

    @property
    def other_index(self) -> str:
        return share_in_words(self.errors.other_index)


@dataclass(frozen=True, kw_only=True)
class HearingTable:
    """What is known from one source; `false_words` head what was not there, blank where the source
    cannot say it."""

    key: str
    caption: str
    rows: Sequence[HearingRow]
    false_words: str = ""


def hearing_tables(shown: Membership, season_year: int | None) -> list[HearingTable]:
    """Those that have a call. Tests belong to no season."""
    program, person = shown.program, shown.person_id
    recordings = checked_calls(program, person, season_year)
    tests = calls_in_tests(program, person) if season_year is None else []
    second = heard_by_second_observers(program, person, season_year)
    tables = [
        HearingTable(
            key="tests",
            caption=gettext("Call-identification tests that were finished."),
            rows=_rows(tests),
            false_words=gettext("Named, not there"),
        ),
        HearingTable(
            key="recordings",
            caption=gettext(
                "Two people heard a recording of the stop without the sheet. Only recordings "
                "chosen at random count. A recording is shorter than the listening period, so a "
                "call that is not in it may be right all the same."
            ),
            rows=_rows(recordings),
            false_words=gettext("Not heard by others"),
        ),
        HearingTable(
            key="second",
            caption=gettext(
                "A second observer surveyed the same route on the same night. Missed are calls "
                "that only the second one wrote down. Who of the two was right is not known."
            ),
            rows=_rows(second),
        ),
    ]
    return [table for table in tables if table.rows]


def _rows(calls: Sequence[Written]) -> list[HearingRow]:
    """All species together, then each by name."""
    if not any(call.there is not None for call in calls):
        return []
    codes = {call.species for call in calls}
    named = Species.objects.filter(code__in=codes).order_by("common_name", "pk")
    return [
        HearingRow(name=gettext("All species"), errors=hearing_errors(calls)),
        *(
            HearingRow(name=species.name, errors=hearing_errors(_of(calls, species.code)))
            for species in named
        ),
    ]


def _of(calls: Iterable[Written], code: str) -> list[Written]:
    return [call for call in calls if call.species == code]


def share_in_words(counted: Share) -> str:
    """`1 of 8 (1% to 46%)`; a dash where there is nothing to count."""
    if not counted.whole:
        return "–"
    low, high = counted.limits
    return said(
        "{part} of {whole} ({low} to {high})",
        part=counted.part,
        whole=counted.whole,
        low=share(low),
        high=share(high),
    )
