"""Any visit at all, possible or not, for property tests of the rules."""

import datetime as dt

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from surveys.protocol.values import (
    CallRecord,
    Case,
    ChecklistSpecies,
    DistanceUnit,
    Interruption,
    MonthDay,
    NoiseEffect,
    Period,
    PeriodStatus,
    Place,
    Protocol,
    Route,
    SeasonWindow,
    SkyState,
    Stop,
    StopSunset,
    Surroundings,
    Temperature,
    TemperatureUnit,
    Visit,
    Weather,
    WithoutTest,
)

# The same visits every time, and no limit on a machine that is busy.
steady = settings(deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])

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
skies_seen = maybe() | st.sampled_from(SkyState)
noises = maybe() | st.sampled_from(NoiseEffect)
own_codes = st.text("0123456789ABab", min_size=1, max_size=2)
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
    sky=skies_seen,
    noise=noises,
    measured_at=maybe() | places,
    measured_accuracy_m=maybe() | st.floats(0, 1e5),
    calls=st.lists(
        st.builds(CallRecord, species=species, index=codes, not_sure=st.booleans()), max_size=3
    ).map(tuple),
)
weather = st.builds(Weather, air_temperature=readings, beaufort=codes, sky=skies_seen)
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
    forbidden_skies=st.frozensets(st.sampled_from(SkyState)),
    loudest_noise=noises,
    min_days_between_visits=maybe() | st.integers(0, 40),
    max_distance_from_stop_m=maybe() | st.floats(0, 1e5),
    max_drive_kmh=st.floats(1, 200),
    training_needed=st.booleans(),
    without_test=st.sampled_from(WithoutTest),
    sky_codes=st.dictionaries(own_codes, st.sampled_from(SkyState), max_size=3),
    noise_codes=st.dictionaries(own_codes, st.sampled_from(NoiseEffect), max_size=3),
)
skies = st.builds(StopSunset, sunset=instants)
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
            lambda points: tuple(
                Stop(number=n, name="", place=place) for n, place in enumerate(points, 1)
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
