"""Publishing freezes the table; a correction is a new version with a reason."""

import datetime as dt
import hashlib
import tomllib
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import ProgrammingError, transaction

from surveys.fitting.stamps import VERSION
from surveys.models import Publication, VisitState
from surveys.publishing import csv
from surveys.publishing.closing import open_visits
from surveys.publishing.exceptions import (
    NothingChanged,
    NothingToPublish,
    ReasonNeeded,
    TableChanged,
)
from surveys.publishing.files import files_of
from surveys.publishing.method import CAVEATS, citation
from surveys.publishing.publish import preview, publish
from surveys.seasons.yearly import yearly_table
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_programme,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(programme, observer):
    (peeper,) = make_checklist(programme, "Pseudacris crucifer")
    route = make_route(programme, version=make_version(programme, source="Own field trials, 2001"))
    for year in (2022, 2023, 2024):
        make_accepted_visit(
            route, observer.person, night=dt.date(year, 4, 2), heard={1: {peeper: 1}}
        )
    return route


def test_freezes_every_season_up_to_the_chosen_one(programme, coordinator, route):
    publication = publish(coordinator, 2023)
    _, rows = csv.from_csv(publication.table_csv)
    assert [row[1] for row in rows] == ["2022", "2023"]
    assert (publication.version, publication.row_count, publication.visit_count) == (1, 2, 2)
    assert (
        publication.title
        == f"{programme.name}: calling survey data and trends, season years 2022 to 2023"
    )
    assert publication.sha256 == hashlib.sha256(publication.table_csv.encode()).hexdigest()
    assert publication.dictionary_csv == csv.dictionary_csv()


def test_the_method_travels_with_it(coordinator, route):
    method = publish(coordinator, 2024).method
    words = " ".join(method.split())
    for caveat in CAVEATS:
        assert caveat in words
    assert "version 1, in force from 2000-01-01" in words
    assert "Own field trials, 2001" in words
    assert "No visit of these season years was still in review." in words
    assert max(map(len, method.splitlines())) <= 100


def test_stays_the_same_when_the_data_change(coordinator, observer, route):
    publication = publish(coordinator, 2024)
    before = publication.table_csv
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    publication.refresh_from_db()
    assert publication.table_csv == before
    assert before != csv.table_csv(yearly_table(route.programme))
    with pytest.raises(ProgrammingError, match="Cannot update"), transaction.atomic():
        Publication.objects.update(title="Another")


def test_a_correction_is_a_new_version_with_a_reason(coordinator, observer, route):
    first = publish(coordinator, 2024)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    with pytest.raises(ReasonNeeded):
        publish(coordinator, 2024, "  ")
    second = publish(coordinator, 2024, "A late visit of May was accepted.")
    assert (second.version, second.reason) == (2, "A late visit of May was accepted.")
    assert second.sha256 != first.sha256
    assert second.visit_count == first.visit_count + 1


def test_the_same_table_is_not_published_twice(coordinator, route):
    publish(coordinator, 2024)
    with pytest.raises(NothingChanged):
        publish(coordinator, 2024, "Just because")


def test_a_season_without_counted_visits_is_refused(coordinator, route):
    with pytest.raises(NothingToPublish, match="2025"):
        publish(coordinator, 2025)


def test_only_what_was_looked_at_is_published(programme, coordinator, observer, route):
    seen = preview(programme, 2024).sha256
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    with pytest.raises(TableChanged):
        publish(coordinator, 2024, seen=seen)
    assert publish(coordinator, 2024, seen=preview(programme, 2024).sha256).version == 1


def test_only_coordinators_publish(observer, partner, route):
    for member in (observer, partner):
        with pytest.raises(PermissionDenied):
            publish(member, 2024)


def test_what_is_still_in_review(programme, coordinator, observer, route):
    for night, state in (
        (dt.date(2024, 5, 1), VisitState.SUBMITTED),
        (dt.date(2023, 5, 1), VisitState.SENT_BACK),
        (dt.date(2025, 5, 1), VisitState.SUBMITTED),
        (dt.date(2024, 5, 3), VisitState.DRAFT),
        (dt.date(2024, 5, 4), VisitState.SET_ASIDE),
    ):
        make_accepted_visit(
            route, observer.person, night=night, state=state, counts_in_trends=False
        )
    assert [visit.night.year for visit in open_visits(programme, 2024)] == [2023, 2024]
    assert "2 visit(s)" in " ".join(publish(coordinator, 2024).method.split())
    assert not open_visits(make_programme(), 2024)


def test_files_and_their_checksums(coordinator, route):
    *files, sums = files_of(publish(coordinator, 2024))
    listed = dict(reversed(line.split("  ")) for line in sums.content.decode().splitlines())
    assert listed == {file.name: hashlib.sha256(file.content).hexdigest() for file in files}
    assert len({file.name for file in files}) == 3


def test_citation_names_version_date_and_checksum(coordinator, route):
    publication = publish(coordinator, 2024)
    words = citation(publication)
    for part in (publication.title, "Version 1", publication.sha256, VERSION):
        assert part in words


def test_software_is_the_version_of_the_project():
    project = tomllib.loads(
        (Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8")
    )["project"]
    assert f"Duskpool {project['version']}" == VERSION
