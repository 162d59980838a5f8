"""Small builders for tests that need rows. Each returns a saved row."""

import datetime as dt
import itertools
import uuid
from dataclasses import asdict
from decimal import Decimal

from django.contrib.auth.hashers import make_password
from django.contrib.gis.geos import Point
from django.utils import timezone
from django.utils.text import slugify

from accounts.models import (
    Membership,
    Person,
    Role,
)
from surveys.models import (
    CallIndex,
    CheckIn,
    CheckInContact,
    ChecklistEntry,
    GroupLetter,
    LetterCopy,
    ListeningPeriod,
    OwnField,
    PowerStudy,
    Program,
    Protocol,
    ProtocolVersion,
    Route,
    SeasonWindow,
    Species,
    StationDay,
    Stop,
    Visit,
    VisitState,
    WeatherStation,
    WetlandChange,
)
from surveys.protocol.plain import to_plain
from surveys.trends import wilson
from surveys.trends.power import (
    PowerCell,
    SurveyPlan,
)

_numbers = itertools.count(1)
PASSWORD = "quiet-water-at-dusk"


def make_program(name: str = "Example Wetlands", **options) -> Program:
    number = next(_numbers)
    return Program.objects.create(
        **{
            "name": f"{name} {number}",
            "slug": f"example-{number}",
            "time_zone": "America/Chicago",
            "temperature_unit": "C",
            **options,
        }
    )


def make_person(name: str = "Robin Fenwick", email: str | None = None) -> Person:
    """As `create_person` leaves them, in two statements instead of six."""
    email = (email or f"person{next(_numbers)}@example.org").lower()
    person = Person(email=email, name=name, password=make_password(PASSWORD))
    Person.objects.bulk_create([person])
    Person.objects.keep_addresses([person])
    return person


def make_member(program: Program, role: Role = Role.OBSERVER, **options) -> Membership:
    person = options.pop("person", None) or make_person()
    return Membership.objects.create(program=program, person=person, role=role, **options)


def make_version(program: Program, **limits) -> ProtocolVersion:
    """A protocol with one window from 15 March to 30 June, no other limits."""
    windows = limits.pop("windows", None)
    protocol = Protocol.objects.create(program=program, name=f"Protocol {next(_numbers)}")
    version = ProtocolVersion.objects.create(
        **{
            "protocol": protocol,
            "number": 1,
            "in_force_from": dt.date(2000, 1, 1),
            "listening_time_s": 300,
            **limits,
        }
    )
    for order, window in enumerate(windows or [{"name": "Spring"}], start=1):
        SeasonWindow.objects.create(
            **{
                "version": version,
                "order": order,
                "opens_month": 3,
                "opens_day": 15,
                "closes_month": 6,
                "closes_day": 30,
                **window,
            }
        )
    return version


def make_route(
    program: Program, *, version: ProtocolVersion | None = None, stops: int = 3, **options
) -> Route:
    """A route of `stops` stops, about 1 km apart, going east near 43.07 N 89.40 W."""
    version = version or make_version(program)
    route = Route.objects.create(
        **{
            "program": program,
            "protocol": version.protocol,
            "code": f"R{next(_numbers):03}",
            "name": "Heron Slough Loop",
            **options,
        }
    )
    Stop.objects.bulk_create(
        Stop(
            route=route,
            number=number,
            name=f"Stop {number}",
            place=Point(-89.4012 + 0.0125 * (number - 1), 43.0731, srid=4326),
            active_from=dt.date(2000, 1, 1),
        )
        for number in range(1, stops + 1)
    )
    return route


def make_species(scientific_name: str = "Pseudacris crucifer", common_name: str = "") -> Species:
    code = slugify(scientific_name)
    return Species.objects.filter(code=code).first() or Species.objects.create(
        code=code, scientific_name=scientific_name, common_name=common_name or scientific_name
    )


def make_own_species(program: Program, scientific_name: str = "Hyperolius lacustris") -> Species:
    """A species that only this program knows."""
    return Species.objects.create(
        program=program,
        code=f"{slugify(scientific_name)}--{program.slug}",
        scientific_name=scientific_name,
        common_name=f"{scientific_name} of {program.slug}",
    )


def make_joint_entry(scientific_name: str, *members: Species) -> Species:
    """A joint entry of these members."""
    joint = make_species(scientific_name)
    Species.objects.filter(pk=joint.pk).update(is_complex=True)
    joint.refresh_from_db()
    joint.members.set(members)
    return joint


def make_checklist(program: Program, *scientific_names: str) -> list[Species]:
    species = [make_species(name) for name in scientific_names or ("Pseudacris crucifer",)]
    ChecklistEntry.objects.bulk_create(
        ChecklistEntry(program=program, species=one, order=order)
        for order, one in enumerate(species, start=1)
    )
    return species


def make_own_field(program: Program, label: str = "Salinity", **options) -> OwnField:
    """A number that is asked at each stop and published."""
    return OwnField.objects.create(
        **{
            "program": program,
            "key": slugify(label).replace("-", "_"),
            "label": label,
            "kind": "number",
            "per": "stop",
            "published": True,
            "order": next(_numbers),
            **options,
        }
    )


