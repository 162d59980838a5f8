"""The judge: order of the findings, and no visit that it cannot read."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from surveys.protocol.plain import from_plain
from surveys.protocol.rules.judge import judge
from surveys.protocol.rules.table import RULES
from surveys.protocol.values import (
    CallRecord,
    Case,
    ChecklistSpecies,
    DistanceUnit,
    Interruption,
    MonthDay,
    Period,
    PeriodStatus,
    Place,
    Protocol,
    Route,
    SeasonWindow,
    Stop,
    StopSky,
    Surroundings,
    Temperature,
    TemperatureUnit,
    Visit,
    Weather,
)

BUSY = from_plain(
    Case,
    {
        "visit": {
            "night": "2024-06-15",
            "start": {"sky": 8},
            "periods": [
                {
                    "stop": 2,
                    "started_at": "2024-06-16T02:10:00Z",
                    "finished_at": "2024-06-16T02:12:00Z",
                    "beaufort": 5,
                },
                {
                    "stop": 1,
                    "started_at": "2024-06-16T02:31:00Z",
                    "finished_at": "2024-06-16T02:32:00Z",
                    "sky": 3,
                    "beaufort": 5,
                },
            ],
        },
        "route": {
            "code": "R",
            "name": "Long Meadow",
            "time_zone": "America/Chicago",
            "stops": [
                {"number": n, "name": "", "place": {"latitude": 43 + n / 100, "longitude": -89}}
                for n in (1, 2, 3)
            ],
        },
        "protocol": {
            "name": "Example",
            "version": 1,
            "season_year_begins": "01-01",
            "windows": [{"name": "Early", "opens": "04-01", "closes": "04-30"}],
            "listening_time": 300,
            "max_beaufort": 3,
            "wet_sky_codes": [8],
            "min_stops": 3,
        },
        "sky": {},
        "surroundings": {"now": "2024-07-01T00:00:00Z"},
    },
    at="case",
)


def test_the_visit_comes_first_then_the_stops_by_number_each_in_the_order_of_the_table():
    found = [(finding.where.stop, finding.code) for finding in judge(BUSY)]
    assert found == [
        (None, "outside-window"),
        (None, "too-few-stops"),
        (None, "stop-left-blank"),
        (None, "wet-sky"),
        (1, "stops-out-of-order"),
        (1, "listening-too-short"),
        (1, "too-windy"),
        (1, "unknown-sky-code"),
        (2, "listening-too-short"),
        (2, "too-windy"),
        (2, "sky-missing"),
    ]


NOW = dt.datetime(2024, 4, 16, 12, tzinfo=dt.UTC)
maybe = st.none
instants = maybe() | st.datetimes(dt.datetime(2024, 4, 15), dt.datetime(2024, 4, 17)).map(
    lambda instant: instant.replace(tzinfo=dt.UTC)
)
lengths = st.timedeltas(dt.timedelta(hours=-1), dt.timedelta(hours=9))
codes = maybe() | st.integers(-2, 15)
readings = maybe() | st.builds(
    Temperature,
    value=st.decimals(-60, 130, places=1),
    unit=st.sampled_from(TemperatureUnit),
)
places = st.builds(
    Place,
    latitude=st.floats(-90, 90),
    longitude=st.floats(-180, 180),
)
month_days = st.dates(dt.date(2000, 1, 1), dt.date(2000, 12, 31)).map(
    lambda date: MonthDay(month=date.month, day=date.day)
)
species = st.sampled_from(["one", "two", "off the list"])
periods = st.builds(
    Period,
    stop=st.integers(1, 5),
    status=st.sampled_from(PeriodStatus),
    arrived_at=instants,
    started_at=instants,
    finished_at=instants,
    paused=lengths,
    air_temperature=readings,
    water_temperature=readings,
    beaufort=codes,
    sky=codes,
    noise_index=codes,
    measured_at=maybe() | places,
    measured_accuracy_m=maybe() | st.floats(0, 1e5),
    calls=st.lists(
        st.builds(CallRecord, species=species, index=codes, not_sure=st.booleans()), max_size=3
    ).map(tuple),
)
weather = st.builds(Weather, air_temperature=readings, beaufort=codes, sky=codes)
protocols = st.builds(
    Protocol,
    name=st.just("Any"),
    version=st.just(1),
    season_year_begins=month_days,
    windows=st.lists(
        st.builds(
            SeasonWindow,
            name=st.just("w"),
            opens=month_days,
            closes=month_days,
            min_air_temperature=readings,
            min_water_temperature=readings,
        ),
        max_size=3,
    ).map(tuple),
    settling_wait=maybe() | lengths,
    listening_time=lengths,
    longest_listening_time=maybe() | lengths,
    interruption=st.sampled_from(Interruption),
    earliest_start_after_sunset=maybe() | lengths,
    latest_end_clock=maybe() | st.times(),
    latest_end_after_sunset=maybe() | lengths,
    min_stops=st.integers(0, 6),
    stops_in_order=st.booleans(),
    min_stop_spacing_m=maybe() | st.floats(0, 1e5),
    max_beaufort=codes,
    wet_sky_codes=st.frozensets(st.integers(0, 9)),
    max_noise_index=codes,
    min_days_between_visits=maybe() | st.integers(0, 40),
    max_distance_from_stop_m=maybe() | st.floats(0, 1e5),
    max_drive_kmh=st.floats(1, 200),
    training_needed=st.booleans(),
)
skies = st.builds(StopSky, sunset=instants, civil_dusk=instants, sunrise=instants)
cases = st.builds(
    Case,
    visit=st.builds(
        Visit,
        night=st.just(dt.date(2024, 4, 15)),
        periods=st.lists(periods, max_size=4).map(tuple),
        start=weather,
        end=weather,
    ),
    route=st.builds(
        Route,
        code=st.just("R"),
        name=st.just("Long Meadow"),
        time_zone=st.sampled_from(["America/Chicago", "Asia/Kolkata"]),
        stops=st.lists(places, max_size=4).map(
            lambda found: tuple(
                Stop(number=n, name="", place=place) for n, place in enumerate(found, 1)
            )
        ),
        checklist=st.lists(
            st.builds(
                ChecklistSpecies,
                code=st.sampled_from(["one", "two"]),
                common_name=st.just("Frog"),
                scientific_name=st.just("Rana"),
                season=maybe() | st.tuples(month_days, month_days),
            ),
            max_size=2,
        ).map(tuple),
        distance_unit=st.sampled_from(DistanceUnit),
    ),
    protocol=protocols,
    sky=st.dictionaries(st.integers(1, 5), skies),
    surroundings=st.builds(
        Surroundings,
        now=st.just(NOW),
        other_nights=st.lists(st.dates(dt.date(2024, 4, 1), dt.date(2024, 4, 30))).map(tuple),
        observer_qualified=maybe() | st.booleans(),
    ),
)


@given(case=cases)
def test_any_visit_can_be_judged(case):
    """However wrong a visit is, it gets findings in words, never an error."""
    known = {rule.code: rule.severity for rule in RULES}
    for finding in judge(case):
        assert finding.severity is known[finding.code]
        assert finding.message.endswith(".")
        assert finding.mend.endswith(".")
        assert "None" not in finding.message
        assert "nvalid" not in finding.message + finding.mend


@given(case=cases)
def test_the_order_in_which_the_stops_were_written_down_does_not_change_the_findings(case):
    turned = Case(
        visit=Visit(
            night=case.visit.night,
            periods=tuple(
                sorted(case.visit.periods, key=lambda p: (-p.stop, str(p.started_at), repr(p)))
            ),
            start=case.visit.start,
            end=case.visit.end,
        ),
        route=case.route,
        protocol=case.protocol,
        sky=case.sky,
        surroundings=case.surroundings,
    )
    one_by_one = {period.stop for period in case.visit.periods}
    if len(one_by_one) == len(case.visit.periods) and not _same_beginning(case):
        key = repr
        assert sorted(judge(turned), key=key) == sorted(judge(case), key=key)


def _same_beginning(case):
    begins = [p.arrived_at or p.started_at for p in case.visit.periods]
    known = [begin for begin in begins if begin is not None]
    return len(known) != len(set(known))
