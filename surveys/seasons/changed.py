"""What changed in a season year: species that fell silent on a route or were new, and routes that
nobody listened on."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from surveys.models import JointMember, Program, Species
from surveys.seasons.options import routes_of
from surveys.seasons.query import fetch
from surveys.seasons.route_years import route_years

# Silent: heard in so many of so many season years before in which the route was listened on, in the
# survey windows in which it was listened on this season.
YEARS_BEFORE = 5
ENOUGH_YEARS = 2

_HEARD = """
SELECT DISTINCT w.route_id, w.species_id, w.season_year, v."window"
FROM counted_written w
JOIN counted_visit v ON v.id = w.visit_id
WHERE w.program_id = %(program)s AND w.season_year <= %(year)s AND w.call_index IS NOT NULL
"""
_LISTENED = """
SELECT DISTINCT p.route_id, p.season_year, v."window"
FROM counted_period p
JOIN counted_visit v ON v.id = p.visit_id
WHERE p.program_id = %(program)s AND p.season_year <= %(year)s
"""
# Listed that year and silent throughout: no record, and none that makes it missing everywhere.
_SILENT = """
SELECT route_id, species_id
FROM counted_call
WHERE program_id = %(program)s AND season_year = %(year)s
GROUP BY route_id, species_id
HAVING max(call_index) = 0
"""

Pair = tuple[int, int]
# A season year and a window; blank: the nights outside the windows.
Time = tuple[int, str]


@dataclass(frozen=True, kw_only=True)
class Change:
    """A route and a species. `years` are those before in which it was heard there."""

    code: str
    name: str
    species: str
    years: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Changed:
    season_year: int
    silent: tuple[Change, ...]
    new: tuple[Change, ...]
    gaps: tuple[tuple[str, str], ...]


def silent_pairs(
    year: int,
    silent: Collection[Pair],
    heard: Mapping[Pair, Collection[Time]],
    listened: Mapping[int, Collection[Time]],
) -> dict[Pair, tuple[int, ...]]:
    """Routes and species that are silent this year, with the years before in which they were
    heard: at least two of the last five on which the route was listened on. Only the windows of
    this year are looked at: in fall nobody misses the species of spring. Where none of them has
    been used before, as after windows were renamed, all are."""
    found = {}
    for pair in silent:
        on_route = listened.get(pair[0], ())
        windows = {window for one, window in on_route if one == year}
        known = {window for one, window in on_route if one < year}
        windows = windows if windows & known else known
        before = {one for one, window in on_route if one < year and window in windows}
        calls = {one for one, window in heard.get(pair, ()) if window in windows}
        years = tuple(one for one in sorted(before)[-YEARS_BEFORE:] if one in calls)
        if len(years) >= ENOUGH_YEARS:
            found[pair] = years
    return found


def new_pairs(
    year: int, heard: Mapping[Pair, Collection[Time]], listened: Mapping[int, Collection[Time]]
) -> list[Pair]:
    """Heard this year on a route for the first time, after a year in which it was listened on."""
    return [
        pair
        for pair, times in heard.items()
        if {one for one, _ in times} == {year}
        and any(one < year for one, _ in listened.get(pair[0], ()))
    ]


def _add_members(program: Program, heard: dict[Pair, set[Time]]) -> None:
    """A joint entry that was recorded was also heard whenever one of its species was."""
    members = JointMember.objects.filter(joint__checklist_entries__program=program)
    for joint, member in members.values_list("joint", "member").distinct():
        for route in [route for route, species in heard if species == joint]:
            heard[route, joint] |= heard.get((route, member), set())


def what_changed(
    program: Program, year: int, *, region: str | None = None, stratum: str | None = None
) -> Changed:
    parameters = {"program": program.pk, "year": year}
    heard: dict[Pair, set[Time]] = {}
    for row in fetch(_HEARD, parameters):
        pair = (row.route_id, row.species_id)
        heard.setdefault(pair, set()).add((row.season_year, row.window))
    listened: dict[int, set[Time]] = {}
    for row in fetch(_LISTENED, parameters):
        listened.setdefault(row.route_id, set()).add((row.season_year, row.window))
    _add_members(program, heard)
    silent = {(row.route_id, row.species_id) for row in fetch(_SILENT, parameters)}
    routes = {route.pk: route for route in routes_of(program, region=region, stratum=stratum)}
    fell_silent = silent_pairs(year, silent, heard, listened)
    are_new = dict.fromkeys(new_pairs(year, heard, listened), ())
    species = Species.objects.in_bulk({pair[1] for pair in (*fell_silent, *are_new)})

    def told(pairs: Mapping[Pair, tuple[int, ...]]) -> tuple[Change, ...]:
        changes = [
            Change(
                code=routes[route].code,
                name=routes[route].name,
                species=species[of].name,
                years=years,
            )
            for (route, of), years in pairs.items()
            if route in routes
        ]
        return tuple(sorted(changes, key=lambda one: (one.species, one.code)))

    table = route_years(program, routes=list(routes.values()), first_year=year, last_year=year)
    return Changed(
        season_year=year,
        silent=told(fell_silent),
        new=told(are_new),
        gaps=tuple(
            (row.code, row.name)
            for row in table.rows
            if any(cell and cell.gap for cell in row.cells)
        ),
    )
