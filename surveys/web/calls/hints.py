"""How often the hint on the species of a sound was right, in words."""

from __future__ import annotations

from dataclasses import dataclass

from accounts.models import Membership
from surveys.visits.blind.hint_errors import hint_errors
from surveys.web.observers.hearing import share_in_words


@dataclass(frozen=True, kw_only=True)
class HintRow:
    season_year: int
    heard: int
    named: str
    wrong: str


def hint_rows(member: Membership) -> list[HintRow]:
    return [
        HintRow(
            season_year=year.season_year,
            heard=year.named.whole,
            named=share_in_words(year.named),
            wrong=share_in_words(year.wrong),
        )
        for year in hint_errors(member.program)
    ]
