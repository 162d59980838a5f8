"""What each format of the tables costs: time against writing the tables as CSV from memory, and
memory against that of a small program.

Ratios and differences only. Tables and formats are timed in one run, warm, in turns, by their
medians; the most memory is that of a process of its own.
"""

import datetime as dt
import itertools
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import UUID

import pytest

from surveys.publishing.formats import (
    darwincore,
    datapackage,
    geojson,
    geopackage,
    xlsx,
)
from surveys.publishing.frozen import (
    Frozen,
    write_table,
)
from surveys.publishing.tables import TABLES
from tests.support.frozen_rows import (
    Row,
    freeze_rows,
)

pytestmark = pytest.mark.benchmark

STOPS, YEARS, VISITS, SPECIES = 10, range(2013, 2025), (1, 2, 3), 15
RUNS = 3
# How many times as long as the tables each may take.
MOST = {
    "tables.zip": (datapackage.write, 4),
    "places.gpkg": (geopackage.write, 10),
    "places.geojson": (geojson.write, 5),
    "tables.xlsx": (xlsx.write, 35),
    "darwin-core.zip": (darwincore.write, 35),
}


def frozen_of(folder: Path, routes: int) -> Frozen:
    """As many routes as asked, each ten stops over twelve years, three visits a year."""
    stops = [(f"R{route:03}", number) for route in range(routes) for number in range(1, STOPS + 1)]
    visits = [
        {
            "visit": str(UUID(int=number)),
            "route": f"R{route:03}",
            "night": dt.date(year, 3 + visit, 10),
            "season_year": year,
            "visit_number": visit,
            "day": 30 * visit,
            "protocol": "Roadside",
            "protocol_version": 1,
            "observer": "Observer 1",
            "start_air_temperature": 7.5,
        }
        for number, (route, year, visit) in enumerate(
            itertools.product(range(routes), YEARS, VISITS)
        )
    ]
    species = [f"Inventa species{number}" for number in range(SPECIES)]
    return freeze_rows(
        folder,
        {
            "routes": [_route(f"R{route:03}") for route in range(routes)],
            "stops": [_stop(route, number) for route, number in stops],
            "protocols": [
                {"protocol": "Roadside", "version": 1, "in_force_from": dt.date(2010, 1, 1)}
            ],
            "checklist": [
                {"species": name, "code": name[8:].upper(), "common_name": name} for name in species
            ],
            "visits": visits,
            "periods": _periods(visits),
            "calls": (
                {
                    "period": period["period"],
                    "species": name,
                    "call_index": (at + 3 * place) % 4,
                    "recorded_index": (at + 3 * place) % 4 or None,
                }
                for at, period in enumerate(_periods(visits))
                for place, name in enumerate(species)
            ),
        },
    )


def _periods(visits: list[Row]) -> Iterator[Row]:
    for visit in visits:
        for number in range(1, STOPS + 1):
            yield {
                "period": str(UUID(int=UUID(visit["visit"]).int * 100 + number)),
                "visit": visit["visit"],
                "stop": f"{visit['route']}_{number}",
                "started_at": dt.datetime.combine(visit["night"], dt.time(21), dt.UTC),
                "finished_at": dt.datetime.combine(visit["night"], dt.time(21, 5), dt.UTC),
                "minutes_after_sunset": 31.25,
                "air_temperature": 7.5,
                "beaufort": 1,
                "sky": "clear",
                "noise": "heard_through",
            }


def _route(code: str) -> Row:
    return {"route": code, "region": "North", "protocol": "Roadside", "stops": STOPS,
            "latitude": 44.0, "longitude": -93.0}  # fmt: skip


def _stop(route: str, number: int) -> Row:
    return {"stop": f"{route}_{number}", "route": route, "number": number, "latitude": 44.0,
            "longitude": -93.0 + number / 100, "coordinate_uncertainty_m": 700.0,
            "active_from": dt.date(2010, 1, 1)}  # fmt: skip


def _median_seconds(tasks: dict[str, Callable[[], object]]) -> dict[str, float]:
    times: dict[str, list[float]] = {name: [] for name in tasks}
    for run in range(RUNS + 1):
        for name, task in tasks.items():
            begun = time.perf_counter()
            task()
            if run:  # the first turn only warms up
                times[name].append(time.perf_counter() - begun)
    return {name: statistics.median(found) for name, found in times.items()}


@pytest.mark.parametrize("routes", [2, pytest.param(11, marks=pytest.mark.slow)])
def test_each_format_against_the_tables(routes: int, tmp_path: Path, record_property) -> None:
    """Two routes have 10,800 rows of calls, eleven 59,400."""
    frozen = frozen_of(tmp_path / "frozen", routes)
    held = {table: list(frozen.rows(table.name)) for table in TABLES}

    def write_tables() -> None:
        for table, rows in held.items():
            write_table(tmp_path / "again", table, rows)

    tasks = {"tables": write_tables} | {
        kind: lambda write=write, kind=kind: write(frozen, tmp_path / kind)
        for kind, (write, _) in MOST.items()
    }
    seconds = _median_seconds(tasks)
    tables = seconds.pop("tables")
    for kind, took in seconds.items():
        words = f"{kind}: {took:.2f} s, tables {tables:.2f} s, ratio {took / tables:.1f}"
        record_property(kind, words)
        assert took <= MOST[kind][1] * tables, words


PEAK = """
import sys
from pathlib import Path
import django
django.setup()
from surveys.publishing.frozen import Frozen
from tests.benchmarks.test_formats import MOST
from tests.support.frozen_rows import about
from tests.support.memory import peak_megabytes
folder = Path(sys.argv[1])
for kind, (write, _) in MOST.items():
    write(Frozen(about=about(), folder=folder), folder / kind)
print(int(peak_megabytes()))
"""


def _peak_mb(folder: Path, routes: int) -> int:
    frozen_of(folder, routes)
    done = subprocess.run(
        [sys.executable, "-c", PEAK, str(folder)],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "deploy.settings.test"},
        capture_output=True,
        text=True,
        check=True,
    )
    return int(done.stdout.splitlines()[-1])


@pytest.mark.parametrize(
    ("routes", "more_mb"), [(3, 25), pytest.param(186, 60, marks=pytest.mark.slow)]
)
def test_memory_hardly_grows_with_the_rows(
    routes: int, more_mb: int, tmp_path: Path, record_property
) -> None:
    """Three routes have 16,200 rows of calls, 186 have 1,004,400; one has 5,400."""
    small, large = _peak_mb(tmp_path / "small", 1), _peak_mb(tmp_path / "large", routes)
    words = f"most memory: {large} MB for {routes} routes, {small} MB for one"
    record_property("memory", words)
    assert large - small < more_mb, words
