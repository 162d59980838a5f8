"""Many visits at once: read, judged and stored as single visits are, but with a number of
queries that does not depend on the number of visits."""

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
    OwnField,
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
    own_fields_on,
    stops_in_use,
    version_in_force,
)
from surveys.protocol import values
from surveys.visits.copying import CopyingBeside
from surveys.visits.judging import Judgment
from surveys.visits.loading import (
    Background,
    TrainingRecord,
    protocol_values,
    qualified,
    route_of,
    species_catalog,
    training_records,
)
from surveys.visits.rows import (
    call_rows,
    finding_rows,
    period_rows,
    set_visit_fields,
    sighting_rows,
)


@dataclass(frozen=True, kw_only=True)
class ProgramSnapshot:
    """Everything in a program that sheets are read and judged against.

    `routes` are keyed by code, `versions` by protocol id, `stops` and `nights` by route id.
    `nights` hold (season year, night) of submitted visits that are not set aside.
    """

    program: Program
    routes: Mapping[str, Route]
    stops: Mapping[int, tuple[Stop, ...]]
    versions: Mapping[int, tuple[ProtocolVersion, ...]]
    checklist: tuple[ChecklistEntry, ...]
    own_fields: tuple[OwnField, ...]
    species: Mapping[str, Species]
    catalog: Mapping[str, str]
    nights: Mapping[int, tuple[tuple[int, dt.date], ...]]
    training: tuple[TrainingRecord, ...]
    background_cache: dict[tuple, Background] = field(default_factory=dict)

    def version_in_force(self, route: Route, night: dt.date) -> ProtocolVersion | None:
        return version_in_force(self.versions.get(route.protocol_id, ()), night)

    def background(self, route: Route, night: dt.date) -> Background | None:
        """What a sheet of that night is judged against; None when no protocol was in force."""
        version = self.version_in_force(route, night)
        if version is None:
            return None
        stops = {stop.number: stop for stop in stops_in_use(self.stops.get(route.pk, ()), night)}
        checklist = entries_listed(self.checklist, night)
        own_fields = own_fields_on(self.own_fields, night)
        key = (
            route.pk,
            version.pk,
            tuple(stop.pk for stop in stops.values()),
            tuple(entry.pk for entry in checklist),
            own_fields,
        )
        if key not in self.background_cache:
            self.background_cache[key] = Background(
                route=route_of(route, stops, checklist, own_fields),
                protocol=protocol_values(version),
                version=version,
                stops=stops,
                species=self.species,
                catalog=self.catalog,
            )
        return self.background_cache[key]

    def qualified(self, person_id: int, night: dt.date) -> bool | None:
        """Whether the person's training was valid on the night.

        None when the program records no training at all.
        """
        return qualified(self.training, person_id, night)

    def surroundings(
        self,
        route: Route,
        night: dt.date,
        season_year: int,
        *,
        person_id: int | None,
        now: dt.datetime,
        companions: Iterable[dt.date] = (),
    ) -> values.Surroundings:
        """`companions` are other nights on the route that are stored in the same batch. Of people
        without an account (None) no training is known."""
        visited = (n for year, n in self.nights.get(route.pk, ()) if year == season_year)
        return values.Surroundings(
            now=now,
            other_nights=tuple(sorted((*visited, *companions))),
            observer_qualified=None if person_id is None else self.qualified(person_id, night),
        )


def program_snapshot(program: Program) -> ProgramSnapshot:
    """Load the snapshot, in nine queries."""
    routes = {}
    for route in Route.objects.filter(program=program).select_related("protocol"):
        route.program = program
        routes[route.code] = route
    species = {row.code: row for row in Species.objects.known_to(program)}
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
        own_fields=tuple(program.own_fields.order_by("order", "pk")),
        species=species,
        catalog=species_catalog(species),
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
        """Add a submitted visit and its dependent rows. The judgment must have no refusals.

        `keys` optionally maps stop ids to the ids that their listening periods should get.
        """
        set_visit_fields(visit, judgment)
        periods = period_rows(visit, judgment, keys or {})
        self.visits.append(visit)
        self.periods += periods.values()
        self.calls += call_rows(judgment, periods)
        self.sightings += sighting_rows(visit, judgment, {})
        self.findings += finding_rows(visit, judgment)

    @property
    def groups(self) -> tuple[list, ...]:
        """All rows by model, each after those that it refers to."""
        return (
            self.visits,
            self.submissions,
            self.periods,
            self.calls,
            self.sightings,
            self.findings,
            self.steps,
        )

    def write(self) -> None:
        """Insert all rows. Call it in a transaction."""
        with CopyingBeside() as copying:
            copying.copy(self.groups)


def _grouped(pairs: Iterable[tuple[int, object]]) -> dict[int, tuple]:
    groups: dict[int, list] = defaultdict(list)
    for key, item in pairs:
        groups[key].append(item)
    return {key: tuple(items) for key, items in groups.items()}
