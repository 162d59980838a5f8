"""Lists of visits behind a number, and everything that one visit holds."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Count, Max, OuterRef, Q, QuerySet, Subquery

from surveys.models import (
    CallIndex,
    ChecklistEntry,
    JointMember,
    ListeningPeriod,
    Species,
    Stop,
    Visit,
    VisitState,
)
from surveys.programs.in_force import (
    entries_listed,
    stops_in_use,
)
from surveys.protocol.values import CallDistance, PeriodStatus

LISTENED = PeriodStatus.LISTENED.value
NOT_REACHED = "not-reached"
SKIPPED = "skipped"
NOT_SURE = "not-sure"
FAR = CallDistance.FAR.value


def visits_of(
    visits: QuerySet[Visit],
    *,
    route_code: str | None = None,
    season_year: int | None = None,
    first_year: int | None = None,
    last_year: int | None = None,
    region: str | None = None,
    window: str | None = None,
    species: Species | None = None,
) -> QuerySet[Visit]:
    """Those of `visits` that were handed in, latest first, with `stops_listened`,
    `stops_detected` and `highest_index` (of `species`, or of all together) on each.

    These are counted as written down, before review decides what counts.
    """
    heard = CallIndex.objects.filter(index__gte=1)
    if species:
        # A record of a member is one of its joint entry.
        members = species.members.values_list("pk", flat=True)
        heard = heard.filter(species__in=[species.pk, *members])
    listened = ListeningPeriod.objects.filter(status=LISTENED)
    return (
        visits.filter(_conditions(route_code, season_year, first_year, last_year, region, window))
        .exclude(state=VisitState.DRAFT)
        .select_related("route", "observer")
        .annotate(
            stops_listened=_total(listened, "visit", Count("pk")),
            stops_detected=_total(heard, "period__visit", Count("period", distinct=True)),
            highest_index=_total(heard, "period__visit", Max("index")),
        )
        .order_by("-night", "route__code", "pk")
    )


def _conditions(
    route_code: str | None,
    season_year: int | None,
    first_year: int | None,
    last_year: int | None,
    region: str | None,
    window: str | None,
) -> Q:
    wanted = {
        "route__code": route_code,
        "season_year": season_year,
        "season_year__gte": first_year,
        "season_year__lte": last_year,
        "route__region": region,
        "window": window,
    }
    return Q(**{field: value for field, value in wanted.items() if value is not None})


def _total(rows: QuerySet, visit: str, aggregate: Count | Max) -> Subquery:
    """One aggregate over the rows of the outer visit; `visit` is the way from row to visit."""
    of_visit = rows.filter(**{visit: OuterRef("pk")}).order_by()
    return Subquery(of_visit.values(visit).annotate(total=aggregate).values("total"))


@dataclass(frozen=True, kw_only=True)
class GridCell:
    """One species at one stop. `value` is 0-3, "not-sure", or None (not listened for).

    `left_out` marks what review excluded from trends, `confirmed` what was heard again in a
    recording, `is_far` what was heard only beyond the listening radius.
    """

    value: int | str | None
    is_far: bool = False
    left_out: bool = False
    confirmed: bool = False


@dataclass(frozen=True, kw_only=True)
class GridRow:
    """One stop of the visit. `period` None: the stop was not reached. `left_out`:
    review left the stop out of a visit that counts."""

    stop: Stop
    period: ListeningPeriod | None
    cells: tuple[GridCell, ...]
    left_out: bool

    @property
    def listened(self) -> bool:
        return self.period is not None and self.period.status == LISTENED


@dataclass(frozen=True, kw_only=True)
class VisitGrid:
    """Stops down, species across."""

    species: tuple[Species, ...]
    rows: tuple[GridRow, ...]

    @property
    def named_rows(self) -> list[tuple[GridRow, list[tuple[str, GridCell]]]]:
        """Each row with its cells by the names of their species."""
        names = [species.name for species in self.species]
        return [(row, list(zip(names, row.cells, strict=True))) for row in self.rows]


def visit_grid(visit: Visit) -> VisitGrid:
    """The grid of a submitted visit: five queries, whatever its size."""
    periods = {period.stop_id: period for period in visit.periods.all()}
    calls: dict[object, dict[int, CallIndex]] = {}
    heard: dict[int, Species] = {}
    for call in CallIndex.objects.filter(period__visit=visit).select_related(
        "species", "confirmation"
    ):
        calls.setdefault(call.period_id, {})[call.species_id] = call
        heard[call.species_id] = call.species
    listed = _listed(visit)
    on_list = {species.pk for species in listed}
    off_list = [species for pk, species in heard.items() if pk not in on_list]
    columns = (*listed, *sorted(off_list, key=lambda species: species.common_name))
    groups = _groups(list(heard))
    rows = []
    for stop in _stops(visit, periods):
        period = periods.get(stop.pk)
        written = calls.get(period.pk, {}) if period else {}
        spoken_of = {
            species
            for call in written.values()
            if call.distance != FAR or _is_excluded(visit, period, call)
            for species in groups.get(call.species_id, ())
        }
        cells = tuple(
            _grid_cell(
                visit,
                period,
                written.get(species.pk),
                is_silent=species.pk in on_list - spoken_of,
            )
            for species in columns
        )
        rows.append(
            GridRow(stop=stop, period=period, cells=cells, left_out=_left_out(visit, period))
        )
    return VisitGrid(species=columns, rows=tuple(rows))


def _groups(species_ids: Collection[int]) -> dict[int, set[int]]:
    """For each of these species the others of which its records say something: of a joint entry
    its members, of a member its joint entries."""
    others: dict[int, set[int]] = {}
    for joint, member in JointMember.objects.filter(
        Q(joint__in=species_ids) | Q(member__in=species_ids)
    ).values_list("joint", "member"):
        others.setdefault(joint, set()).add(member)
        others.setdefault(member, set()).add(joint)
    return others


def _listed(visit: Visit) -> list[Species]:
    """The checklist of the night, in the program's order."""
    entries = (
        ChecklistEntry.objects.filter(program=visit.route.program_id)
        .select_related("species")
        .order_by("order", "species__common_name")
    )
    return [entry.species for entry in entries_listed(entries, visit.night)]


