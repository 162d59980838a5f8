"""What an observer needs to know before a survey: routes, hours, moon, limits."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.db.models import Case, Prefetch, Q, QuerySet, When

from accounts.models import Membership, Role
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import (
    ChecklistEntry,
    Program,
    ProtocolVersion,
    Route,
    Species,
    Stop,
    Visit,
    VisitState,
)
from surveys.programs.cover import SeasonPlan
from surveys.programs.in_force import (
    entries_listed,
    stops_in_use,
    version_in_force,
)
from surveys.programs.versions import units_of
from surveys.protocol.hours import (
    route_hours,
)
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.nights import night_of
from surveys.protocol.seasons import (
    days_away,
    in_days,
    season_year,
    window_dates,
)
from surveys.protocol.sky import (
    MoonNight,
    moon_night,
    stop_sky,
)
from surveys.protocol.values import (
    Place,
    Protocol,
    StopSky,
)
from surveys.protocol.words import listed
from surveys.visits.access import EDITABLE, visible_visits
from surveys.visits.coming_back import came_back
from surveys.visits.loading import protocol_values

# An older draft of somebody else is hardly a survey that is still to come.
RECENT = dt.timedelta(days=14)
MOST_LIKELY = 10


@dataclass(frozen=True, kw_only=True)
class WindowAhead:
    """A survey window of this season year, as seen on a night.

    `nights` are those of the route's submitted visits in the window.
    """

    name: str
    opens: dt.date
    closes: dt.date
    is_open: bool
    is_ahead: bool
    nights: tuple[dt.date, ...]

    @property
    def visited(self) -> bool:
        return bool(self.nights)

    @property
    def nights_in_words(self) -> str:
        return listed(day(night) for night in self.nights)


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one member has to do with a route, in words; `is_now`: they go tonight, or whenever
    its next window opens."""

    is_now: bool
    words: str


@dataclass(frozen=True, kw_only=True)
class RouteTonight:
    """One route on one night. Instants are UTC; None where there is no such limit or event.

    `sky` and `moon` are those of the first stop; the hours hold at every stop. `begun_by_others`
    are sentences on recent drafts of other observers."""

    route: Route
    version: ProtocolVersion
    protocol: Protocol
    night: dt.date
    season_year: int
    windows: tuple[WindowAhead, ...]
    stops: tuple[Stop, ...]
    sky: StopSky | None
    moon: MoonNight | None
    earliest_start: dt.datetime | None
    latest_end: dt.datetime | None
    limits: tuple[tuple[str, str], ...]
    begun_by_others: tuple[str, ...] = ()
    part: Part | None = None

    @property
    def open_window(self) -> WindowAhead | None:
        return next((window for window in self.windows if window.is_open), None)

    @property
    def next_from(self) -> dt.date | None:
        """The first night on which the protocol allows another visit; None where any will do."""
        wanted = self.protocol.min_days_between_visits
        nights = [night for window in self.windows for night in window.nights]
        if wanted is None or not nights:
            return None
        first = max(nights) + dt.timedelta(days=wanted)
        return first if first > self.night else None

    @property
    def is_due(self) -> bool:
        """Whether a window is open in which nobody has surveyed the route yet."""
        return self.open_window is not None and not self.open_window.visited

    @property
    def next_window(self) -> WindowAhead | None:
        return next((window for window in self.windows if window.is_ahead), None)


@dataclass(frozen=True, kw_only=True)
class Tonight:
    """The observer's home: routes to go to, others with a part in them (`later`), and visits that
    need the observer's attention. What the observer withdrew is not among `sent_back`."""

    night: dt.date
    routes: tuple[RouteTonight, ...]
    later: tuple[RouteTonight, ...]
    drafts: tuple[Visit, ...]
    sent_back: tuple[tuple[Visit, str], ...]
    withdrawn: tuple[Visit, ...]


