"""Visits of the demo as rows: read, judged, settled, and written in bulk."""

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random

from django.contrib.gis.geos import Point

from accounts.models import Person
from surveys.demo.fates import REASONS, SEND_BACK_NOTES, SET_ASIDE_NOTES, Fate
from surveys.demo.plan import PlannedVisit
from surveys.demo.setting import Setting
from surveys.demo.story import Story
from surveys.demo.truths import Habits
from surveys.models import (
    CallIndex,
    ListeningPeriod,
    ReviewStep,
    Settlement,
    Sighting,
    Source,
    Step,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.protocol.rules.judge import judge
from surveys.protocol.seasons import season_year, window_of
from surveys.protocol.sky import stop_sky
from surveys.protocol.values import (
    Case,
    Finding,
    Period,
    PeriodStatus,
    Severity,
    Surroundings,
    Temperature,
)
from surveys.protocol.weather import to_celsius
from surveys.visits.loading import Background, background
from surveys.visits.sheet import SheetReading, read_sheet
from surveys.visits.stop_reading import StopFacts

_HOUR = dt.timedelta(hours=1)
_DAY = dt.timedelta(days=1)
_STATES = {
    Fate.WAITING: VisitState.SUBMITTED,
    Fate.SENT_BACK: VisitState.SENT_BACK,
    Fate.ACCEPTED: VisitState.ACCEPTED,
    Fate.RETURNED_THEN_ACCEPTED: VisitState.ACCEPTED,
    Fate.SET_ASIDE: VisitState.SET_ASIDE,
}


class ImpossibleVisitError(Exception):
    """The generator made a visit that the rules refuse: a mistake in the demo itself."""


@dataclass(kw_only=True)
class Rows:
    """Unsaved rows, in the order in which they must be written."""

    visits: list[Visit] = field(default_factory=list)
    submissions: list[Submission] = field(default_factory=list)
    periods: list[ListeningPeriod] = field(default_factory=list)
    calls: list[CallIndex] = field(default_factory=list)
    sightings: list[Sighting] = field(default_factory=list)
    findings: list[StoredFinding] = field(default_factory=list)
    steps: list[ReviewStep] = field(default_factory=list)

    def write(self) -> None:
        for model, rows in (
            (Visit, self.visits),
            (Submission, self.submissions),
            (ListeningPeriod, self.periods),
            (CallIndex, self.calls),
            (Sighting, self.sightings),
            (StoredFinding, self.findings),
            (ReviewStep, self.steps),
        ):
            model.objects.bulk_create(rows, batch_size=2000)


@dataclass(kw_only=True)
class _Story:
    """What making the rows of one programme needs at hand."""

    setting: Setting
    habits: Habits
    coordinators: tuple[Person, ...]
    now: dt.datetime
    rng: Random
    rows: Rows = field(default_factory=Rows)
    grounds: dict[tuple[str, int], Background] = field(default_factory=dict)

    def ground(self, planned: PlannedVisit) -> Background:
        """Stops and checklist never change in the demo, so one a route and version will do."""
        version = self.setting.version_on(planned.outing.night)
        key = planned.route, version.pk
        if key not in self.grounds:
            route = self.setting.routes[planned.route]
            self.grounds[key] = background(route, planned.outing.night, version)
        return self.grounds[key]


def visit_rows(
    story: Story,
    setting: Setting,
    fates: Mapping[tuple[str, dt.date], Fate],
    habits: Habits,
    *,
    coordinators: tuple[Person, ...],
    now: dt.datetime,
    rng: Random,
) -> Rows:
    """Rows of every visit of the story and of the sheet still being typed.

    Raises ImpossibleVisitError when a visit could not have been submitted.
    """
    work = _Story(setting=setting, habits=habits, coordinators=coordinators, now=now, rng=rng)
    nights = defaultdict(list)
    for planned in story.visits:
        if fates[planned.key] is not Fate.SET_ASIDE:
            nights[planned.route, planned.season.year].append(planned.outing.night)
    for planned in story.visits:
        others = [
            n for n in nights[planned.route, planned.season.year] if n != planned.outing.night
        ]
        _add_submitted(work, planned, fates[planned.key], tuple(others))
    if story.draft is not None:
        _add_draft(work, story.draft)
    return work.rows


def _add_draft(work: _Story, planned: PlannedVisit) -> None:
    visit = _visit_row(work, planned, work.ground(planned))
    visit.cells = planned.evening.cells
    work.rows.visits.append(visit)


def _add_submitted(
    work: _Story, planned: PlannedVisit, fate: Fate, other_nights: tuple[dt.date, ...]
) -> None:
    ground = work.ground(planned)
    cells = planned.evening.cells
    reading = read_sheet(
        cells, route=ground.route, night=planned.outing.night, catalogue=ground.catalogue
    )
    findings = _judge(work, ground, reading, other_nights)
    visit = _visit_row(work, planned, ground)
    visit.cells = cells
    visit.state = _STATES[fate]
    _fill_visit(visit, reading)
    work.rows.visits.append(visit)
    stored = [_finding_row(visit, ground, finding) for finding in findings]
    work.rows.findings += stored
    _add_review(work, visit, planned, fate, stored)
    _add_periods(work, visit, ground, reading, stored)


def _judge(
    work: _Story, ground: Background, reading: SheetReading, other_nights: tuple[dt.date, ...]
) -> tuple[Finding, ...]:
    night, zone = reading.visit.night, ground.route.time_zone
    case = Case(
        visit=reading.visit,
        route=ground.route,
        protocol=ground.protocol,
        sky={stop.number: stop_sky(stop.place, night, zone) for stop in ground.route.stops},
        surroundings=Surroundings(now=work.now, other_nights=other_nights),
    )
    findings = (*reading.findings, *judge(case))
    refused = [finding for finding in findings if finding.severity is Severity.REFUSE]
    if refused:
        raise ImpossibleVisitError(f"{ground.route.code}, {night}: {refused[0].message}")
    return findings


def _visit_row(work: _Story, planned: PlannedVisit, ground: Background) -> Visit:
    night = planned.outing.night
    window = window_of(night, ground.protocol)
    return Visit(
        id=uuid.UUID(int=work.rng.getrandbits(128), version=4),
        route=work.setting.routes[planned.route],
        protocol_version=ground.version,
        observer=work.setting.people[planned.observer],
        night=night,
        season_year=season_year(night, ground.protocol.season_year_begins),
        window=window.name if window else "",
        source=Source(planned.outing.source),
    )


def _fill_visit(visit: Visit, reading: SheetReading) -> None:
    facts = reading.facts
    visit.second_observer = facts.second_observer
    visit.notes = facts.notes
    visit.rain_48h_mm = facts.rain_48h_mm
    visit.days_since_rain = facts.days_since_rain
    for end, weather in (("start", reading.visit.start), ("end", reading.visit.end)):
        celsius, unit = _temperature(weather.air_temperature)
        setattr(visit, f"{end}_air_temperature_c", celsius)
        setattr(visit, f"{end}_air_temperature_unit", unit)
        setattr(visit, f"{end}_beaufort", weather.beaufort)
        setattr(visit, f"{end}_sky", weather.sky)


def _temperature(reading: Temperature | None) -> tuple[object, str]:
    return (None, "") if reading is None else (to_celsius(reading), reading.unit.value)


def _finding_row(visit: Visit, ground: Background, finding: Finding) -> StoredFinding:
    where = finding.where
    return StoredFinding(
        visit=visit,
        code=finding.code,
        severity=finding.severity.value,
        stop=ground.stops.get(where.stop) if where.stop is not None else None,
        species=ground.species.get(where.species) if where.species else None,
        field=where.field or "",
        message=finding.message,
        mend=finding.mend,
    )


def _add_review(
    work: _Story,
    visit: Visit,
    planned: PlannedVisit,
    fate: Fate,
    stored: list[StoredFinding],
) -> None:
    """Every step from the first submission to where the visit stands now."""
    rng = work.rng
    observer = work.setting.people[planned.observer]
    judge_by = rng.choice(work.coordinators)
    at = planned.evening.finished_at + rng.uniform(0.2, 40) * _HOUR
    at = min(at, work.now - _HOUR)
    _submit(work, visit, observer, at)
    if fate is Fate.WAITING:
        return
    at = _later(at, work, 0.5, 12)
    if fate in (Fate.SENT_BACK, Fate.RETURNED_THEN_ACCEPTED):
        _step(work, visit, Step.SENT_BACK, judge_by, at, rng.choice(SEND_BACK_NOTES))
        if fate is Fate.SENT_BACK:
            return
        at = _later(at, work, 0.5, 6)
        _submit(work, visit, observer, at)
        at = _later(at, work, 0.5, 6)
    if fate is Fate.SET_ASIDE:
        _step(work, visit, Step.SET_ASIDE, judge_by, at, rng.choice(SET_ASIDE_NOTES))
        return
    for finding in stored:
        if finding.severity == Severity.QUERY.value:
            _settle(work, visit, finding, judge_by, at)
    _step(work, visit, Step.ACCEPTED, judge_by, at, "")
    visit.counts_in_trends = not any(
        row.settlement == Settlement.LEFT_OUT and row.stop is None for row in stored
    )


def _later(at: dt.datetime, work: _Story, least: float, most: float) -> dt.datetime:
    return min(at + work.rng.uniform(least, most) * _DAY, work.now)


def _submit(work: _Story, visit: Visit, observer: Person, at: dt.datetime) -> None:
    visit.submitted_at = at
    _step(work, visit, Step.SUBMITTED, observer, at, "")
    work.rows.submissions.append(
        Submission(
            visit=visit,
            revision=visit.revision,
            cells=visit.cells,
            submitted_by=observer,
            submitted_at=at,
        )
    )


def _step(work: _Story, visit: Visit, step: Step, by: Person, at: dt.datetime, note: str) -> None:
    visit.revision += 1
    work.rows.steps.append(
        ReviewStep(visit=visit, step=step, by=by, at=at, revision=visit.revision, note=note)
    )


def _settle(
    work: _Story, visit: Visit, finding: StoredFinding, by: Person, at: dt.datetime
) -> None:
    left_out = work.rng.random() < work.habits.left_out_share
    finding.settlement = Settlement.LEFT_OUT if left_out else Settlement.COUNTS
    finding.reason = work.rng.choice(REASONS[finding.settlement])
    finding.settled_by = by
    finding.settled_at = at
    note = f"{finding.code}: {finding.settlement.label.lower()}. {finding.reason}"
    _step(work, visit, Step.SETTLED, by, at, note)


def _add_periods(
    work: _Story,
    visit: Visit,
    ground: Background,
    reading: SheetReading,
    stored: list[StoredFinding],
) -> None:
    left_out = [row for row in stored if row.settlement == Settlement.LEFT_OUT]
    stops_left_out = {row.stop.number for row in left_out if row.stop and not row.species}
    calls_left_out = {(r.stop.number, r.species.code) for r in left_out if r.stop and r.species}
    for period in reading.visit.periods:
        counts = (
            visit.counts_in_trends
            and period.status is PeriodStatus.LISTENED
            and period.stop not in stops_left_out
        )
        row = _period_row(work, visit, ground, period, reading.stop_facts[period.stop], counts)
        work.rows.periods.append(row)
        for call in period.calls:
            if call.index or call.not_sure:
                work.rows.calls.append(
                    CallIndex(
                        period=row,
                        species=ground.species[call.species],
                        index=call.index,
                        not_sure=call.not_sure,
                        counts_in_trends=counts
                        and not call.not_sure
                        and (period.stop, call.species) not in calls_left_out,
                    )
                )
    for seen in reading.sightings:
        work.rows.sightings.append(
            Sighting(
                visit=visit,
                row=seen.row,
                stop=ground.stops.get(seen.stop) if seen.stop else None,
                species=ground.species[seen.species],
                life_stage=seen.life_stage,
                count=seen.count,
                colour_form=seen.colour_form,
                note=seen.note,
            )
        )


def _period_row(
    work: _Story,
    visit: Visit,
    ground: Background,
    period: Period,
    facts: StopFacts,
    counts: bool,
) -> ListeningPeriod:
    air_c, air_unit = _temperature(period.air_temperature)
    place = period.measured_at
    return ListeningPeriod(
        id=uuid.UUID(int=work.rng.getrandbits(128), version=4),
        visit=visit,
        stop=ground.stops[period.stop],
        status=period.status.value,
        skip_reason=facts.skip_reason,
        counts_in_trends=counts,
        arrived_at=period.arrived_at,
        started_at=period.started_at,
        finished_at=period.finished_at,
        paused_s=round(period.paused.total_seconds()),
        interrupted=facts.interrupted,
        air_temperature_c=air_c,
        air_temperature_unit=air_unit,
        beaufort=period.beaufort,
        sky=period.sky,
        noise_index=period.noise_index,
        cars=facts.cars,
        moonlight=facts.moonlight,
        water_tonight=facts.water_tonight,
        measured_at=Point(place.longitude, place.latitude, srid=4326) if place else None,
        measured_accuracy_m=period.measured_accuracy_m,
        note=facts.note,
    )
