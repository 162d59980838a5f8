"""The examples on the pages, run by R and by Python against a live server.

R is the second program that reads what is published: its own reader of CSV, its own arithmetic.
Its base packages alone are used (R Core Team; the version stands in every failure).
"""

import csv
import io
import urllib.request
from collections import defaultdict
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from accounts.models import (
    Membership,
    Role,
    Scope,
)
from accounts.tokens import make_token
from surveys.models import (
    Program,
    PublicationAudience,
    Visit,
)
from tests.support.builders import make_member
from tests.support.examples import (
    examples_in,
    require_r,
    run_python,
    run_r,
)
from tests.support.frozen import small_program
from tests.support.publishing import publish_now
from tests.support.served import session_cookie

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def program(db: None) -> Program:
    program = small_program()
    program.publication_audience = PublicationAudience.PUBLIC
    program.save()
    return program


@pytest.fixture
def coordinator(program: Program) -> Membership:
    return make_member(program, Role.COORDINATOR)


def read(url: str, **headers: str) -> str:
    with urllib.request.urlopen(urllib.request.Request(url, headers=headers)) as answer:
        return answer.read().decode()


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def unique_visits(rows: list[dict[str, str]]) -> list[str]:
    return list(dict.fromkeys(row["visit"] for row in rows))


def same(found: str, expected: str) -> bool:
    """R writes numbers with 15 significant digits (?write.csv)."""
    try:
        return float(found) == pytest.approx(float(expected), rel=1e-14)
    except ValueError:
        return found == expected


def test_those_of_a_publication(coordinator, live_server, tmp_path: Path) -> None:
    require_r()
    publication = publish_now(coordinator, 2024)
    base = f"{live_server.url}/published/{coordinator.program.slug}/2024/1/"
    page = read(base)
    occupancy = rows_of(read(f"{base}files/data/occupancy.csv"))

    (in_r,) = examples_in(page, "R")
    printed, found = run_r(in_r, tmp_path)
    expected = [row for row in occupancy if (row["site"], row["season_year"]) == ("stop", "2024")]
    assert len(expected) >= 3
    assert "Pseudacris crucifer" in printed
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert list(one) == list(other)
        assert not [name for name in one if not same(one[name], other[name])]

    reading, checking = examples_in(page, "Python")
    assert run_python(reading, tmp_path).splitlines() == [
        " ".join(row[name] for name in ("species", "site", "season_year", "occupancy"))
        for row in occupancy
    ]
    files = publication.files.filter(audience="open").exclude(kind="SHA256SUMS.txt")
    assert run_python(checking, tmp_path).splitlines() == [f"same {file.kind}" for file in files]


def test_those_of_a_token(coordinator, live_server, tmp_path: Path) -> None:
    require_r()
    member = make_member(coordinator.program, Role.PARTNER)
    secret = make_token(member, name="yearly report", scope=Scope.RECORDS, days=30).secret
    client = Client()
    client.force_login(member.person)
    slug = member.program.slug
    page = read(
        f"{live_server.url}{reverse('web:tokens', args=[slug])}", Cookie=session_cookie(client)
    )
    export = f"{live_server.url}/api/v1/{slug}/records/calls/export/?format=csv"
    calls = rows_of(read(export, Authorization=f"Bearer {secret}"))

    (in_r,) = examples_in(page, "R")
    _, found = run_r(in_r.replace("YOUR-TOKEN", secret), tmp_path)
    heard: dict[tuple[str, str], list[bool]] = defaultdict(list)
    for row in calls:
        if row["call_index"]:
            heard[row["species"], row["season_year"]].append(int(row["call_index"]) > 0)
    shares = {(row["species"], row["season_year"]): float(row["call_index > 0"]) for row in found}
    assert shares == {
        key: pytest.approx(sum(values) / len(values), rel=1e-14) for key, values in heard.items()
    }

    in_python, keeping = examples_in(page, "Python")
    lines = run_python(in_python.replace("YOUR-TOKEN", secret), tmp_path).splitlines()
    # Python says None where a cell is blank.
    assert lines == [
        " ".join(row[name] or "None" for name in ("night", "stop", "species", "call_index"))
        for row in calls
        if row["season_year"] == "2024"
    ]
    assert len(lines) > 10

    stopped, *others = unique_visits(calls)
    Visit.objects.get(pk=stopped).delete()
    lines = run_python(keeping.replace("YOUR-TOKEN", secret), tmp_path).splitlines()
    assert lines[0] == f"remove {stopped}"
    assert set(lines[1:]) == {f"replace {visit}" for visit in others}
    assert len(lines) == 1 + len(others)
