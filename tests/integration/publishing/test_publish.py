"""Publishing freezes the data; a correction is a new version with a reason."""

import datetime as dt
import hashlib
import tomllib
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import ProgrammingError, transaction
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.fitting.stamps import VERSION, software
from surveys.models import (
    Audience,
    BackgroundRun,
    Publication,
    PublicationFile,
    PublicationPiece,
    RunState,
    VisitState,
)
from surveys.publishing.build import build
from surveys.publishing.closing import missing_visits, open_visits, unsettled_queries
from surveys.publishing.exceptions import (
    AlreadyUnderWay,
    NothingChanged,
    NothingToPublish,
    ReasonNeeded,
    TableChanged,
)
from surveys.publishing.files import (
    CHECKSUMS,
    EXACT_CHECKSUMS,
    PIECE,
    download_name,
    file_of,
    files_of,
    open_file,
    text_of,
)
from surveys.publishing.formats.registry import Format
from surveys.publishing.method import CAVEATS
from surveys.publishing.publish import preview, request_publication
from surveys.publishing.reading import rows_of
from surveys.publishing.tables import TABLES
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
    make_version,
)
from tests.support.publishing import publish_now

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(program, observer):
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    route = make_route(program, version=make_version(program, source="Own field trials, 2001"))
    for year in (2022, 2023, 2024):
        make_accepted_visit(
            route, observer.person, night=dt.date(year, 4, 2), heard={1: {peeper: 1}}
        )
    return route


def content(file):
    return b"".join(open_file(file))


def test_freezes_every_season_up_to_the_chosen_one(program, coordinator, route):
    publication = publish_now(coordinator, 2023)
    _, rows = rows_of(publication, "yearly")
    assert [row[1] for row in rows] == [2022, 2023]
    assert (publication.version, publication.row_count, publication.visit_count) == (1, 2, 2)
    title = f"{program.name}: calling survey data and trends, season years 2022 to 2023"
    assert publication.title == title
    assert publication.software == software()


def test_the_method_travels_with_it(coordinator, route):
    publication = publish_now(coordinator, 2024)
    method = publication.method
    words = " ".join(method.split())
    for caveat in CAVEATS:
        assert caveat in words
    assert "version 1, in effect from 1 January 2000" in words
    assert "Own field trials, 2001" in words
    assert "No visit of these season years was still in review." in words
    assert max(map(len, method.splitlines())) <= 100
    assert text_of(publication, "method.txt") == method


def test_stays_the_same_when_the_data_change(coordinator, observer, route):
    publication = publish_now(coordinator, 2024)
    before = {file.kind: content(file) for file in files_of(publication, exact=True)}
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    assert {file.kind: content(file) for file in files_of(publication, exact=True)} == before


@pytest.mark.parametrize("model", [Publication, PublicationFile, PublicationPiece])
def test_nothing_of_it_can_be_changed_or_deleted(coordinator, route, model):
    publish_now(coordinator, 2024)
    row = model.objects.first()
    with pytest.raises(ProgrammingError, match="Cannot update"), transaction.atomic():
        row.save()
    with pytest.raises(ProgrammingError, match=r"Cannot (update or )?delete"), transaction.atomic():
        model.objects.filter(pk=row.pk)._raw_delete("default")


def test_a_correction_is_a_new_version_with_a_reason(coordinator, observer, route):
    first = publish_now(coordinator, 2024)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    with pytest.raises(ReasonNeeded):
        request_publication(coordinator, 2024, "  ")
    second = publish_now(coordinator, 2024, "A late visit of May was accepted.")
    assert (second.version, second.reason) == (2, "A late visit of May was accepted.")
    assert second.sha256 != first.sha256
    assert second.visit_count == first.visit_count + 1


def test_the_same_tables_are_not_published_twice(coordinator, route):
    publish_now(coordinator, 2024)
    with pytest.raises(NothingChanged):
        publish_now(coordinator, 2024, "Just because")
    assert Publication.objects.count() == 1


def test_a_change_outside_the_yearly_table_is_a_change(coordinator, route):
    publish_now(coordinator, 2024)
    route.visits.update(start_air_temperature_c=11)
    assert publish_now(coordinator, 2024, "A temperature was misread.").version == 2


def test_a_season_without_counted_visits_is_refused(coordinator, route):
    with pytest.raises(NothingToPublish, match="2025"):
        request_publication(coordinator, 2025)


def test_only_what_was_looked_at_is_published(program, coordinator, observer, route):
    seen = preview(program, 2024).sha256
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    with pytest.raises(TableChanged):
        request_publication(coordinator, 2024, seen=seen)
    assert publish_now(coordinator, 2024, seen=preview(program, 2024).sha256).version == 1


def test_what_changes_after_it_was_asked_for_is_not_published(
    program, coordinator, observer, route
):
    run = request_publication(coordinator, 2024, seen=preview(program, 2024).sha256)
    make_accepted_visit(route, observer.person, night=dt.date(2024, 5, 2))
    with pytest.raises(TableChanged):
        build(run, formats=())
    assert not Publication.objects.exists()


def test_the_preview_is_the_file(program, coordinator, route):
    seen = preview(program, 2024)
    publication = publish_now(coordinator, 2024, seen=seen.sha256)
    assert file_of(publication, "data/yearly.csv", exact=False).sha256 == seen.sha256
    assert not preview(program, 2024).differs