def tonight_for(member: Membership, now: dt.datetime) -> Tonight:
    """Everything on the Tonight screen. The number of queries does not depend on the number
    of routes."""
    night = night_of(now, member.program.time_zone)
    own = Q(assignments__observer=member.person) | Q(assignments__substitutes__person=member.person)
    found = (
        _route_tonight(member, route, night) for route in _routes(member).filter(own).distinct()
    )
    routes = list(_with_parts(member, [one for one in found if one is not None]))
    visits = own_visits(member).order_by("night")
    drafts = tuple(visits.filter(state=VisitState.DRAFT))
    back = list(visits.filter(state=VisitState.SENT_BACK))
    why = came_back(back)
    return Tonight(
        night=night,
        routes=tuple(one for one in routes if one.part.is_now),
        later=tuple(one for one in routes if not one.part.is_now),
        drafts=drafts,
        sent_back=tuple((one, why[one.pk].note) for one in back if not why[one.pk].is_withdrawn),
        withdrawn=tuple(one for one in back if why[one.pk].is_withdrawn),
    )


def _with_parts(member: Membership, routes: Iterable[RouteTonight]) -> Iterable[RouteTonight]:
    """Routes in which the member has a part in this season year."""
    plans: dict[int, SeasonPlan] = {}
    for one in routes:
        year = one.season_year
        if year not in plans:
            plans[year] = SeasonPlan(member.program, year, one.night)
        part = _part(member, one, plans[year])
        if part is not None:
            yield replace(one, part=part)


def _part(member: Membership, one: RouteTonight, plan: SeasonPlan) -> Part | None:
    assigned = plan.of_route(one.route.pk)
    own = next((each for each in assigned if each.member == member), None)
    window = one.open_window or one.next_window
    if window is not None:
        goers = {goer.member: goer for goer in plan.cover(one.route.pk, window).going}
        if member in goers:
            instead = goers[member].instead_of
            words = said("You fill in for {name}.", name=instead.person.name) if instead else ""
            return Part(is_now=True, words=words)
        if own is not None and own.has(window.name):
            return Part(is_now=False, words=_why_not(own.substitutes.get(window.name)))
    ahead = [
        each.name
        for each in one.windows
        if each.closes >= one.night
        and any(goer.member == member for goer in plan.cover(one.route.pk, each).going)
    ]
    if ahead:
        return Part(is_now=False, words=said("Your windows: {windows}.", windows=listed(ahead)))
    if own is None:
        return None
    return Part(is_now=window is None and not own.windows, words="")


def _why_not(substitute: Membership | None) -> str:
    if substitute is not None:
        return said("{name} fills in for you in this window.", name=substitute.person.name)
    return gettext("You said that you cannot go in this window.")


def route_on_night(member: Membership, code: str, night: dt.date) -> RouteTonight | None:
    """One route of the program by its code; None when it has no protocol in force.

    Raises Route.DoesNotExist when the program has no such route.
    """
    return _route_tonight(member, _routes(member).get(code=code), night)


def own_visits(member: Membership) -> QuerySet[Visit]:
    """The member's visits in this program: those to finish first, then by night, latest first."""
    return (
        Visit.objects.filter(route__program=member.program_id, observer=member.person_id)
        .select_related("route")
        .order_by(Case(When(state__in=EDITABLE, then=0), default=1), "-night", "pk")
    )


def shared_visits(member: Membership) -> QuerySet[Visit]:
    """Visits of others on which the member was the second observer, latest first: to read."""
    shared = visible_visits(member).filter(second_member=member.person_id)
    return shared.select_related("route", "observer").order_by("-night", "pk")


def coordinator_names(member: Membership) -> list[str]:
    """Whom to ask, by name."""
    people = member.program.memberships.filter(
        role=Role.COORDINATOR, active=True, person__is_active=True
    )
    return list(people.order_by("person__name").values_list("person__name", flat=True))


def all_routes(member: Membership) -> QuerySet[Route]:
    """Active routes of the program, including those assigned to other observers."""
    return Route.objects.filter(program=member.program, active=True).order_by("code")


