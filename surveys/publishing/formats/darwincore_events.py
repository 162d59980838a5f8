"""The events of a Darwin Core Archive: visits, and as their children the listening periods."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from surveys.publishing.frozen import (
    About,
    Frozen,
)
from surveys.publishing.routeplaces import with_reach

ROUTE_PLACE = (
    "The middle of the stops of the route as they are given; all of them lie within the "
    "uncertainty. The listening periods of the visit have the place of each stop."
)


def events(
    frozen: Frozen, visits: Mapping[str, Any], periods: dict[str, str]
) -> Iterator[dict[str, Any]]:
    """Visits, then listening periods; fills `periods` with the visit of each."""
    about = frozen.about
    stops = {row["stop"]: row for row in frozen.records("stops")}
    stops_of: dict[str, list[dict[str, Any]]] = {}
    for stop in stops.values():
        stops_of.setdefault(stop["route"], []).append(stop)
    routes = {
        row["route"]: with_reach(row, stops_of.get(row["route"], ()))
        for row in frozen.records("routes")
    }
    limits = {
        (row["protocol"], row["version"]): row["limits"] for row in frozen.records("protocols")
    }
    spans: dict[str, _Span] = {}
    for period in frozen.records("periods"):
        periods[period["period"]] = period["visit"]
        spans[period["visit"]] = spans.get(period["visit"], _Span()).with_period(period)
    zone = ZoneInfo(about.time_zone)
    for visit in visits.values():
        yield _visit_event(about, visit, routes[visit["route"]], spans, limits, zone)
    for period in frozen.records("periods"):
        visit, stop = visits[period["visit"]], stops[period["stop"]]
        yield _period_event(about, period, visit, stop, routes[visit["route"]], zone)


@dataclass(frozen=True, kw_only=True)
class _Span:
    """What the listening periods of a visit come to."""

    count: int = 0
    minutes: float = 0.0
    first: dt.datetime | None = None
    last: dt.datetime | None = None

    def with_period(self, period: Mapping[str, Any]) -> _Span:
        started, finished = period["started_at"], period["finished_at"]
        return _Span(
            count=self.count + 1,
            minutes=self.minutes + (_minutes(period) or 0.0),
            first=min((time for time in (self.first, started) if time), default=None),
            last=max((time for time in (self.last, finished) if time), default=None),
        )


def _visit_event(
    about: About,
    visit: Mapping[str, Any],
    route: Mapping[str, Any],
    spans: Mapping[str, _Span],
    limits: Mapping[tuple[str, int], str | None],
    zone: ZoneInfo,
) -> dict[str, Any]:
    span = spans.get(visit["visit"], _Span())
    version = visit["protocol"], visit["protocol_version"]
    words = limits.get(version)
    return {
        "eventID": visit["visit"],
        "eventType": "survey",
        "eventDate": _date(visit, span.first, span.last, zone),
        "samplingProtocol": _protocol(visit) + (f": {words}" if words else ""),
        **_sample(span.minutes or None),
        "samplingEffort": f"{_number(span.minutes)} minutes of listening at {span.count} stops",
        "eventRemarks": _remarks(visit),
        **_area(about, route),
        "locationID": f"{about.slug}:{route['route']}",
        "locality": route["name"],
        **_route_place(route),
    }


def _route_place(route: Mapping[str, Any]) -> dict[str, Any]:
    """A visit has no place of its own: a circle that holds all stops of its route, as far as
    these are shared; nothing where they are not."""
    sharing = {
        "dataGeneralizations": route["data_generalizations"],
        "informationWithheld": route["information_withheld"],
    }
    if route["coordinate_uncertainty_m"] is None:
        return sharing
    return {
        "decimalLatitude": route["latitude"],
        "decimalLongitude": route["longitude"],
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": route["coordinate_uncertainty_m"],
        "georeferenceRemarks": ROUTE_PLACE,
        **sharing,
    }


def _period_event(
    about: About,
    period: Mapping[str, Any],
    visit: Mapping[str, Any],
    stop: Mapping[str, Any],
    route: Mapping[str, Any],
    zone: ZoneInfo,
) -> dict[str, Any]:
    minutes = _minutes(period)
    known = stop["latitude"] is not None
    return {
        "eventID": period["period"],
        "parentEventID": visit["visit"],
        "eventType": "siteVisit",
        "eventDate": _date(visit, period["started_at"], period["finished_at"], zone),
        "samplingProtocol": _protocol(visit),
        **_sample(minutes),
        "samplingEffort": f"{_number(minutes)} minutes of listening" if minutes else None,
        "habitat": _habitat(stop),
        "eventRemarks": f"{_remarks(visit)}; stop {stop['number']} of its route",
        **_area(about, route),
        "locationID": f"{about.slug}:{stop['stop']}",
        "locality": stop["name"],
        "decimalLatitude": stop["latitude"],
        "decimalLongitude": stop["longitude"],
        "geodeticDatum": "EPSG:4326" if known else None,
        "coordinateUncertaintyInMeters": stop["coordinate_uncertainty_m"],
        "coordinatePrecision": stop["grid_degrees"],
        "dataGeneralizations": stop["data_generalizations"],
        "informationWithheld": stop["information_withheld"],
    }


def _area(about: About, route: Mapping[str, Any]) -> dict[str, Any]:
    """Areas from large to small, as the definition of higherGeography asks. Whether one of them is
    a state or a county, nobody has said."""
    areas = dict.fromkeys(filter(None, (about.region, route["region"])))
    return {
        "higherGeography": " | ".join(areas) or None,
        "countryCode": about.country_code or None,
    }


def _protocol(visit: Mapping[str, Any]) -> str:
    return f"{visit['protocol']}, version {visit['protocol_version']}"


def _remarks(visit: Mapping[str, Any]) -> str:
    """The night matters: a visit after midnight belongs to the evening before."""
    window = f"; window {visit['window']}" if visit["window"] else ""
    return (
        f"Night of {visit['night'].isoformat()}{window}; visit {visit['visit_number']} "
        f"of season year {visit['season_year']}"
    )


def _habitat(stop: Mapping[str, Any]) -> str | None:
    parts = [stop["habitat"]]
    if stop["hydroperiod"]:
        parts.append(f"holds water: {stop['hydroperiod'].replace('_', ' ')}")
    if stop["fish"]:
        parts.append(f"fish: {stop['fish']}")
    return "; ".join(part for part in parts if part) or None


def _sample(minutes: float | None) -> dict[str, Any]:
    """Size and unit stand together or not at all, as the standard asks."""
    if minutes is None:
        return {}
    return {"sampleSizeValue": _number(minutes), "sampleSizeUnit": "minute"}


def _minutes(period: Mapping[str, Any]) -> float | None:
    started, finished = period["started_at"], period["finished_at"]
    if started is None or finished is None:
        return None
    return ((finished - started).total_seconds() - (period["paused"] or 0)) / 60


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")


def _date(
    visit: Mapping[str, Any], first: dt.datetime | None, last: dt.datetime | None, zone: ZoneInfo
) -> str:
    """An ISO 8601 interval in local time with its offset, so that the day reads as it was lived;
    the night alone where no time is known."""
    times = [time.astimezone(zone).isoformat() for time in (first, last) if time is not None]
    return "/".join(dict.fromkeys(times)) or visit["night"].isoformat()
