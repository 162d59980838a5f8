"""What observers are to be reminded of on a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from accounts.models import Membership
from surveys import dates
from surveys.language import said
from surveys.models import Program, ReminderKind, ReviewStep, Step, Visit, VisitState
from surveys.programs.assignments import current_season_year
from surveys.programs.cover import SURVEYING_ROLES
from surveys.programs.schedule import DueWindow
from surveys.seasons.coverage import Coverage, CoverageRow, CoverageTable, coverage
from surveys.seasons.overdue import Urgency, urgency_of

# Days in which the opening of a window is news: a server that was away tells it all the same.
OPENING_DAYS = dt.timedelta(days=3)
SENT_BACK_FOR = dt.timedelta(days=7)
NIGHT_AGO = dt.timedelta(days=3)
TEST_EXPIRES_IN = dt.timedelta(days=30)


@dataclass(frozen=True, kw_only=True)
class DueReminder:
    """`subject` is the same as long as it is about the same thing; `words` are a line of the
    mail."""

    member: Membership
    kind: ReminderKind
    subject: str
    words: str


def due_reminders(program: Program, today: dt.date) -> Iterator[DueReminder]:
    """In a fixed number of queries. To be called with dates written as in the program."""
    year = current_season_year(program, today)
    table = coverage(program, year, today=today)
    yield from _of_windows(table, today)
    yield from _of_visits(program, today)
    yield from _of_tests(program, today)


def kind_of_window(window: DueWindow, today: dt.date) -> ReminderKind | None:
    """The one reminder of a window without a visit that is due on a day."""
    urgency = urgency_of(window, today)
    if urgency is Urgency.CLOSING:
        return ReminderKind.CLOSES_SOON
    if urgency is Urgency.HALF_GONE:
        return ReminderKind.HALF_GONE
    if window.opens <= today < window.opens + OPENING_DAYS:
        return ReminderKind.WINDOW_OPENS
    return None


def _of_windows(table: CoverageTable, today: dt.date) -> Iterator[DueReminder]:
    for row in table.rows:
        for cell in row.cells:
            if cell is None or cell.coverage is not Coverage.DUE:
                continue
            kind = kind_of_window(cell.window, today)
            if kind is None:
                continue
            words = window_line(row, cell.window)
            subject = f"{row.route_id}:{table.season_year}:{cell.window.name}"
            for goer in cell.cover.going:
                yield DueReminder(member=goer.member, kind=kind, subject=subject, words=words)


def window_line(route: CoverageRow, window: DueWindow) -> str:
    """A line of the mail: a route, and the days in which its visit is due."""
    return said(
        "Route {code} {name}, {window}: {first} to {last}",
        code=route.code,
        name=route.name,
        window=window.name,
        first=dates.day(window.opens),
        last=dates.day(window.closes),
    )


def _of_visits(program: Program, today: dt.date) -> Iterator[DueReminder]:
    members = {member.person_id: member for member in _surveying(program)}
    sent_back = ReviewStep.objects.filter(visit=OuterRef("pk"), step=Step.SENT_BACK)
    # What its observer withdrew is not submitted either.
    begun = Visit.objects.filter(
        Q(state=VisitState.DRAFT) | Q(state=VisitState.SENT_BACK) & ~Exists(sent_back),
        route__program=program,
        night__lte=today - NIGHT_AGO,
    )
    back = (
        Visit.objects.filter(
            route__program=program, state=VisitState.SENT_BACK, steps__step=Step.SENT_BACK
        )
        .annotate(sent_back_at=Max("steps__at"))
        .filter(sent_back_at__date__lte=today - SENT_BACK_FOR)
    )
    for kind, visits in ((ReminderKind.NOT_SUBMITTED, begun), (ReminderKind.SENT_BACK, back)):
        for visit in visits.select_related("route").order_by("night", "pk"):
            member = members.get(visit.observer_id)
            if member is not None:
                yield DueReminder(
                    member=member,
                    kind=kind,
                    subject=_subject(kind, visit),
                    words=said(
                        "Route {route}, night of {night}",
                        route=visit.route,
                        night=dates.day(visit.night),
                    ),
                )


def _of_tests(program: Program, today: dt.date) -> Iterator[DueReminder]:
    """One for each day on which a test expires: who passes again has another."""
    ending = _surveying(program).filter(trained_until__range=(today, today + TEST_EXPIRES_IN))
    for member in ending.order_by("person__name", "pk"):
        yield DueReminder(
            member=member,
            kind=ReminderKind.TEST_EXPIRES,
            subject=member.trained_until.isoformat(),
            words=expiry_line(member.trained_until),
        )


def expiry_line(until: dt.date) -> str:
    """A line of the mail: until when a test is valid."""
    return said("Call-identification test, valid until {day}", day=dates.day(until))


def _surveying(program: Program) -> QuerySet[Membership]:
    """Members who survey and have an account."""
    return program.memberships.select_related("person").filter(
        active=True, role__in=SURVEYING_ROLES, person__email__isnull=False
    )


def _subject(kind: ReminderKind, visit: Visit) -> str:
    """A visit that is sent back again is another matter; a draft is one, however often saved."""
    if kind is ReminderKind.SENT_BACK:
        return f"{visit.pk}:{visit.revision}"
    return str(visit.pk)
