"""Rules on the night: its date, its season window, dusk and the last hour."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.language import gettext_noop as _
from surveys.protocol import params
from surveys.protocol.nights import night_of
from surveys.protocol.rules.rule import Breach, rule
from surveys.protocol.seasons import (
    in_window,
    window_of,
)
from surveys.protocol.sentences.sentence import LEAVE_IT, Sentence
from surveys.protocol.values import (
    Case,
    Severity,
    Where,
)

_DATE_OF_EVENING = _(
    "Check the date. Use the date on which the evening began, even if you finished after midnight."
)
_CHECK_DATE = _("Check the date.")


@rule(
    "future-night",
    Severity.REFUSE,
    "The date is not in the future.",
    Sentence(
        _("The night of {night} is in the future."),
        (_DATE_OF_EVENING,),
    ),
    on_phone=True,
)
def future_night(case: Case) -> Iterator[Breach]:
    tonight = night_of(case.surroundings.now, case.route.time_zone)
    if case.visit.night > tonight:
        yield Breach(
            where=Where(field="night"),
            params={"night": params.date(case.visit.night)},
        )


@rule(
    "outside-window",
    Severity.QUERY,
    "The night is in a survey window.",
    Sentence(
        _("The night of {night} is outside every survey window: {windows}."),
        (_DATE_OF_EVENING, LEAVE_IT),
    ),
    on_phone=True,
)
def outside_window(case: Case) -> Iterator[Breach]:
    protocol, night = case.protocol, case.visit.night
    if not protocol.windows or window_of(night, protocol) is not None:
        return
    yield Breach(
        where=Where(field="night"),
        params={
            "night": params.date(night),
            "windows": params.all_of(params.window(window) for window in protocol.windows),
        },
    )


@rule(
    "same-night-twice",
    Severity.QUERY,
    "A route has one visit on one night.",
    Sentence(
        _("This route already has a visit on the night of {night}."),
        (
            _("Check the route and the date."),
            _(
                "If two people surveyed the route that night, leave it as is."
                " The coordinator will decide which visit counts."
            ),
        ),
    ),
    on_phone=True,
)
def same_night_twice(case: Case) -> Iterator[Breach]:
    night = case.visit.night
    if night in case.surroundings.other_nights:
        yield Breach(
            where=Where(field="night"),
            params={"night": params.date(night)},
        )


@rule(
    "too-soon-after-last-visit",
    Severity.QUERY,
    "There are enough days between two visits to a route.",
    Sentence(
        _(
            "This visit is only {gap} from the one on the night of {other};"
            " the protocol asks for {wanted}."
        ),
        (_CHECK_DATE, LEAVE_IT),
    ),
    on_phone=True,
)
def too_soon_after_last_visit(case: Case) -> Iterator[Breach]:
    """Judged in both directions, because visits may be written down in any order."""
    wanted = case.protocol.min_days_between_visits
    night = case.visit.night
    others = [other for other in case.surroundings.other_nights if other != night]
    if wanted is None or not others:
        return
    nearest = min(others, key=lambda other: (abs((night - other).days), other))
    gap = abs((night - nearest).days)
    if gap < wanted:
        yield Breach(
            where=Where(field="night"),
            params={
                "gap": params.days(gap),
                "other": params.date(nearest),
                "wanted": params.days(wanted),
            },
        )


@rule(
    "window-visited-before",
    Severity.NOTE,
    "A route has one visit in each window.",
    Sentence(
        _("The window “{window}” already has a visit of this route, on the night of {others}."),
        (
            _("Nothing to fix if you meant to make an extra visit."),
            _("Otherwise check the date."),
        ),
    ),
    on_phone=True,
)
def window_visited_before(case: Case) -> Iterator[Breach]:
    window, night = window_of(case.visit.night, case.protocol), case.visit.night
    if window is None:
        return
    others = sorted(
        other
        for other in case.surroundings.other_nights
        if other != night and in_window(other, window)
    )
    if others:
        yield Breach(
            where=Where(field="night"),
            params={
                "window": window.name,
                "others": params.all_of(params.date(other) for other in others),
            },
        )
