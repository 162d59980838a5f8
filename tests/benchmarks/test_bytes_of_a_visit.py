"""How much of the database a visit takes, table by table: deploy/sizes.md counts with it.

`pytest -m slow -s tests/benchmarks/test_bytes_of_a_visit.py` writes the table.
"""

import re

import pytest
from django.db import connection

from accounts.models import Role
from surveys.models import StoredFinding, Visit
from surveys.protocol.values import Severity
from surveys.visits.verbs import accept, submit_visit
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import make_draft, plain_cells, type_cells

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db(transaction=True), pytest.mark.slow]

VISITS, STOPS = 150, 10
# Eleven species at ten stops, nine of them written down at each: as in the nation of test_nation.
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJK"]
HEARD = 9
SAVES = 10
HISTORY = re.compile("(event|history)(_|$)")
_SIZES = """
SELECT relname, pg_table_size(oid), pg_indexes_size(oid) FROM pg_class
WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace
"""


def sizes() -> dict[str, tuple[int, int]]:
    with connection.cursor() as cursor:
        cursor.execute(_SIZES)
        return {name: (rows, indexes) for name, rows, indexes in cursor.fetchall()}


def settled() -> dict[str, tuple[int, int]]:
    """Without what is left behind by changes."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM FULL")
    return sizes()


def survey(program, species, routes) -> None:
    """As a phone does it: the sheet arrives in parts, is sent, and a coordinator accepts it."""
    observer, coordinator = make_member(program), make_member(program, Role.COORDINATOR)
    for number, route in enumerate(routes):
        heard = {
            stop: {
                one: 1 + (stop + place + number) % 3
                for place, one in enumerate(species)
                if (stop + place + number) % len(species) < HEARD
            }
            for stop in range(1, STOPS + 1)
        }
        cells = list(plain_cells(STOPS, heard).items())
        part = -(-len(cells) // SAVES)
        visit = make_draft(observer, route, dict(cells[:part]))
        for first in range(part, len(cells), part):
            visit = type_cells(observer, visit, dict(cells[first : first + part])).visit
        visit = submit_visit(observer, visit.pk, revision=visit.revision)
        StoredFinding.objects.filter(visit=visit, severity=Severity.QUERY).delete()
        accept(coordinator, visit.pk, revision=visit.revision)


def test_bytes_of_a_visit():
    program = make_program()
    species = make_checklist(program, *SPECIES)
    version = make_route(program, stops=STOPS).protocol.versions.get()
    routes = [make_route(program, version=version, stops=STOPS) for _ in range(VISITS)]
    before = settled()
    survey(program, species, routes)
    after = settled()
    assert Visit.objects.filter(state="accepted").count() == VISITS
    grown = {
        name: [(now - was) / VISITS for now, was in zip(after[name], before[name], strict=True)]
        for name in after
    }
    print()  # noqa: T201
    for name, (rows, indexes) in sorted(grown.items(), key=lambda one: -sum(one[1])):
        if rows + indexes >= 1:
            print(f"{name}: {rows:.0f} bytes of rows, {indexes:.0f} of indexes")  # noqa: T201
    total = sum(map(sum, grown.values()))
    history = sum(sum(one) for name, one in grown.items() if HISTORY.search(name))
    print(f"a visit: {total:.0f} bytes, of which history {history:.0f}")  # noqa: T201
    # As deploy/sizes.md has them.
    assert total < 60_000
    assert history < total - history
