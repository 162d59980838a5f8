"""A large archive of past visits: a program with many routes, and its spreadsheet."""

import datetime as dt
from collections.abc import Iterator

from django.contrib.gis.geos import Point

from surveys.models import Program, Route, Stop
from tests.support.builders import make_checklist, make_version

STOPS, NIGHTS_A_YEAR = 10, 3
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJKL"]
_FIRST_YEAR = 1999
_HEADERS = ("Route", "Date", "Observer", "Stop", "Start time", "End time", "Air temp (F)", "Wind")
_NIGHTS = ((4, 2), (4, 28), (5, 25))
_HEARD_EVERY = 3


def make_archive_program(program: Program, *, routes: int) -> None:
    version = make_version(
        program,
        in_force_from=dt.date(1990, 1, 1),
        windows=[{"name": "Spring", "opens_month": 3, "opens_day": 15, "closes_month": 6}],
    )
    made = Route.objects.bulk_create(
        Route(
            program=program, protocol=version.protocol, code=f"A{number:03}", name=f"Way {number}"
        )
        for number in range(routes)
    )
    Stop.objects.bulk_create(
        Stop(
            route=route,
            number=stop,
            name=f"Stop {stop}",
            place=Point(-89.9 + 0.0125 * stop, 43 + 0.01 * number, srid=4326),
            active_from=dt.date(1990, 1, 1),
        )
        for number, route in enumerate(made)
        for stop in range(1, STOPS + 1)
    )
    make_checklist(program, *SPECIES)


def archive_rows(rows: int, *, routes: int) -> Iterator[list[str]]:
    """The names of the columns, then a row for each stop, visit by visit."""
    yield [*_HEADERS, *SPECIES]
    for number in range(rows):
        visit, stop = divmod(number, STOPS)
        route, time = visit % routes, visit // routes
        year, night = divmod(time, NIGHTS_A_YEAR)
        month, day = _NIGHTS[night]
        date = dt.date(_FIRST_YEAR + year, month, day + route % 3)
        begun = 30 + 8 * stop
        heard = [
            str(1 + (number + kind) % 3) if (number * 7 + kind * 5) % _HEARD_EVERY == 0 else "0"
            for kind in range(len(SPECIES))
        ]
        yield [
            f"A{route:03}",
            date.isoformat(),
            f"Observer {route % 40}",
            str(stop + 1),
            _clock(begun),
            _clock(begun + 5),
            str(45 + (visit + stop) % 20),
            str(visit % 3),
            *heard,
        ]


def archive_csv(rows: int, *, routes: int) -> bytes:
    return "\n".join(",".join(row) for row in archive_rows(rows, routes=routes)).encode()


def _clock(minutes: int) -> str:
    hours, minute = divmod(21 * 60 + minutes, 60)
    return f"{hours % 24:02}:{minute:02}"
