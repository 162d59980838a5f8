"""Frozen tables written by hand: an invented program, with every kind of cell.

For tests of formats, which need nothing but the tables. Some of the texts are hostile on purpose;
no program could be set up with them.
"""

import datetime as dt
import itertools
from collections.abc import Iterable, Mapping
from pathlib import Path
from uuid import UUID

from surveys.publishing.frozen import (
    About,
    Frozen,
    Value,
    write_table,
)
from surveys.publishing.tables import TABLES

HOSTILE = (
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://example.org","seen")',
    "=1+1",
    "+1",
    "-1",
    "@SUM(1)",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "'=1+1",
    "''",
    '"quoted", then a comma',
    "two\nlines",
    "two\r\nlines",
    " spaces around ",
    "_x0041_",
    "1.50",
    "TRUE",
    "2024-04-01",
    "http://example.org/",
    "mailto:a@example.org",
    "<b>&amp;</b>",
    '<r><t>a</t></r></is></c><c r="A9"><f>1+1</f><v>2</v></c><c><is><r></r>',
    "ø 蛙 🐸",
)
SPECIES = ("Pseudacris crucifer", "Lithobates sylvaticus")
UTC = dt.UTC
Row = Mapping[str, Value]


def about(**changes) -> About:
    return About(
        **{
            "program": "Hollow Creek Night Count",
            "slug": "hollow-creek",
            "region": "Hollow County",
            "country_code": "US",
            "time_zone": "America/Chicago",
            "contact_email": "count@example.org",
            "season_year": 2025,
            "first_year": 2024,
            "version": 2,
            "title": "Hollow Creek Night Count, season years 2024 to 2025",
            "reason": "A visit was entered for the wrong night.",
            "published_at": dt.datetime(2025, 9, 3, 14, 5, 6, tzinfo=UTC),
            "software": "Duskpool 0.1.0",
            "method": "How it was made\n\n- Only accepted visits.\n=not a formula\n",
            "license": "CC-BY-4.0",
            "license_url": "https://creativecommons.org/licenses/by/4.0/",
            "observers": ("Ada Marsh", "Wren Holloway"),
            "observer_count": 3,
            "citation": "Hollow Creek Night Count (2025). Version 2.",
            "url": "https://example.org/hollow-creek/publications/2025/2/",
            **changes,
        }
    )


def freeze_rows(folder: Path, rows: Mapping[str, Iterable[Row]], **changes) -> Frozen:
    """Frozen tables from rows by column; a column that is not given is blank."""
    for table in TABLES:
        write_table(
            folder,
            table,
            ([row.get(name) for name in table.header] for row in rows.get(table.name, ())),
        )
    return Frozen(about=about(**changes), folder=folder)


def frozen_by_hand(folder: Path, **changes) -> Frozen:
    """Two routes of three stops, one of them withheld; two species, two years, two visits a
    year. The names of stops, habitats and windows are `HOSTILE` in turn."""
    texts = itertools.cycle(HOSTILE)
    routes = [
        {"route": "R01", "name": next(texts), "region": "North", "protocol": "Roadside",
         "stops": 3, "latitude": 44.505, "longitude": -93.105},
        {"route": "R02", "name": None, "region": "South", "protocol": "Roadside", "stops": 3},
    ]  # fmt: skip
    stops = [_stop(route, number, next(texts), next(texts)) for route, number in _places()]
    visits = [
        _visit(number, route, year, visit, next(texts), next(texts))
        for number, (route, year, visit) in enumerate(
            itertools.product(("R01", "R02"), (2024, 2025), (1, 2))
        )
    ]
    periods = [
        _period(visit, stop)
        for visit in visits
        for stop in stops
        if stop["route"] == visit["route"]
    ]
    calls = [
        {
            "period": period["period"],
            "species": species,
            "call_index": _index(number, column),
            **_confirmed(_index(number, column)),
            # Of the group, every third was written down as one of its members.
            "recorded_index": None
            if column and number % 3 == 0
            else _index(number, column) or None,
        }
        for number, period in enumerate(periods)
        for column, species in enumerate(SPECIES)
    ]
    # One that was not heard within the listening radius was heard beyond it.
    next(call for call in calls if call["call_index"] == 0)["far_index"] = 2
    return freeze_rows(
        folder,
        {
            "routes": routes,
            "stops": stops,
            "protocols": [
                {"protocol": "Roadside", "version": 1, "in_force_from": dt.date(2020, 1, 1),
                 "limits": "Wind at most 3 Beaufort; air at least 5.6 °C", "source": HOSTILE[0]},
            ],
            "checklist": [
                {"species": SPECIES[0], "code": "PSCR", "common_name": "Spring peeper",
                 "is_group": False, "calls_from": "03-01", "calls_to": "06-15"},
                {"species": SPECIES[1], "code": "LISY", "common_name": HOSTILE[1],
                 "is_group": True, "members": f"{SPECIES[0]}; Invented silvatica",
                 "listed_from": dt.date(2024, 1, 1)},
            ],
            "visits": visits,
            "periods": periods,
            "calls": calls,
            "own_fields": [
                {"field": "salinity", "name": "Salinity", "kind": "number", "asked": "stop",
                 "unit": "ppt", "minimum": 0.0, "maximum": 45.5, "meaning": HOSTILE[1]},
                {"field": "shore", "name": HOSTILE[0], "kind": "choice", "asked": "stop",
                 "choices": f"reed = Reed bed; open = {HOSTILE[2]}"},
                {"field": "mown", "name": "Ditch mown", "kind": "yes_no", "asked": "visit"},
            ],
            "own_values": [
                *({"event": visit["visit"], "visit": visit["visit"], "field": "mown",
                   "value": "true"} for visit in visits),
                *({"event": period["period"], "visit": period["visit"], "field": field,
                   "value": value}
                  for period in periods
                  for field, value in (("salinity", "12.5"), ("shore", "open"))),
            ],
            "yearly": _yearly(),
            "occupancy": _occupancy(),
            "trends": [
                {"species": SPECIES[0], "site": "stop", "first_year": 2024, "last_year": 2025,
                 "change": -2.0999999999999996, "change_low": -5.25, "change_high": 1 / 3,
                 "flags": "too-few-data"},
                {"species": SPECIES[1], "site": "stop", "flags": "too-few-data; =1+1"},
            ],
            "null_runs": [
                {"species": SPECIES[0], "runs": 200, "fell": 4, "rose": 6,
                 "false_alarms": 0.05, "false_alarms_low": 0.027, "false_alarms_high": 0.09},
                {"species": SPECIES[1], "runs": 0, "fell": 0, "rose": 0},
            ],
        },
        **changes,
    )  # fmt: skip