def test_only_coordinators_publish(observer, partner, route):
    for member in (observer, partner):
        with pytest.raises(PermissionDenied):
            request_publication(member, 2024)


def test_one_at_a_time(coordinator, route):
    run = request_publication(coordinator, 2024)
    with pytest.raises(AlreadyUnderWay):
        request_publication(coordinator, 2024)
    request_publication(coordinator, 2023)
    build(run, formats=())
    with pytest.raises(ReasonNeeded):
        request_publication(coordinator, 2024)


def test_a_run_whose_job_is_gone_does_not_stand_in_the_way(coordinator, route):
    lost = request_publication(coordinator, 2024)
    ProcrastinateJob.objects.get(args__run_id=lost.pk)
    ProcrastinateJob.objects.filter(args__run_id=lost.pk)._raw_delete("default")
    run = request_publication(coordinator, 2024)
    lost.refresh_from_db()
    assert lost.state == RunState.FAILED
    assert "Nothing was published" in lost.problem
    assert run.state == RunState.QUEUED


def test_building_again_changes_nothing(coordinator, route):
    run = request_publication(coordinator, 2024)
    build(run, formats=())
    route.visits.update(start_air_temperature_c=11)
    # As a worker does that took the job up before another had finished it.
    stale = BackgroundRun(pk=run.pk, program=run.program, asked_by=run.asked_by)
    build(stale, formats=())
    assert Publication.objects.count() == 1
    run.refresh_from_db()
    assert (run.state, run.done) == (RunState.DONE, run.total)


def test_what_is_still_open(program, coordinator, observer, route):
    for night, state in (
        (dt.date(2024, 5, 1), VisitState.SUBMITTED),
        (dt.date(2023, 5, 1), VisitState.SENT_BACK),
        (dt.date(2025, 5, 1), VisitState.SUBMITTED),
        (dt.date(2024, 5, 3), VisitState.DRAFT),
        (dt.date(2024, 5, 4), VisitState.SET_ASIDE),
    ):
        visit = make_accepted_visit(
            route, observer.person, night=night, state=state, counts_in_trends=False
        )
        visit.findings.create(code="too-cold", severity="query", message_as_stored="Cold.")
    assert [visit.night.year for visit in open_visits(program, 2024)] == [2023, 2024]
    assert [one.visit.night.year for one in unsettled_queries(program, 2024)] == [2023, 2024]
    assert missing_visits(program, 2024) == []
    assert [(one.code, one.window) for one in missing_visits(program, 2021)] == [
        (route.code, "Spring")
    ]
    method = " ".join(publish_now(coordinator, 2024).method.split())
    assert "2 visits of these season years still in review" in method
    assert not open_visits(make_program(), 2024)


def test_files_and_their_checksums(coordinator, route):
    publication = publish_now(coordinator, 2024, formats=[_copy("copy.bin"), _exact("exact/a.bin")])
    files = {file.kind: file for file in files_of(publication, exact=True)}
    for file in files.values():
        assert hashlib.sha256(content(file)).hexdigest() == file.sha256
        assert len(content(file)) == file.bytes
    for sums, audience in ((CHECKSUMS, Audience.OPEN), (EXACT_CHECKSUMS, Audience.EXACT)):
        listed = dict(
            reversed(line.split("  ")) for line in content(files[sums]).decode().splitlines()
        )
        own = {kind for kind, file in files.items() if file.audience == audience} - {sums}
        assert listed == {kind: files[kind].sha256 for kind in own}
    assert publication.sha256 == files[CHECKSUMS].sha256
    assert {table.file for table in TABLES} < set(files)
    assert files["data/visits.csv"].rows == 3
    assert download_name(files["data/visits.csv"]).endswith("-2024-v1-visits.csv")
    assert download_name(files["exact/a.bin"]).endswith("-v1-exact-a.bin")


def test_exact_files_are_for_those_who_may_have_them(program, coordinator, route):
    publication = publish_now(coordinator, 2024, formats=[_exact("exact/a.bin")])
    shared = files_of(publication, exact=False)
    assert not [file for file in shared if file.kind.startswith("exact/")]
    assert file_of(publication, "exact/a.bin", exact=False) is None
    assert b"43.0731" in content(file_of(publication, "exact/a.bin", exact=True))
    for file in shared:
        assert b"43.0731" not in content(file)


def test_a_large_file_comes_back_in_pieces(coordinator, route):
    size = 2 * PIECE + 5
    large = Format(
        kind="large.bin",
        meaning="",
        media_type="application/octet-stream",
        write=lambda frozen, path: path.write_bytes(bytes(range(256)) * (size // 256 + 1)),
    )
    file = file_of(publish_now(coordinator, 2024, formats=[large]), "large.bin", exact=False)
    assert file.pieces.count() == 3
    assert hashlib.sha256(content(file)).hexdigest() == file.sha256


def test_software_is_the_version_of_the_project():
    project = tomllib.loads(
        (Path(__file__).parents[3] / "pyproject.toml").read_text(encoding="utf-8")
    )["project"]
    assert f"Duskpool {project['version']}" == VERSION


def _copy(kind: str, audience: Audience = Audience.OPEN) -> Format:
    return Format(
        kind=kind,
        meaning="The stops",
        media_type="application/octet-stream",
        audience=audience,
        write=lambda frozen, path: path.write_bytes(
            (frozen.folder / "data/stops.csv").read_bytes()
        ),
    )


def _exact(kind: str) -> Format:
    return _copy(kind, Audience.EXACT)