def make_accepted_visit(
    route: Route,
    observer: Person,
    *,
    night: dt.date = dt.date(2024, 4, 15),
    heard: dict[int, dict[Species, int]] | None = None,
    skipped: frozenset[int] = frozenset(),
    **options,
) -> Visit:
    """An accepted visit that counts, written without the verbs.

    `heard` maps stop numbers to the index of each species heard there.
    """
    version = route.protocol.versions.order_by("-number").first()
    start = dt.datetime.combine(night + dt.timedelta(days=1), dt.time(1, 30), tzinfo=dt.UTC)
    visit = Visit.objects.create(
        **{
            "id": uuid.uuid4(),
            "route": route,
            "protocol_version": version,
            "observer": observer,
            "night": night,
            "season_year": night.year,
            "window": "Spring",
            "state": VisitState.ACCEPTED,
            "submitted_at": start,
            "counts_in_trends": True,
            **options,
        }
    )
    periods, calls = [], []
    for stop in route.stops.all():
        was_skipped = stop.number in skipped
        arrived = start + dt.timedelta(minutes=10 * (stop.number - 1))
        period = ListeningPeriod(
            visit=visit,
            stop=stop,
            status="skipped" if was_skipped else "listened",
            counts_in_trends=visit.counts_in_trends and not was_skipped,
            arrived_at=arrived,
            started_at=None if was_skipped else arrived + dt.timedelta(minutes=1),
            finished_at=None if was_skipped else arrived + dt.timedelta(minutes=6),
            air_temperature_c=Decimal("12"),
            air_temperature_unit="C",
        )
        periods.append(period)
        calls += [
            CallIndex(period=period, species=species, index=index, counts_in_trends=True)
            for species, index in (heard or {}).get(stop.number, {}).items()
            if not was_skipped
        ]
    ListeningPeriod.objects.bulk_create(periods)
    CallIndex.objects.bulk_create(calls)
    return visit


def make_change(stop: Stop, noted_by: Person, **options) -> WetlandChange:
    """A fire at the wetland of a stop, in the spring of 2023."""
    facts = {"kind": "burned", "began": dt.date(2023, 3, 1), **options}
    return WetlandChange.objects.create(stop=stop, noted_by=noted_by, **facts)


def make_letter(by: Membership, *readers: Membership, **options) -> GroupLetter:
    """A letter to all observers that is queued nowhere."""
    facts = {"group": "observers", "subject": "Workshop", "text": "Hello {name}", **options}
    letter = GroupLetter.objects.create(
        program=by.program, by=by.person, site_url="https://frogs.example.org/", **facts
    )
    LetterCopy.objects.bulk_create(LetterCopy(letter=letter, member=reader) for reader in readers)
    return letter


def make_check_in(member: Membership, route: Route, **options) -> CheckIn:
    """A return time in half an hour, with a contact who is no member and said yes."""
    now = timezone.now()
    contact = CheckInContact.objects.create(
        program=member.program,
        owner=member.person,
        name="Kit Reed",
        email=f"kit{next(_numbers)}@example.org",
        address_key=f"key {next(_numbers)}",
        site_url="https://frogs.example.org/",
        confirmed_at=now,
    )
    facts = {"back_by": now + dt.timedelta(minutes=30), "begun_at": now, "heard_at": now, **options}
    return CheckIn.objects.create(person=member.person, route=route, contact=contact, **facts)


def make_station(
    program: Program,
    days: dict[dt.date, tuple[float | None, float | None, float | None]] | None = None,
    **options,
) -> WeatherStation:
    """A weather station about 8 km north of the stops of `make_route`. `days` are rain in mm, high
    and low in °C."""
    number = next(_numbers)
    station = WeatherStation.objects.create(
        **{
            "program": program,
            "code": f"STATION{number:04}",
            "name": f"Mill Dam {number}",
            "place": Point(-89.4012, 43.145, srid=4326),
            **options,
        }
    )
    StationDay.objects.bulk_create(
        StationDay(station=station, day=day, rain_mm=rain, high_c=high, low_c=low)
        for day, (rain, high, low) in (days or {}).items()
    )
    return station


def make_study(program: Program, species: Species, *, finished: bool = True) -> PowerStudy:
    """A coordinator's question on power, with an answer of two cells."""
    plan = SurveyPlan(
        routes=12, stops_per_route=10, visits=3, years=10, occupancy=0.4, detection=0.5
    )
    cells = tuple(
        PowerCell(routes=routes, visits=3, chance=wilson(heard, 200))
        for routes, heard in ((12, 92), (24, 170))
    )
    return PowerStudy.objects.create(
        program=program,
        species=species,
        plan={"plan": asdict(plan), "routes": [12, 24], "visits": [3]},
        key=uuid.uuid4().hex,
        result=to_plain(cells) if finished else None,
        asked_at=timezone.now(),
    )
