"""How a case of a rule is written: what differs from a plain evening on which no rule is broken.

The plain evening: the night of 15 April 2024 in Chicago's zone, sunset at 19:41; a protocol that
asks for five minutes of listening in April and for nothing else; a route of one stop, listened to
from 20:31 to 20:36. Values have the plain form of surveys/protocol/plain.py, except that a time of
day such as `20:31` or `00:10:30` stands for that time by the clock on the night of the case.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from surveys.protocol.plain import from_plain
from surveys.protocol.telling import Reader
from surveys.protocol.values import Case, Where

ZONE = "America/Chicago"
SUNSET = "2024-04-16T00:41:00Z"
CHECKLIST = [
    {
        "code": "pseudacris-crucifer",
        "common_name": "Spring peeper",
        "scientific_name": "Pseudacris crucifer",
        "season": ["03-01", "05-31"],
    },
    {
        "code": "pseudacris-ornata",
        "common_name": "Ornate chorus frog",
        "scientific_name": "Pseudacris ornata",
        "season": ["11-01", "03-31"],
    },
    {
        "code": "scaphiopus-holbrookii",
        "common_name": "Eastern spadefoot",
        "scientific_name": "Scaphiopus holbrookii",
    },
]
_FIRST_START = dt.datetime(2024, 4, 15, 20, 31)
_STOP_TO_STOP = dt.timedelta(minutes=10)
_LISTENING = dt.timedelta(minutes=5)
_AS_USUAL = "as usual"
_TIMES = ("arrived_at", "started_at", "finished_at")


@dataclass(frozen=True)
class RuleCase:
    """One case: what the rule named `rule` is to find in it, written by hand.

    `plain` is the case in its plain form, with keys left out that take their default.
    """

    rule: str
    name: str
    breaks: tuple[Where, ...]
    plain: Mapping[str, Any]

    def read(self) -> Case:
        return from_plain(Case, self.plain, at="case")


@dataclass(frozen=True)
class _Row:
    name: str
    breaks: tuple[Where, ...]
    plain: Mapping[str, Any]


def case(
    name: str,
    *breaks: Where,
    night: str = "2024-04-15",
    periods: list[dict[str, Any]] | None = None,
    start: dict[str, Any] | None = None,
    end: dict[str, Any] | None = None,
    stops: int | list[tuple[float, float]] = 1,
    uses: Mapping[int, str] = MappingProxyType({}),
    checklist: list[dict[str, Any]] | None = None,
    windows: list[dict[str, Any]] | None = None,
    sunset: str | None = SUNSET,
    sky: dict[str, Any] | None = None,
    now: str = "2024-04-20T12:00:00Z",
    other_nights: list[str] | None = None,
    observer_qualified: bool | None = None,
    temperature_unit: str | None = None,
    distance_unit: str | None = None,
    own_fields: list[dict[str, Any]] | None = None,
    own_filled: list[str] | None = None,
    **limits: Any,
) -> _Row:
    """A case and where the rule is broken in it; no `breaks`: the rule is kept.

    `stops` is their number, in a row northward, or the latitude and longitude of each; `uses` those
    that are not in use on the night. Any other
    keyword is a field of the protocol.
    """
    places = (
        [(43.0731 + i / 100, -89.4012) for i in range(stops)] if isinstance(stops, int) else stops
    )
    visit = {"night": night, "periods": [listened(1)] if periods is None else periods}
    visit["periods"] = [_with_instants(period, night) for period in visit["periods"]]
    route = {
        "code": "R1",
        "name": "Long Meadow",
        "time_zone": ZONE,
        "stops": [
            {
                "number": number,
                "name": f"Stop {number}",
                "place": {"latitude": round(latitude, 6), "longitude": longitude},
                **_known(use=uses.get(number)),
            }
            for number, (latitude, longitude) in enumerate(places, start=1)
        ],
    }
    if sky is None:
        sky = {str(stop["number"]): stop_sky(sunset) for stop in route["stops"]}
    protocol = {
        "name": "Example",
        "version": 1,
        "season_year_begins": "01-01",
        "windows": [window("Early", "04-01", "04-30")] if windows is None else windows,
        "listening_time": 300,
    }
    return _Row(
        name,
        breaks,
        {
            "visit": visit | _known(start=start, end=end, own_filled=own_filled),
            "route": route
            | _known(
                checklist=checklist,
                temperature_unit=temperature_unit,
                distance_unit=distance_unit,
                own_fields=own_fields,
            ),
            "protocol": protocol | limits,
            "sky": sky,
            "surroundings": {"now": now}
            | _known(other_nights=other_nights, observer_qualified=observer_qualified),
        },
    )


def rows(table: Mapping[str, list[_Row]]) -> tuple[RuleCase, ...]:
    """The cases of a table that leads from the code of a rule to its cases."""
    return tuple(
        RuleCase(code, f"{code}: {row.name}", row.breaks, row.plain)
        for code, cases in table.items()
        for row in cases
    )


def at(stop: int | None = None, field: str | None = None, species: str | None = None) -> Where:
    return Where(stop=stop, field=field, species=species)


def listened(
    stop: int, start: str | None = _AS_USUAL, end: str | None = _AS_USUAL, **more: Any
) -> dict[str, Any]:
    """A stop that was listened to: for five minutes, begun ten minutes after the stop before it.

    A time that is None was not written down.
    """
    begin = _FIRST_START + (stop - 1) * _STOP_TO_STOP
    times = {
        "started_at": f"{begin:%H:%M}" if start == _AS_USUAL else start,
        "finished_at": f"{begin + _LISTENING:%H:%M}" if end == _AS_USUAL else end,
    }
    return {"stop": stop} | _known(**times) | more


def skipped(stop: int, **more: Any) -> dict[str, Any]:
    return {"stop": stop, "status": "skipped", **more}


def call(species: str, index: int | None, **more: Any) -> dict[str, Any]:
    return {"species": species, "index": index, **more}


def window(name: str, opens: str, closes: str, **limits: Any) -> dict[str, Any]:
    return {"name": name, "opens": opens, "closes": closes, **limits}


def celsius(value: str) -> dict[str, str]:
    return {"value": value, "unit": "C"}


def fahrenheit(value: str) -> dict[str, str]:
    return {"value": value, "unit": "F"}


def stop_sky(sunset: str | None) -> dict[str, Any]:
    return {"sunset": sunset}


def _known(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not None}


def _with_instants(period: dict[str, Any], night: str) -> dict[str, Any]:
    return {
        name: _instant(value, night) if name in _TIMES else value for name, value in period.items()
    }


def _instant(time: str, night: str) -> str:
    """The instant of a time of day on a night, which lasts from noon to noon."""
    if "T" in time:
        return time
    clock = dt.time.fromisoformat(time)
    date = dt.date.fromisoformat(night) + dt.timedelta(days=clock.hour < 12)
    instant = dt.datetime.combine(date, clock, ZoneInfo(ZONE)).astimezone(dt.UTC)
    return instant.isoformat().replace("+00:00", "Z")


def reader_of(case: Case) -> Reader:
    """Whoever reads in the units of the case's route."""
    route = case.route
    return Reader(
        time_zone=route.time_zone,
        temperature_unit=route.temperature_unit,
        distance_unit=route.distance_unit,
        species={species.code: species.common_name for species in route.checklist},
    )
