"""What stands on the coordinator's desk: each block from its query to the words of its rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.urls import reverse

from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said, said_of
from surveys.models import LetterGroup, Recording, RecordingKind, Visit, VisitState
from surveys.operations.failures import failed_jobs, failed_runs
from surveys.planning.requests import open_requests
from surveys.programs.assignments import current_season_year
from surveys.seasons.coverage import CoverageTable, coverage, tonight
from surveys.seasons.first_calls import FirstCall, first_calls
from surveys.seasons.forecast import WindowOutlook, outlooks
from surveys.seasons.overdue import OverdueVisit, Urgency, overdue_visits
from surveys.seasons.silent_routes import silent_routes
from surveys.visits.coming_back import tell_withdrawn
from surveys.visits.queue import QueueFilters, queue
from surveys.visits.to_hear import recordings_to_hear
from surveys.web.desk.cells import Block, Cell, members, night, people, person, text

# Of a longer list the rest is seen where it is settled.
MOST_ROWS = 2000
# Nights after which a draft that is not submitted is a matter for the coordinator.
DRAFT_NIGHTS = dt.timedelta(days=3)


class Desk:
    """One coordinator's desk on one night. What several blocks read is read once."""

    def __init__(self, member: Membership) -> None:
        self.member = member
        self.program = member.program
        self.today = tonight(member.program)

    @cached_property
    def year(self) -> int:
        return current_season_year(self.program)

    @cached_property
    def table(self) -> CoverageTable:
        return coverage(self.program, self.year, today=self.today)

    @cached_property
    def overdue(self) -> list[OverdueVisit]:
        return overdue_visits(self.table, self.today)

    def url(self, name: str, *arguments: object, **query: object) -> str:
        given = {key: value for key, value in query.items() if value is not None}
        return reverse(f"web:{name}", args=[self.program.slug, *arguments], query=given or None)

    def day(self, instant: dt.datetime) -> dt.date:
        return instant.astimezone(ZoneInfo(self.program.time_zone)).date()

    def block(self, key: str) -> Block:
        return BLOCKS[key](self)


# --- What observers have sent -----------------------------------------------------


def waiting(desk: Desk) -> Block:
    visits = queue(desk.member, QueueFilters())[:MOST_ROWS]
    return Block(
        key="waiting",
        title=gettext("Visits to review"),
        lede=gettext("Submitted visits. What stands out comes first, then the oldest."),
        head=(
            gettext("Route"),
            gettext("Night"),
            gettext("Observer"),
            gettext("Submitted"),
            gettext("Open questions"),
        ),
        rows=[
            (
                text(visit.route, desk.url("review_visit", visit.pk)),
                night(visit.night),
                person(visit.observer),
                night(desk.day(visit.submitted_at)),
                text(visit.open_count),
            )
            for visit in visits
        ],
        empty=gettext("No visit waits for review."),
        more=(desk.url("review"), gettext("Review")),
    )


def asked(desk: Desk) -> Block:
    plan = desk.url("program_assignments")
    return Block(
        key="asked",
        title=gettext("Observers who ask for a route"),
        lede=gettext("The oldest first. Your answer goes to them by email."),
        head=(gettext("Route"), gettext("Window"), gettext("Asked"), gettext("Observer")),
        rows=[
            (
                text(one.route, f"{plan}#requests"),
                text(one.window or gettext("whole season")),
                night(desk.day(one.asked_at)),
                members([one.member], desk.today),
            )
            for one in open_requests(desk.program)[:MOST_ROWS]
        ],
        empty=gettext("No observer asks for a route."),
        more=(plan, gettext("Assignments")),
    )


def drafts(desk: Desk) -> Block:
    begun = unsubmitted(desk.member, desk.today - DRAFT_NIGHTS)[:MOST_ROWS]
    return Block(
        key="drafts",
        title=gettext("Begun, not submitted"),
        lede=gettext("Nights that are three days old or older. Ask the observer to submit them."),
        head=(gettext("Route"), gettext("Night"), gettext("Observer"), gettext("State")),
        rows=[
            (
                text(visit.route, desk.url("visit", visit.pk)),
                night(visit.night),
                person(visit.observer),
                text(gettext("Withdrawn") if visit.is_withdrawn else visit.get_state_display()),
            )
            for visit in tell_withdrawn(begun)
        ],
        empty=gettext("No night is waiting to be submitted."),
        more=(desk.url("review", state="sent_back"), gettext("Sent back")),
    )