def _stops(visit: Visit, visited: Collection[int]) -> list[Stop]:
    """The stops of the route on that night, and any other that has a period. Of a stop that moved
    there is one place: where the observer listened."""
    candidates = Stop.objects.filter(Q(pk__in=visited) | Q(route=visit.route_id))
    in_use = {stop.pk for stop in stops_in_use(candidates, visit.night)}
    former = {stop.number for stop in candidates if stop.pk in visited and stop.pk not in in_use}
    shown = (
        stop
        for stop in candidates
        if stop.pk in visited or (stop.pk in in_use and stop.number not in former)
    )
    return sorted(shown, key=lambda stop: (stop.number, stop.active_from))


def _left_out(visit: Visit, period: ListeningPeriod | None) -> bool:
    return (
        period is not None
        and period.status == LISTENED
        and visit.counts_in_trends
        and not period.counts_in_trends
    )


def _is_excluded(visit: Visit, period: ListeningPeriod, call: CallIndex) -> bool:
    counts = visit.counts_in_trends and period.counts_in_trends
    return counts and not call.not_sure and not call.counts_in_trends


def _grid_cell(
    visit: Visit, period: ListeningPeriod | None, call: CallIndex | None, *, is_silent: bool
) -> GridCell:
    if period is None:
        return GridCell(value=NOT_REACHED)
    if period.status != LISTENED:
        return GridCell(value=SKIPPED)
    if call is None:
        return GridCell(value=0 if is_silent else None)
    if call.not_sure:
        return GridCell(value=NOT_SURE, is_far=call.distance == FAR)
    return GridCell(
        value=call.index,
        is_far=call.distance == FAR,
        left_out=_is_excluded(visit, period, call),
        confirmed=hasattr(call, "confirmation"),
    )
