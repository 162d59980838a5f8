"""Every page and read of a coordinator, in a small and in a large program among many.

`NATION=0.1 pytest -m slow -s tests/benchmarks/test_nation.py` writes tables of them at a tenth of
a nation of 40 programs: 2,495 routes, 187,000 visits, 1.9 million listening periods and 16.5
million call rows. What CI holds of it is in `test_season_page`.
"""

import os
from collections.abc import Iterator

import pytest
from django.test import Client

from surveys.models import CallIndex
from surveys.seasons.year_counts import count_again
from tests.benchmarks.nation.costs import Cost, cost_of, table
from tests.benchmarks.nation.inhabited import analyze, inhabited
from tests.integration.test_access import MAY_BE_UNREADY, World, address, rows
from tests.support.builders import make_program
from tests.support.many_visits import fill

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db, pytest.mark.slow]

SHARE = float(os.environ.get("NATION", "0.01"))
LARGEST, OTHERS = 600, [150] * 4 + [37] * 35
SMALL = 13
YEARS = range(2000, 2025)
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJK"]


def pages() -> Iterator[str]:
    """What a coordinator may read, apart from keys of one's own account."""
    for name, method, role, answer in rows():
        reads = (method, role, answer) == ("GET", "coordinator", "ok")
        if reads and name not in MAY_BE_UNREADY and not name.startswith("mfa_"):
            yield name


def costs(world: World, client: Client) -> dict[str, Cost]:
    return {name: cost_of(client, address(world, name)) for name in pages()}


def share_of(routes: int) -> int:
    return max(1, round(routes * SHARE))


def test_costs_in_a_nation(capsys):
    small = inhabited(species=SPECIES, routes=SMALL, years=YEARS)
    large = inhabited(species=SPECIES, routes=share_of(LARGEST), years=YEARS)
    for routes in OTHERS:
        fill(make_program(), species=SPECIES, routes=share_of(routes), years=YEARS)
    for world, _ in (small, large):
        count_again(world.members["coordinator"].program_id)
    analyze()
    with capsys.disabled():
        for what, one in ((f"{SMALL} routes", small), (f"{share_of(LARGEST)} routes", large)):
            print(f"\n{what} among {CallIndex.objects.count():,} call rows\n")  # noqa: T201
            print(table(costs(*one)))  # noqa: T201
