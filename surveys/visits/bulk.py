"""Many visits at once: the same reading, judging and rows as one by one, but with a
fixed number of queries however many visits there are."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    Program,
    ProtocolVersion,
    ReviewStep,
    Route,
    Sighting,
    Species,
    Stop,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.programs.in_force import (
    entries_listed,
    stops_in_use,
    version_in_force,
)
from surveys.protocol import values
from surveys.visits.judging import Judgment
from surveys.visits.loading import (
    Background,
    TrainingRecord,
    catalog_of,
    protocol_values,
    qualified,
    route_of,
    training_records,
)
from surveys.visits.rows import (
    call_rows,
    finding_rows,
    period_rows,
    set_visit_fields,
    sighting_rows,
)

_BATCH = 2000


@dataclass(frozen=True, kw_only=True)
class ProgramSnapshot:
    """Everything of a program that sheets are read and judged against.

    `versions` are keyed by protocol; `stops` and `nights` by route.
    `nights` hold (season year, night) of visits that were handed in and not set aside.
    """

    program: Program
    routes: Mapping[str, Route]
    stops: Mapping[int, tuple[Stop, ...]]
    versions: Mapping[int, tuple[ProtocolVersion, ...]]
    checklist: tuple[ChecklistEntry, ...]
    species: Mapping[str, Species]
    catalog: Mapping[str, str]
    nights: Mapping[int, tuple[tuple[int, dt.date], ...]]
    training: tuple[TrainingRecord, ...]
    grounds: dict[tuple, Background] = field(default_factory=dict)

    def version_in_force(self, route: Route, night: dt.date) -> ProtocolVersion | None:
        return version_in_force(self.versions.get(route.protocol_id, ()), night)

    def ground(self, route: Route, night: dt.date) -> Background | None:
        """What a sheet of that night is judged against; None before the first protocol."""
        version = self.version_in_force(route, night)
        if version is None:
            return None
        stops = {stop.number: stop for stop in stops_in_use(self.stops.get(route.pk, ()), night)}
        checklist = entries_listed(self.checklist, night)
        key = (
            route.pk,
            version.pk,
            tuple(stop.pk for stop in stops.values()),
            tuple(entry.pk for entry in checklist),
        )
        if key not in self.grounds:
            self.grounds[key] = Background(
                route=route_of(route, stops, checklist),
                protocol=protocol_values(version),
                version=version,
                stops=stops,
                species=self.species,
                catalog=self.catalog,
            )
        return self.grounds[key]

    def qualified(self, person_id: int, night: dt.date) -> bool | None:
        """Whether training on record held on the night; None when none is on record."""
        return qualified(self.training, person_id, night)

    def surroundings(
        self,
        route: Route,
        night: dt.date,
        season_year: int,
        *,
        person_id: int,
        now: dt.datetime,
        companions: Iterable[dt.date] = (),
    ) -> values.Surroundings:
        """`companions` are the other nights of the route that come in the same bulk."""
        known = (n for year, n in self.nights.get(route.pk, ()) if year == season_year)
        return values.Surroundings(
            now=now,
            other_nights=tuple(sorted((*known, *companions))),
            observer_qualified=self.qualified(person_id, night),
        )


def program_snapshot(program: Program) -> ProgramSnapshot:
    """Everything of a program that sheets are judged against, in eight queries."""
    routes = {}
    for route in Route.objects.filter(program=program).select_related("protocol"):
        route.program = program
        routes[route.code] = route
    species = {row.code: row for row in Species.objects.all()}
    return ProgramSnapshot(
        program=program,
        routes=routes,
        stops=_grouped(
            (stop.route_id, stop)
            for stop in Stop.objects.filter(route__program=program).order_by("number")
        ),
        versions=_grouped(
            (version.protocol_id, version)
            for version in ProtocolVersion.objects.filter(protocol__program=program)
            .select_related("protocol")
            .prefetch_related("windows")
        ),
        checklist=tuple(program.checklist.select_related("species").order_by("order", "pk")),
        species=species,
        catalog=catalog_of(species),
        nights=_grouped(
            (route_id, (season_year, night))
            for route_id, season_year, night in Visit.objects.filter(route__program=program)
            .exclude(state__in=[VisitState.DRAFT, VisitState.SET_ASIDE])
            .order_by("night")
            .values_list("route_id", "season_year", "night")
        ),
        training=training_records(program.pk),
    )


@dataclass(kw_only=True)
class FreshRows:
    """Unsaved rows of visits that are not in the database yet."""

    visits: list[Visit] = field(default_factory=list)
    submissions: list[Submission] = field(default_factory=list)
    periods: list[ListeningPeriod] = field(default_factory=list)
    calls: list[CallIndex] = field(default_factory=list)
    sightings: list[Sighting] = field(default_factory=list)
    findings: list[StoredFinding] = field(default_factory=list)
    steps: list[ReviewStep] = field(default_factory=list)

    def add(
        self, visit: Visit, judgment: Judgment, *, keys: Mapping[int, uuid.UUID] | None = None
    ) -> None:
        """Add a submitted visit and everything below it. The judgment holds no refusals.
        `keys` may give the ids of periods by stop."""
        set_visit_fields(visit, judgment)
        periods = period_rows(visit, judgment, keys or {})
        self.visits.append(visit)
        self.periods += periods.values()
        self.calls += call_rows(judgment, periods)
        self.sightings += sighting_rows(visit, judgment, {})
        self.findings += finding_rows(visit, judgment)

    def write(self) -> None:
        """Insert everything; to be called in a transaction."""
        for model, rows in (
            (Visit, self.visits),
            (Submission, self.submissions),
            (ListeningPeriod, self.periods),
            (CallIndex, self.calls),
            (Sighting, self.sightings),
            (StoredFinding, self.findings),
            (ReviewStep, self.steps),
        ):
            model.objects.bulk_create(rows, batch_size=_BATCH)


def _grouped(pairs: Iterable[tuple[int, object]]) -> dict[int, tuple]:
    groups: dict[int, list] = defaultdict(list)
    for key, item in pairs:
        groups[key].append(item)
    return {key: tuple(items) for key, items in groups.items()}
