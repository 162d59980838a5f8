"""The whole demo of one program as plain values, before any row is written."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

from surveys.demo.calendar import Season, first_night, seasons_until
from surveys.demo.climate import ONE_DAY, NightWeather, nights
from surveys.demo.dice import dice
from surveys.demo.evenings import Outing, simulate_evening
from surveys.demo.land import LandRoute, lay_out
from surveys.demo.nature import occupied_stops
from surveys.demo.plan import PlannedVisit, roster, survey
from surveys.demo.truths import People, Places, ProgramTruth, Truths

STOPS_TYPED = 4
STILL_TO_DO_FOR = dt.timedelta(days=31)


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How much of the demo is made. `routes` counts for each program."""

    until: dt.date
    seed: int = 1
    routes: int = 99
    years: int = 12


@dataclass(frozen=True, kw_only=True)
class Story:
    truth: ProgramTruth
    routes: tuple[LandRoute, ...]
    seasons: tuple[Season, ...]
    roster: dict[tuple[str, int], str]
    visits: tuple[PlannedVisit, ...]
    draft: PlannedVisit | None
    weather: Mapping[dt.date, NightWeather]


def make_story(
    truths: Truths, places: Places, people: People, program: ProgramTruth, scale: Scale
) -> Story:
    """Visits come in the order of their nights. The same for the same scale."""
    seasons = seasons_until(
        program.versions[0].protocol, scale.until, stated=truths.seasons, years=scale.years
    )
    routes = lay_out(
        program,
        places.of(program.slug),
        places.stop_names,
        seed=scale.seed,
        routes=scale.routes,
    )
    weather = nights(
        program.climate,
        program.filling,
        first_night(program.versions[0].protocol, seasons[0]),
        scale.until,
        dice(scale.seed, "weather", program.slug),
    )
    observers = dict(
        roster(
            people.observers_of(program.slug),
            routes,
            seasons,
            favorite=people.sign_ins.observer,
            rng=dice(scale.seed, "roster", program.slug),
        )
    )
    visits = survey(
        truths,
        program,
        routes,
        seasons,
        weather,
        observers,
        favorite=people.sign_ins.observer,
        until=scale.until,
        seed=scale.seed,
    )
    in_order = tuple(sorted(visits, key=lambda visit: (visit.outing.night, visit.route)))
    favorite = people.sign_ins.observer
    last = next((visit.route for visit in reversed(in_order) if visit.observer == favorite), "")
    favorites_routes = [r for r in routes if observers.get((r.code, seasons[-1].year)) == favorite]
    # The route surveyed last comes last: its visit stays. The others are still to be done
    # in the window that is open, one of them with a sheet begun.
    favorites_routes.sort(key=lambda route: route.code == last)
    to_do = {route.code for route in favorites_routes[:-1] or favorites_routes}
    open_since = scale.until - STILL_TO_DO_FOR
    draft = None
    if favorites_routes:
        draft = _draft(truths, program, favorites_routes[0], seasons[-1], weather, people, scale)
    return Story(
        truth=program,
        routes=routes,
        seasons=seasons,
        roster=observers,
        visits=tuple(v for v in in_order if v.route not in to_do or v.outing.night < open_since),
        draft=draft,
        weather=weather,
    )


def _draft(
    truths: Truths,
    program: ProgramTruth,
    route: LandRoute,
    season: Season,
    weather: Mapping[dt.date, NightWeather],
    people: People,
    scale: Scale,
) -> PlannedVisit:
    """A sheet that is still being typed: the night before `until`, a few stops in."""
    night = scale.until - ONE_DAY
    outing = Outing(
        route=route,
        night=night,
        source="paper",
        second_observer="",
        weather=weather[night],
        flags=frozenset(),
    )
    occupied = {
        species.code: frozenset(
            stop
            for _, stop, _ in occupied_stops(
                truths,
                species,
                (route,),
                season_numbers=(season.number,),
                seed=f"{scale.seed}/{program.slug}",
            )
        )
        for species in program.species
    }
    rng = dice(scale.seed, "draft", program.slug)
    evening = simulate_evening(truths, program, outing, occupied, rng)
    cells = {at: text for at, text in evening.cells.items() if _typed_so_far(at)}
    return PlannedVisit(
        route=route.code,
        observer=people.sign_ins.observer,
        season=season,
        outing=outing,
        evening=replace(evening, cells=cells, trials=()),
    )


def _typed_so_far(address: str) -> bool:
    head, _, rest = address.partition(".")
    if head == "stops":
        stop = rest.partition(".")[0]
        return int(stop) <= STOPS_TYPED
    return head not in ("end", "sightings", "notes")
