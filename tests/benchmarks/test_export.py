"""An export of live call records against COPY … TO STDOUT of the same query.

Time as a ratio within one run, memory as the growth of the resident set of a process that does
nothing but stream, in each format. A million rows carry the mark `slow`; the default is smaller.
"""

import json
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from surveys.exports.records import (
    CALLS,
    RecordFilter,
    statement,
)
from surveys.exports.writing import EXPORT_FORMATS
from surveys.models import Program
from tests.support.builders import make_program
from tests.support.many_visits import fill

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db(transaction=True)]

MOST_TIMES = 2.5
MOST_MIB = 150
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJKLMNOPQRST"]
RUNS = 3

# Streams exports to nowhere, each in a process forked for it, and says by how much that grew, in
# MiB. The mark of getrusage would not do: it is inherited from the process that started this one.
STREAM = """
import json, os, re, sys
from pathlib import Path
import django
django.setup()
from django.db import connection
connection.settings_dict["NAME"] = sys.argv[1]
from surveys.models import Program
from surveys.exports.writing import EXPORT_FORMATS
from surveys.exports.records import CALLS, RecordFilter, statement

def status(name):
    return int(re.search(name + r":\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024

program = Program.objects.get(slug=sys.argv[2])
connection.close()
for name in sys.argv[3:]:
    if child := os.fork():
        if os.waitpid(child, 0)[1]:
            sys.exit(name)
        continue
    Path("/proc/self/clear_refs").write_text("5")  # the highest mark so far is forgotten
    before = status("VmRSS")
    size = 0
    found = statement(program, CALLS, RecordFilter(), exact=False)
    for block in EXPORT_FORMATS[name].write(CALLS, found):
        size += len(block)
    print(json.dumps({"grown": status("VmHWM") - before, "bytes": size}), flush=True)
    os._exit(0)
"""


def filled(routes: int, years: int) -> Program:
    """`routes` × 10 stops × `years` × 3 visits × 20 species, four of five of them heard."""
    program = make_program()
    fill(program, species=SPECIES, routes=routes, years=range(2024 - years, 2024))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return program


def copied(program: Program) -> tuple[int, int]:
    """Rows and bytes of the same query by COPY, read by a cursor that does nothing else."""
    found = statement(program, CALLS, RecordFilter(), exact=False)
    rows = size = 0
    with connection.cursor() as cursor:
        copy = f"COPY ({found.sql}) TO STDOUT WITH (FORMAT csv, HEADER)"
        with cursor.copy(copy, found.parameters) as blocks:
            for block in blocks:
                rows += 1
                size += len(block)
    return rows - 1, size


def exported(program: Program, name: str) -> int:
    found = statement(program, CALLS, RecordFilter(), exact=False)
    return sum(len(block) for block in EXPORT_FORMATS[name].write(CALLS, found))


def grown(program: Program, names: list[str]) -> dict[str, dict[str, float]]:
    """By name of the format."""
    told = subprocess.run(
        [sys.executable, "-c", STREAM, connection.settings_dict["NAME"], program.slug, *names],
        cwd=Path(settings.BASE_DIR),
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(zip(names, map(json.loads, told.stdout.splitlines()), strict=True))


@pytest.mark.parametrize(
    ("routes", "years", "rows"),
    [
        pytest.param(5, 10, 30_000, id="30 thousand rows"),
        pytest.param(60, 28, 1_000_000, id="a million rows", marks=pytest.mark.slow),
    ],
)
def test_exports_stream(routes, years, rows, record_property):
    program = filled(routes, years)
    count, size = copied(program)
    assert count >= rows
    names = list(EXPORT_FORMATS)
    times: dict[str, list[float]] = {name: [] for name in ("copy", *names)}
    for _ in range(RUNS):
        for name in times:
            begun = time.perf_counter()
            if name == "copy":
                assert copied(program) == (count, size)
            else:
                assert exported(program, name) > 0
            times[name].append(time.perf_counter() - begun)
    floor = statistics.median(times["copy"])
    told = [f"{count} rows, {size / 1e6:.0f} MB; COPY {floor:.2f} s"]
    ratios, memory = {}, grown(program, names)
    for name in names:
        ratios[name] = statistics.median(times[name]) / floor
        told.append(f"{name}: {ratios[name]:.2f} x COPY, + {memory[name]['grown']:.0f} MiB")
    record_property("export", "; ".join(told))
    assert max(ratios.values()) <= MOST_TIMES, told
    assert max(one["grown"] for one in memory.values()) < MOST_MIB, told