def _routes(member: Membership) -> QuerySet[Route]:
    return all_routes(member).prefetch_related(
        Prefetch("stops", Stop.objects.order_by("number")),
        Prefetch(
            "visits", Visit.objects.exclude(state__in=[VisitState.DRAFT, VisitState.SET_ASIDE])
        ),
        Prefetch(
            "visits",
            Visit.objects.filter(state=VisitState.DRAFT)
            .exclude(observer=member.person_id)
            .select_related("observer")
            .order_by("night", "pk"),
            to_attr="drafts_of_others",
        ),
        "protocol__versions__windows",
    )


def _begun_by_others(route: Route, night: dt.date) -> tuple[str, ...]:
    """So that two people do not survey one window without knowing of each other."""
    return tuple(
        said(
            "{name} began a visit on the night of {night}. It is not submitted yet.",
            name=draft.observer.name,
            night=day(draft.night),
        )
        for draft in route.drafts_of_others
        if dt.timedelta() <= night - draft.night <= RECENT
    )


def _route_tonight(member: Membership, route: Route, night: dt.date) -> RouteTonight | None:
    version = version_in_force(route.protocol.versions.all(), night)
    if version is None:
        return None
    protocol = protocol_values(version)
    year = season_year(night, protocol.season_year_begins)
    stops = tuple(stops_in_use(route.stops.all(), night))
    zone = member.program.time_zone
    places = [Place(latitude=stop.place.y, longitude=stop.place.x) for stop in stops]
    skies = [stop_sky(place, night, zone) for place in places]
    hours = route_hours(protocol, skies, night, zone)
    return RouteTonight(
        route=route,
        version=version,
        protocol=protocol,
        night=night,
        season_year=year,
        windows=_windows_ahead(
            protocol, year, night, [visit.night for visit in route.visits.all()]
        ),
        stops=stops,
        sky=skies[0] if skies else None,
        moon=moon_night(places[0], night, zone) if places else None,
        earliest_start=hours.earliest_start,
        latest_end=hours.latest_end,
        limits=limits_in_words(protocol, units_of(member.program)),
        begun_by_others=_begun_by_others(route, night),
    )


def _windows_ahead(
    protocol: Protocol, year: int, night: dt.date, nights: list[dt.date]
) -> tuple[WindowAhead, ...]:
    windows = []
    for window in protocol.windows:
        opens, closes = window_dates(window, year, protocol.season_year_begins)
        windows.append(
            WindowAhead(
                name=window.name,
                opens=opens,
                closes=closes,
                is_open=opens <= night <= closes,
                is_ahead=night < opens,
                nights=tuple(sorted({night for night in nights if opens <= night <= closes})),
            )
        )
    return tuple(sorted(windows, key=lambda window: window.opens))


def likely_species(program: Program, night: dt.date) -> list[Species]:
    """The first few of `calling_species`."""
    return calling_species(program, night)[:MOST_LIKELY]


def calling_species(program: Program, night: dt.date) -> list[Species]:
    """Species of the night's checklist in their calling season, as the sheet has them, with their
    members."""
    seasons = [(entry, entry.calling_season) for entry in _entries_on(program, night)]
    return [entry.species for entry, season in seasons if season is None or in_days(night, *season)]


def days_to_calling(program: Program, night: dt.date) -> dict[Species, int]:
    """Days to the calling season of each species of the night's checklist, 0 within it, in the
    order of the sheet."""
    seasons = [(entry, entry.calling_season) for entry in _entries_on(program, night)]
    return {
        entry.species: 0 if season is None else days_away(night, *season)
        for entry, season in seasons
    }


def listed_species(program: Program, night: dt.date) -> list[Species]:
    """All species of the night's checklist, as the sheet has them, with their members."""
    return [entry.species for entry in _entries_on(program, night)]


def _entries_on(program: Program, night: dt.date) -> list[ChecklistEntry]:
    entries = (
        program.checklist.select_related("species")
        .prefetch_related("species__members")
        .order_by("order", "pk")
    )
    return entries_listed(entries, night)
