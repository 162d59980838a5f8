"""Visits of the demo as rows: read and judged like any other, then settled and written."""

import datetime as dt
import uuid
from collections import defaultdict
from dataclasses import dataclass
from random import Random

from accounts.models import Person
from surveys.dates import using
from surveys.demo.outcomes import REASONS, SET_ASIDE_NOTES, Outcome, outcomes, send_back_note
from surveys.demo.plan import PlannedVisit
from surveys.demo.setting import Setting
from surveys.demo.story import Story
from surveys.demo.truths import Habits
from surveys.models import (
    CallIndex,
    ListeningPeriod,
    ReviewStep,
    Settlement,
    Source,
    Step,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.protocol.seasons import season_year, window_of
from surveys.protocol.values import PeriodStatus, Severity
from surveys.visits.bulk import FreshRows, ProgramSnapshot, program_snapshot
from surveys.visits.judging import Judgment, judge_cells
from surveys.visits.loading import Background

_HOUR = dt.timedelta(hours=1)
_DAY = dt.timedelta(days=1)
_STATES = {
    Outcome.WAITING: VisitState.SUBMITTED,
    Outcome.SENT_BACK: VisitState.SENT_BACK,
    Outcome.ACCEPTED: VisitState.ACCEPTED,
    Outcome.RETURNED_THEN_ACCEPTED: VisitState.ACCEPTED,
    Outcome.SET_ASIDE: VisitState.SET_ASIDE,
}


class ImpossibleVisitError(Exception):
    """The generator made a visit that the rules refuse: a mistake in the demo itself."""


@dataclass(frozen=True, kw_only=True)
class _Desk:
    """What making the rows of one program needs at hand."""

    setting: Setting
    snapshot: ProgramSnapshot
    habits: Habits
    coordinators: tuple[Person, ...]
    now: dt.datetime
    rng: Random
    rows: FreshRows


def visit_rows(
    story: Story,
    setting: Setting,
    habits: Habits,
    *,
    favorite: str,
    coordinators: tuple[Person, ...],
    now: dt.datetime,
    rng: Random,
) -> FreshRows:
    """Rows of every visit of the story and of the sheet still being typed.

    Raises ImpossibleVisitError when a visit could not have been submitted.
    """
    desk = _Desk(
        setting=setting,
        snapshot=program_snapshot(setting.program),
        habits=habits,
        coordinators=coordinators,
        now=now,
        rng=rng,
        rows=FreshRows(),
    )
    nights: dict[tuple[str, int], list[dt.date]] = defaultdict(list)
    for planned in story.visits:
        nights[planned.route, planned.season.year].append(planned.outing.night)
    judged = {
        planned.key: _judge(desk, planned, nights[planned.route, planned.season.year])
        for planned in story.visits
    }
    queries = {
        key: sum(finding.severity is Severity.QUERY for finding in judgment.findings)
        for key, judgment in judged.items()
    }
    outcome = outcomes(story.visits, queries, habits, favorite=favorite, rng=rng)
    for planned in story.visits:
        _add_submitted(desk, planned, judged[planned.key], outcome[planned.key])
    if story.draft is not None:
        desk.rows.visits.append(_visit_row(desk, story.draft, _background(desk, story.draft)))
    return desk.rows


def _background(desk: _Desk, planned: PlannedVisit) -> Background:
    background = desk.snapshot.background(desk.setting.routes[planned.route], planned.outing.night)
    if background is None:
        raise ImpossibleVisitError(f"No protocol on {planned.outing.night}.")
    return background


def _judge(desk: _Desk, planned: PlannedVisit, nights: list[dt.date]) -> Judgment:
    night = planned.outing.night
    judgment = judge_cells(
        planned.evening.cells,
        night=night,
        background=_background(desk, planned),
        surroundings=desk.snapshot.surroundings(
            desk.setting.routes[planned.route],
            night,
            planned.season.year,
            person_id=desk.setting.people[planned.observer].pk,
            now=desk.now,
            companions=(other for other in nights if other != night),
        ),
    )
    if judgment.refusals:
        first = judgment.refusals[0]
        raise ImpossibleVisitError(f"{planned.route}, {night}: {first.message}")
    return judgment


def _add_submitted(
    desk: _Desk, planned: PlannedVisit, judgment: Judgment, outcome: Outcome
) -> None:
    visit = _visit_row(desk, planned, judgment.background)
    visit.state = _STATES[outcome]
    rows = desk.rows
    first_finding, first_period, first_call = len(rows.findings), len(rows.periods), len(rows.calls)
    stops = judgment.background.stops
    keys = {stops[period.stop].pk: _uuid(desk) for period in judgment.reading.visit.periods}
    rows.add(visit, judgment, keys=keys)
    stored = rows.findings[first_finding:]
    _add_review(desk, visit, planned, outcome, stored)
    if visit.counts_in_trends:
        _count(stored, rows.periods[first_period:], rows.calls[first_call:])


def _visit_row(desk: _Desk, planned: PlannedVisit, background: Background) -> Visit:
    night = planned.outing.night
    window = window_of(night, background.protocol)
    return Visit(
        id=_uuid(desk),
        route=desk.setting.routes[planned.route],
        protocol_version=background.version,
        observer=desk.setting.people[planned.observer],
        night=night,
        season_year=season_year(night, background.protocol.season_year_begins),
        window=window.name if window else "",
        source=Source(planned.outing.source),
        cells=planned.evening.cells,
    )


def _uuid(desk: _Desk) -> uuid.UUID:
    return uuid.UUID(int=desk.rng.getrandbits(128), version=4)


def _add_review(
    desk: _Desk,
    visit: Visit,
    planned: PlannedVisit,
    outcome: Outcome,
    stored: list[StoredFinding],
) -> None:
    """Every step from the first submission to where the visit stands now."""
    rng = desk.rng
    observer = desk.setting.people[planned.observer]
    judge_by = rng.choice(desk.coordinators)
    at = planned.evening.finished_at + rng.uniform(0.2, 40) * _HOUR
    at = min(at, desk.now - _HOUR)
    _submit(desk, visit, observer, at)
    if outcome is Outcome.WAITING:
        return
    at = _later(at, desk, 0.5, 12)
    if outcome in (Outcome.SENT_BACK, Outcome.RETURNED_THEN_ACCEPTED):
        with using(desk.setting.program.date_style):
            note = send_back_note(stored, rng)
        _step(desk, visit, Step.SENT_BACK, judge_by, at, note)
        if outcome is Outcome.SENT_BACK:
            return
        at = _later(at, desk, 0.5, 6)
        _submit(desk, visit, observer, at)
        at = _later(at, desk, 0.5, 6)
    if outcome is Outcome.SET_ASIDE:
        _step(desk, visit, Step.SET_ASIDE, judge_by, at, rng.choice(SET_ASIDE_NOTES))
        return
    for finding in stored:
        if finding.severity == Severity.QUERY.value:
            _settle(desk, visit, finding, judge_by, at)
    _step(desk, visit, Step.ACCEPTED, judge_by, at, "")
    visit.counts_in_trends = not any(
        row.settlement == Settlement.LEFT_OUT and row.stop is None for row in stored
    )


def _later(at: dt.datetime, desk: _Desk, least: float, most: float) -> dt.datetime:
    return min(at + desk.rng.uniform(least, most) * _DAY, desk.now)


def _submit(desk: _Desk, visit: Visit, observer: Person, at: dt.datetime) -> None:
    visit.submitted_at = at
    _step(desk, visit, Step.SUBMITTED, observer, at, "")
    desk.rows.submissions.append(
        Submission(
            visit=visit,
            revision=visit.revision,
            cells=visit.cells,
            submitted_by=observer,
            submitted_at=at,
        )
    )


def _step(desk: _Desk, visit: Visit, step: Step, by: Person, at: dt.datetime, note: str) -> None:
    visit.revision += 1
    desk.rows.steps.append(
        ReviewStep(visit=visit, step=step, by=by, at=at, revision=visit.revision, note=note)
    )


def _settle(desk: _Desk, visit: Visit, finding: StoredFinding, by: Person, at: dt.datetime) -> None:
    left_out = desk.rng.random() < desk.habits.left_out_share
    finding.settlement = Settlement.LEFT_OUT if left_out else Settlement.COUNTS
    finding.reason = desk.rng.choice(REASONS[finding.settlement])
    finding.settled_by = by
    finding.settled_at = at
    note = f"{finding.code}: {finding.settlement.label.lower()}. {finding.reason}"
    _step(desk, visit, Step.SETTLED, by, at, note)


def _count(
    findings: list[StoredFinding], periods: list[ListeningPeriod], calls: list[CallIndex]
) -> None:
    """What accepting a visit does: a query left out takes its stop, or only its species."""
    left_out = [f for f in findings if f.settlement == Settlement.LEFT_OUT]
    stops = {f.stop_id for f in left_out if f.species_id is None}
    species = {(f.stop_id, f.species_id) for f in left_out if f.species_id is not None}
    for period in periods:
        period.counts_in_trends = (
            period.status == PeriodStatus.LISTENED and period.stop_id not in stops
        )
    for call in calls:
        call.counts_in_trends = (
            call.period.counts_in_trends
            and not call.not_sure
            and (call.period.stop_id, call.species_id) not in species
        )
