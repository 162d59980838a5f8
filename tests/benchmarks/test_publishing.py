"""Making a publication against what it cannot do without: the fits, and reading the same rows.

Time as ratios within one run, memory as the growth of the resident set of a process that does
nothing but freeze. A million rows of calls carry the mark `slow`; the default is smaller.
"""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from accounts.models import Role
from surveys.models import Program
from surveys.publishing.build import build
from surveys.publishing.publish import request_publication
from surveys.publishing.queries import CALLS
from surveys.trends.from_tables import fit_species, read_periods
from tests.benchmarks.test_export import filled
from tests.support.builders import make_member
from tests.support.frozen import (
    small_frozen,
    small_program,
)

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db(transaction=True)]

MOST_TIMES_FITS_AND_COPY = 4.0
MOST_MIB = 150

# Freezes the rows and says by how much the process grew, in MiB.
FREEZE = """
import json, re, sys, tempfile
import django
django.setup()
from pathlib import Path
from django.db import connection
from django.urls import reverse
from django.utils import timezone
connection.settings_dict["NAME"] = sys.argv[1]
from surveys.models import Program
from surveys.publishing.about import about_publication
from surveys.publishing.freeze import freeze, snapshot

def peak():
    # Of this program: what getrusage gives counts the process that started it, too.
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024

program = Program.objects.get(slug=sys.argv[2])
# Looking up the first address imports every page.
reverse("web:home")
before = peak()
with tempfile.TemporaryDirectory() as folder, snapshot():
    about = about_publication(program, 2023, version=1, reason="", published_at=timezone.now(),
                              site_url="")
    frozen = freeze(program, Path(folder), about)
    rows = sum(1 for _ in (frozen.folder / "data/calls.csv").open()) - 1
print(json.dumps({"grown": peak() - before, "rows": rows}))
"""


def copied(program: Program, season_year: int) -> None:
    given = {"program": program.pk, "season_year": season_year}
    with connection.cursor() as cursor, cursor.copy(f"COPY ({CALLS}) TO STDOUT", given) as blocks:
        for _ in blocks:
            pass


def test_a_publication_costs_little_more_than_its_fits_and_its_rows(tmp_path):
    """Tables only; each of the other formats has its own benchmark."""
    program = small_program()
    coordinator = make_member(program, Role.COORDINATOR)
    frozen = small_frozen(tmp_path, program=program)
    begun = time.perf_counter()
    list(fit_species(read_periods(frozen.folder / "data")))
    copied(program, 2024)
    floor = time.perf_counter() - begun
    run = request_publication(coordinator, 2024)
    begun = time.perf_counter()
    build(run, formats=())
    taken = time.perf_counter() - begun
    told = f"publication {taken:.2f} s, fits and COPY {floor:.2f} s, {taken / floor:.2f} times"
    print(told)  # noqa: T201 - the figures are the point
    assert taken <= MOST_TIMES_FITS_AND_COPY * floor, told


@pytest.mark.parametrize(
    ("routes", "years"),
    [(6, 5), pytest.param(84, 20, marks=pytest.mark.slow)],
)
def test_freezing_needs_little_memory(routes, years):
    """18,000 rows of calls by default, 1,008,000 when asked for."""
    program = filled(routes, years)
    told = json.loads(
        subprocess.run(
            [sys.executable, "-c", FREEZE, connection.settings_dict["NAME"], program.slug],
            cwd=Path(settings.BASE_DIR),
            capture_output=True,
            text=True,
            check=True,
        ).stdout
    )
    print(told)  # noqa: T201 - the figures are the point
    assert told["rows"] == routes * 10 * years * 3 * 20
    assert told["grown"] < MOST_MIB