def _places() -> Iterable[tuple[str, int]]:
    return itertools.product(("R01", "R02"), (1, 2, 3))


def _stop(route: str, number: int, name: str, habitat: str) -> Row:
    row = {
        "stop": f"{route}-{number}",
        "route": route,
        "number": number,
        "name": name,
        "habitat": habitat,
        "active_from": dt.date(2020, 4, number),
        "fish": ("yes", "no", "unknown")[number - 1],
    }
    if route == "R02":
        return {**row, "information_withheld": "Coordinates are withheld."}
    return {
        **row,
        "latitude": 44.495 + number / 100,
        "longitude": -93.095 - number / 100,
        "coordinate_uncertainty_m": 721.3 + number,
        "grid_degrees": 0.01,
        "data_generalizations": "Coordinates are the middle of a cell of 0.01 degrees.",
    }


def _visit(number: int, route: str, year: int, visit: int, window: str, observer: str) -> Row:
    return {
        "visit": str(UUID(int=1000 + number)),
        "route": route,
        "night": dt.date(year, 3 + visit, 10),
        "season_year": year,
        "visit_number": visit,
        "day": 70 + 30 * visit,
        "window": window,
        "protocol": "Roadside",
        "protocol_version": 1,
        "observer": observer,
        "start_air_temperature": -1.5 + visit,
        "start_beaufort": 2,
        "rain_48h": 0.1 + 0.2,
    }


def _period(visit: Row, stop: Row) -> Row:
    started = dt.datetime.combine(visit["night"], dt.time(20, 59, 30), UTC)
    return {
        "period": str(UUID(int=UUID(visit["visit"]).int * 100 + stop["number"])),
        "visit": visit["visit"],
        "stop": stop["stop"],
        "started_at": started + dt.timedelta(minutes=10 * stop["number"]),
        "finished_at": started + dt.timedelta(minutes=10 * stop["number"] + 5),
        "paused": 0,
        "minutes_after_sunset": -0.25,
        "air_temperature": 7.0,
        "water_tonight": ("dry", "pools", "full")[stop["number"] - 1],
    }


def _index(number: int, column: int) -> int | None:
    """Every index and every blank turns up, in no order."""
    some = (0, None, None, 0, 2, None, 0, 1, None, 3, 0)
    return some[(number * (column + 2) + number // 6) % len(some)]


def _confirmed(index: int | None) -> Row:
    """Full choruses were heard again in a recording; what was not heard has a blank."""
    if not index:
        return {}
    if index < 3:
        return {"confirmed_by_ear": False, "checked_by_ear": index == 2}
    return {"confirmed_by_ear": True, "checked_by_ear": True, "confirmed_by": "Wren Holloway"}


def _yearly() -> list[Row]:
    return [
        {
            "species": species, "season_year": year, "routes": 2, "stops": 6, "visits": 4,
            "periods": 12, "stops_detected": 4, "naive_occupancy": 2 / 3, "naive_low": 0.3,
            "naive_high": 0.9032219384, "mean_index": 1.5, "first_night": dt.date(year, 4, 10),
        }
        for species in SPECIES
        for year in (2024, 2025)
    ]  # fmt: skip


def _occupancy() -> list[Row]:
    return [
        {"species": species, "site": site, "season_year": year, "sites": 6, "sites_heard": 4,
         "naive": 2 / 3, "occupancy": 1.0, "method": "MacKenzie et al. 2002"}
        for species in SPECIES
        for site in ("stop", "route")
        for year in (2024, 2025)
    ]  # fmt: skip