def unsubmitted(member: Membership, until: dt.date) -> QuerySet[Visit]:
    """Drafts and visits that were sent back, of nights up to `until`, oldest first."""
    return (
        Visit.objects.filter(
            route__program=member.program,
            state__in=[VisitState.DRAFT, VisitState.SENT_BACK],
            night__lte=until,
        )
        .select_related("route", "observer")
        .order_by("night", "route__code", "pk")
    )


def to_hear(desk: Desk) -> Block:
    recordings = recordings_to_hear(desk.member, desk.year)[:MOST_ROWS]
    return Block(
        key="to-hear",
        title=gettext("Notes and recordings to hear"),
        lede=gettext("Voice notes of visits to review, and calls that no one has confirmed yet."),
        head=(gettext("Recording"), gettext("Route"), gettext("Night"), gettext("Observer")),
        rows=[
            (
                text(
                    _what_is_heard(recording),
                    f"{desk.url('review_visit', recording.visit_id)}#recording-{recording.pk}",
                ),
                text(recording.visit.route),
                night(recording.visit.night),
                person(recording.visit.observer),
            )
            for recording in recordings
        ],
        empty=gettext("Every recording is heard."),
        also=((desk.url("blind_next"), gettext("Listen without the sheet")),),
        more=(desk.url("review"), gettext("Review")),
    )


def _what_is_heard(recording: Recording) -> str:
    if recording.kind == RecordingKind.NOTE:
        what = gettext("Voice note")
    else:
        what = recording.species.name if recording.species else gettext("Recording")
    if recording.stop is None:
        return what
    return said("{what}, stop {number}", what=what, number=recording.stop.number)


# --- The season -------------------------------------------------------------------


def overdue(desk: Desk) -> Block:
    return Block(
        key="overdue",
        title=gettext("Overdue"),
        lede=gettext(
            "No visit yet, and the window is half over, closes within 7 days or has ended. The "
            "route leads to its assignment."
        ),
        head=(gettext("Route"), gettext("Window"), gettext("Closes"), gettext("Observers")),
        rows=[_overdue_row(desk, visit) for visit in desk.overdue[:MOST_ROWS]],
        empty=gettext("Nothing is overdue."),
        more=(desk.url("season_coverage", year=desk.year), gettext("Coverage")),
        also=((desk.url("letter_write", group=_group_to_write(desk)), gettext("Write to them")),),
    )


def _group_to_write(desk: Desk) -> LetterGroup:
    """Those who can still go; where every window is over, those who missed it."""
    is_missed = all(visit.urgency is Urgency.MISSED for visit in desk.overdue)
    return LetterGroup.MISSED if is_missed else LetterGroup.OVERDUE


def _overdue_row(desk: Desk, visit: OverdueVisit) -> tuple[Cell, ...]:
    route = visit.route
    days = (visit.window.closes - desk.today).days
    if visit.urgency is Urgency.MISSED:
        left, sign = gettext("over"), "set-aside"
    elif days == 0:
        left, sign = gettext("tonight"), "query"
    else:
        left = said_of("{number} night left", "{number} nights left", days)
        sign = "query" if visit.urgency is Urgency.CLOSING else ""
    closes = night(visit.window.closes)[0]
    return (
        text(
            f"{route.code} {route.name}",
            desk.url("program_assignments", season=desk.year, route=route.route_id),
            small=route.region,
        ),
        text(visit.window.name),
        (replace(closes, small=left, sign=sign),),
        people(visit.cover, desk.today),
    )


def coverage_by_window(desk: Desk) -> Block:
    rows = outlooks(desk.program, desk.table, desk.today)
    return Block(
        key="coverage",
        title=said("Coverage of season {year}", year=desk.year),
        lede=gettext(
            "The forecast continues at the pace of the last two weeks. It begins when a window has "
            "been open for five nights."
        ),
        head=(
            gettext("Window"),
            gettext("Routes due"),
            gettext("Done"),
            gettext("In review"),
            gettext("No observer"),
            gettext("Forecast"),
        ),
        rows=[_outlook_row(desk, row) for row in rows],
        empty=gettext("No window is due in this season."),
        tells=True,
        more=(desk.url("season_coverage", year=desk.year), gettext("Coverage")),
    )


