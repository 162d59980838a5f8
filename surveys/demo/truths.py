"""What the demo programs are made from: stated truths, places and people.

The files lie in `fixtures/demo_*.json`; everything in them is invented.
"""

import datetime as dt
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from surveys.protocol.plain import from_plain
from surveys.protocol.values import DistanceUnit, MonthDay, Protocol, TemperatureUnit

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"


@dataclass(frozen=True, kw_only=True)
class VersionTruth:
    in_force_from: dt.date
    source: str
    protocol: Protocol


@dataclass(frozen=True, kw_only=True)
class ClimateTruth:
    """Air temperature 90 minutes after sunset: a yearly wave around `mean_c` plus a
    deviation that the next night partly remembers. Rain in mm a day; some season
    years are droughts, in which every rain is smaller."""

    mean_c: float
    swing_c: float
    warmest_day_of_year: int
    night_to_night_sd_c: float
    memory: float
    cooling_c_per_hour: float
    rain_chance: float
    rain_mm: float
    drought_chance: float
    drought_factor: float
    beaufort_shares: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class WetlandTruth:
    habitat: str
    hydroperiod: str
    fish: str
    share: float


@dataclass(frozen=True, kw_only=True)
class FillingTruth:
    """Seasonal wetlands hold water once `mm` of rain have fallen since `counted_from`."""

    counted_from: MonthDay
    mm: float


@dataclass(frozen=True, kw_only=True)
class SpeciesTruth:
    """`occupancy` holds the share of suitable stops occupied in the first and in the
    last season year. An empty `hydroperiods` or `fish` sets no condition."""

    code: str
    season: tuple[MonthDay, MonthDay]
    peak: MonthDay
    width_days: float
    habitats: tuple[str, ...]
    hydroperiods: tuple[str, ...] = ()
    fish: tuple[str, ...] = ()
    needs_filling: bool = False
    sensitivity: int = 0
    occupancy: tuple[float, float]
    detection: float
    reference_c: float
    per_degree: float
    per_hour: float
    index_shares: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class ProgramTruth:
    slug: str
    name: str
    region: str
    calling_region: str
    time_zone: str
    temperature_unit: TemperatureUnit
    distance_unit: DistanceUnit
    local_rules: str
    versions: tuple[VersionTruth, ...]
    climate: ClimateTruth
    wetlands: tuple[WetlandTruth, ...]
    filling: FillingTruth | None = None
    region_weights: Mapping[str, float] = field(default_factory=dict)
    weights_are: str = ""
    species: tuple[SpeciesTruth, ...]

    def protocol_on(self, night: dt.date) -> Protocol:
        """The protocol in force on a night."""
        return [v.protocol for v in self.versions if v.in_force_from <= night][-1]


@dataclass(frozen=True, kw_only=True)
class Mishaps:
    """Chances that something goes wrong: per route and season year, per window, per
    stop or per visit. In the latest season year those of a visit are multiplied."""

    season_missed: float
    window_missed: float
    stop_skipped: float
    turned_back: float
    cold_night: float
    windy_night: float
    wet_night: float
    outside_window: float
    early_start: float
    short_listening: float
    short_wait: float
    temperature_left_out: float
    loud_stop: float
    not_sure: float
    out_of_season: float
    latest_season_factor: float


@dataclass(frozen=True, kw_only=True)
class Habits:
    phone_since_seasons: int
    phone_share: float
    sighting_chance: float
    set_aside_share: float
    sent_back_once_share: float
    left_out_share: float


@dataclass(frozen=True, kw_only=True)
class Truths:
    """`persistence` is the chance that a stop keeps its rank between two season years;
    otherwise the rank is drawn anew, so occupancy stays as stated while stops turn over."""

    about: str
    seasons: int
    programs: tuple[ProgramTruth, ...]
    persistence: float
    mishaps: Mishaps
    habits: Habits


@dataclass(frozen=True, kw_only=True)
class RoutePlace:
    code: str
    name: str
    region: str
    start: tuple[float, float]
    heading: float
    since_season: int = 1


@dataclass(frozen=True, kw_only=True)
class ProgramPlaces:
    slug: str
    spacing_m: tuple[float, float]
    routes: tuple[RoutePlace, ...]


@dataclass(frozen=True, kw_only=True)
class HabitatNames:
    habitat: str
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class StopNames:
    first: tuple[str, ...]
    second: tuple[HabitatNames, ...]


@dataclass(frozen=True, kw_only=True)
class Places:
    about: str
    stop_names: StopNames
    programs: tuple[ProgramPlaces, ...]

    def of(self, slug: str) -> ProgramPlaces:
        return next(places for places in self.programs if places.slug == slug)


@dataclass(frozen=True, kw_only=True)
class Someone:
    """A coordinator or partner, and the programs they belong to."""

    name: str
    email: str
    programs: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ObserverTruth:
    """An observer and the season years, counted from 1, in which they take part."""

    name: str
    seasons: tuple[int, ...]
    email: str = ""

    @property
    def address(self) -> str:
        made = self.name.lower().replace(" ", ".").replace("'", "")
        return self.email or f"{made}@example.org"

    def takes_part(self, season: int) -> bool:
        first, last = self.seasons[0], self.seasons[-1] if len(self.seasons) > 1 else 9999
        return first <= season <= last


@dataclass(frozen=True, kw_only=True)
class Observers:
    slug: str
    people: tuple[ObserverTruth, ...]


@dataclass(frozen=True, kw_only=True)
class Invitee:
    name: str
    email: str
    role: str


@dataclass(frozen=True, kw_only=True)
class Invited:
    slug: str
    people: tuple[Invitee, ...]


@dataclass(frozen=True, kw_only=True)
class SignIns:
    observer: str
    coordinator: str
    partner: str


@dataclass(frozen=True, kw_only=True)
class People:
    about: str
    password: str
    sign_ins: SignIns
    coordinators: tuple[Someone, ...]
    partners: tuple[Someone, ...]
    observers: tuple[Observers, ...]
    invited: tuple[Invited, ...]

    def observers_of(self, slug: str) -> tuple[ObserverTruth, ...]:
        return next(group.people for group in self.observers if group.slug == slug)

    def invited_of(self, slug: str) -> tuple[Invitee, ...]:
        return next(group.people for group in self.invited if group.slug == slug)


def read_truths() -> Truths:
    return from_plain(Truths, _content("demo_truths.json"))


def read_places() -> Places:
    return from_plain(Places, _content("demo_places.json"))


def read_people() -> People:
    return from_plain(People, _content("demo_people.json"))


def occupancy(species: SpeciesTruth, season: int, seasons: int) -> float:
    """Share of suitable stops occupied in season year `season` of `seasons`, from 1."""
    first, last = (math.log(psi / (1 - psi)) for psi in species.occupancy)
    along = (season - 1) / (seasons - 1) if seasons > 1 else 0.0
    return logistic(first + (last - first) * along)


def logistic(x: float) -> float:
    return 1 / (1 + math.exp(-x))


def _content(name: str) -> object:
    return json.loads((FIXTURES / name).read_text(encoding="utf-8"))
