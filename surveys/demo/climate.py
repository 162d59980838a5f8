"""The weather of every night, drawn once for a program."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from surveys.demo.truths import ClimateTruth, FillingTruth
from surveys.protocol.seasons import in_days
from surveys.protocol.values import MonthDay, SkyState

ONE_DAY = dt.timedelta(days=1)
RUN_IN_DAYS = 60
_RAINS_ON_IN_THE_EVENING = 0.3
_DROWNS_OUT_CALLS_MM = 12.0
_DRY_SKIES = (SkyState.CLEAR, SkyState.PARTLY_CLOUDY, SkyState.OVERCAST)


@dataclass(frozen=True, kw_only=True)
class NightWeather:
    """One night. `rain_mm` fell on its day, `evening_c` is the air temperature 90 minutes after
    sunset; `rain_since_autumn_mm` what has fallen since the seasonal wetlands began to fill."""

    evening_c: float
    beaufort: int
    sky: SkyState
    rain_mm: float
    rain_48h_mm: float
    days_since_rain: int
    rain_since_autumn_mm: float


def mean_evening(truth: ClimateTruth, night: dt.date) -> float:
    from_warmest = night.timetuple().tm_yday - truth.warmest_day_of_year
    return truth.mean_c + truth.swing_c * math.cos(2 * math.pi * from_warmest / 365.25)


def nights(
    truth: ClimateTruth,
    filling: FillingTruth | None,
    first: dt.date,
    last: dt.date,
    rng: Random,
) -> Mapping[dt.date, NightWeather]:
    """The weather from `first` to `last`, both included."""
    counted_from = filling.counted_from if filling else MonthDay(month=11, day=1)
    deviation, fallen, dry_days, yesterday = 0.0, 0.0, 3, 0.0
    factor = 1.0
    fresh = math.sqrt(1 - truth.memory**2) * truth.night_to_night_sd_c
    weather_of: dict[dt.date, NightWeather] = {}
    night = first - RUN_IN_DAYS * ONE_DAY
    while night <= last:
        if (night.month, night.day) == (counted_from.month, counted_from.day):
            fallen = 0.0
            factor = truth.drought_factor if rng.random() < truth.drought_chance else 1.0
        rain = 0.0
        if rng.random() < truth.rain_chance:
            rain = round(factor * rng.expovariate(1 / truth.rain_mm), 1)
        dry_days = 0 if rain >= 1 else dry_days + 1
        fallen += rain
        deviation = truth.memory * deviation + rng.gauss(0, fresh)
        weather = NightWeather(
            evening_c=mean_evening(truth, night) + deviation + (0.8 if rain else 0.0),
            beaufort=_one_of(truth.beaufort_shares, rng),
            sky=_sky(rain, rng),
            rain_mm=rain,
            rain_48h_mm=round(rain + yesterday, 1),
            days_since_rain=dry_days,
            rain_since_autumn_mm=fallen,
        )
        yesterday = rain
        if night >= first:
            weather_of[night] = weather
        night += ONE_DAY
    return weather_of


def is_filled(filling: FillingTruth | None, night: dt.date, weather: NightWeather) -> bool:
    """Whether seasonal wetlands hold water: once winter rain has filled them, until
    early summer has dried them out."""
    if filling is None:
        return True
    wet_season = in_days(night, filling.counted_from, MonthDay(month=6, day=10))
    return wet_season and weather.rain_since_autumn_mm >= filling.mm


def water_tonight(
    hydroperiod: str, filling: FillingTruth | None, night: dt.date, weather: NightWeather
) -> str:
    """What an observer writes down of the water at a stop."""
    if hydroperiod == "always":
        return "full"
    if hydroperiod == "weeks":
        if weather.rain_48h_mm >= 15:
            return "full"
        return "pools" if weather.days_since_rain <= 7 else "dry"
    if filling is None:
        return "full" if night.month <= 5 else "pools"
    share = weather.rain_since_autumn_mm / filling.mm
    if not is_filled(filling, night, weather):
        return "pools" if share >= 0.5 else "dry"
    return "full"


def _sky(rain: float, rng: Random) -> SkyState:
    if rain and rng.random() < _RAINS_ON_IN_THE_EVENING:
        return SkyState.HEAVY_RAIN if rain > _DROWNS_OUT_CALLS_MM else SkyState.LIGHT_RAIN
    if rng.random() < 0.02:
        return SkyState.FOG
    shares = (0.15, 0.35, 0.5) if rain else (0.45, 0.35, 0.2)
    return _DRY_SKIES[_one_of(shares, rng)]


def _one_of(shares: tuple[float, ...], rng: Random) -> int:
    return rng.choices(range(len(shares)), weights=shares)[0]