def _outlook_row(desk: Desk, row: WindowOutlook) -> tuple[Cell, ...]:
    window = row.window
    visits = desk.url("season_visits", window=window.name, since=desk.year, until=desk.year)
    plan = desk.url("program_assignments", season=desk.year, show="gaps")
    if row.expected is not None:
        forecast = said("{expected} of {due}", expected=row.expected, due=row.due)
    elif window.closes < desk.today:
        forecast = gettext("over")
    elif window.opens > desk.today:
        forecast = gettext("not open yet")
    else:
        forecast = gettext("too early to say")
    dated = said(
        "{first} to {last}",
        first=dates.short_month_day(window.opens),
        last=dates.short_month_day(window.closes),
    )
    return (
        text(window.name, visits if row.handed_in else "", small=dated),
        text(row.due),
        text(row.done),
        text(row.in_review),
        text(row.without_anyone, plan if row.without_anyone else ""),
        text(forecast),
    )


def silent(desk: Desk) -> Block:
    return Block(
        key="silent",
        title=gettext("Routes that fell silent"),
        lede=gettext(
            "Nothing was heard in this window this season, but calls were in every season before. "
            "Accepted visits only."
        ),
        head=(gettext("Route"), gettext("Window"), gettext("Calls in")),
        rows=[
            (
                text(f"{route.code} {route.name}", desk.url("season_visits", route=route.code)),
                text(route.window or gettext("outside")),
                text(gettext(", ").join(map(str, route.heard_in))),
            )
            for route in silent_routes(desk.program, desk.year)
        ],
        empty=gettext("No route fell silent."),
        more=(desk.url("seasons"), gettext("Seasons")),
    )


def calls_of_the_year(desk: Desk) -> Block:
    return Block(
        key="first-calls",
        title=gettext("First calls of the season"),
        lede=gettext(
            "Compared with the median of up to ten earlier seasons. If visits start late, so do "
            "the first calls. Accepted visits only."
        ),
        head=(
            gettext("Species"),
            gettext("First heard"),
            gettext("Usually"),
            gettext("Difference"),
        ),
        rows=[_first_call_row(desk, call) for call in first_calls(desk.program, desk.year)],
        empty=gettext("No accepted visit of this or an earlier season has a call."),
        tells=True,
        more=(desk.url("seasons"), gettext("Seasons")),
    )


def _first_call_row(desk: Desk, call: FirstCall) -> tuple[Cell, ...]:
    visits = desk.url("season_visits", species=call.species.code, since=desk.year, until=desk.year)
    heard = night(call.night) if call.night else text(gettext("not yet"))
    usual = night(call.usual) if call.usual else text(gettext("too few seasons"))
    return (
        text(call.species.name, visits if call.night else ""),
        heard,
        usual,
        text(_difference(call.days_later)),
    )


def _difference(days: int | None) -> str:
    if days is None:
        return "–"
    if days == 0:
        return gettext("the same day")
    if days > 0:
        return said_of("{number} day later", "{number} days later", days)
    return said_of("{number} day earlier", "{number} days earlier", -days)


# --- The site ---------------------------------------------------------------------


def failed(desk: Desk) -> Block:
    status = desk.url("program_status")
    runs = [
        (
            text(f"{run.get_kind_display()} ({run.subject})", status),
            night(desk.day(run.finished_at)),
            text(run.problem),
        )
        for run in failed_runs(desk.program)
    ]
    jobs = [
        (
            text(job.words, status),
            night(desk.day(job.at)),
            text(gettext("This email was not sent.") if job.is_mail else gettext("This stopped.")),
        )
        for job in failed_jobs(desk.program)
    ]
    return Block(
        key="failed",
        title=gettext("Work and emails that failed"),
        lede=gettext("Of the last seven days. You can try again on the status page."),
        head=(gettext("What"), gettext("When"), gettext("Why")),
        rows=[*runs, *jobs],
        empty=gettext("Nothing has failed."),
        more=(status, gettext("Status")),
    )


# In the order of the page.
BLOCKS: dict[str, Callable[[Desk], Block]] = {
    "waiting": waiting,
    "overdue": overdue,
    "coverage": coverage_by_window,
    "asked": asked,
    "drafts": drafts,
    "to-hear": to_hear,
    "first-calls": calls_of_the_year,
    "silent": silent,
    "failed": failed,
}
