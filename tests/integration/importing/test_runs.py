"""Large files go through the worker: asked for, watched, all of it or nothing."""

import dataclasses
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import connection
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Role
from surveys.importing import reading, runs
from surveys.importing.preview import plain_preview, preview_from_plain
from surveys.importing.problems import ImportRefusedError
from surveys.importing.runs import enqueue_import, is_large, latest_run_of, subject_of
from surveys.importing.uploads import commit_upload, discard, open_upload, remember
from surveys.models import (
    BackgroundRun,
    CallHistory,
    CallIndex,
    ImportPart,
    ListeningPeriod,
    RunKind,
    RunState,
    SpreadsheetImport,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.runs import work as running
from surveys.runs.kinds import FACTS, task_name
from surveys.runs.progress import Progress
from surveys.runs.work import RunOverError
from tests.integration.importing.conftest import wide
from tests.support.builders import make_member, make_program
from tests.support.runs import carry_out as work

pytestmark = pytest.mark.django_db

GOOD = wide(
    "R1,2024-04-15,1,21:14,21:19,48,3,0",
    "R1,2024-04-15,2,21:30,21:35,47,0,1",
    "R2,2024-04-16,1,21:14,21:19,48,1,0",
)
RETRIES = FACTS[RunKind.IMPORT].tries - 1
BAD = wide("R1,2024-04-15,1,21:14,21:19,48,7,0", "R9,2024-04-15,2,21:30,21:35,47,0,1")


@pytest.fixture(autouse=True)
def _everything_is_large(monkeypatch):
    monkeypatch.setattr(runs, "MOST_ROWS_AT_ONCE", 1)


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


def at(name, program, **which):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **which})


def runs_of(row):
    return BackgroundRun.objects.filter(subject=subject_of(row))


def uploaded(page, program, text):
    file = SimpleUploadedFile("past.csv", text.encode())
    page.post(at("import_start", program), {"file": file})
    return SpreadsheetImport.objects.get(committed_at=None)


def check(page, program, row):
    """Press “Check the file” with what was guessed."""
    columns = at("import_columns", program, upload=row.pk)
    form = page.get(columns).context["form"]
    values = {name: form[name].value() for name in form.fields}
    typed = {name: value for name, value in values.items() if value not in (None, False)}
    return page.post(columns, typed)


def test_from_file_to_review(page, program, coordinator):
    row = uploaded(page, program, GOOD)
    preview = at("import_preview", program, upload=row.pk)
    assert page.get(preview).url == at("import_columns", program, upload=row.pk)
    assert check(page, program, row).url == preview
    run = runs_of(row).get()
    assert (run.kind, run.state) == (RunKind.CHECK_IMPORT, RunState.QUEUED)
    assert ProcrastinateJob.objects.filter(
        task_name=task_name(RunKind.CHECK_IMPORT), args__run_id=run.pk
    ).exists()
    assert "Waiting in line" in page.get(preview).content.decode()

    run.state, run.step, run.done, run.total = RunState.RUNNING, "Checking the visits", 40, 90
    run.save()
    part = page.get(preview, headers={"HX-Request": "true"}).content.decode()
    assert "Checking the visits" in part
    assert "40 of 90" in part
    assert "<html" not in part

    assert work(run).state == RunState.DONE
    assert not Visit.objects.exists()
    assert page.get(preview, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    shown = page.get(preview).content.decode()
    assert "Ready to import" in shown
    assert "Import 2 visits" in shown

    assert page.post(at("import_commit", program, upload=row.pk)).url == preview
    assert not Visit.objects.exists()
    run = latest_run_of(row)
    assert run.kind == RunKind.IMPORT
    assert "Importing past.csv" in page.get(preview).content.decode()
    assert work(run).state == RunState.DONE
    assert Visit.objects.count() == 2
    assert "2 visits from past.csv" in page.get(preview).content.decode()
    assert StoredFinding.objects.exists()
    for model in (Visit, ListeningPeriod, StoredFinding):
        assert_history_has_every_row(model, by=coordinator)
    history = CallHistory.objects.filter(pgh_context__metadata__user=coordinator.person_id)
    assert sorted(call for row in history for call in row.calls) == sorted(
        CallIndex.objects.values_list("pk", flat=True)
    )


def assert_history_has_every_row(model, *, by):
    """As it is, once, and who wrote it."""
    names = [field.attname for field in model._meta.concrete_fields]
    rows = model.objects.order_by("pk")
    events = model.pgh_event_model.objects.filter(
        pgh_label="insert", pgh_context__metadata__user=by.person_id
    )
    assert list(events.order_by("pgh_obj_id").values(*names)) == list(rows.values(*names))
    assert model.pgh_event_model.objects.count() == rows.count()


def test_problems_are_shown_in_groups_with_their_rows(page, program):
    row = uploaded(page, program, BAD)
    check(page, program, row)
    assert work(runs_of(row).get()).state == RunState.DONE
    answer = page.get(at("import_preview", program, upload=row.pk))
    assert {
        group.title: [(item.problem.written, item.rows) for item in group.items]
        for group in answer.context["groups"]
    } == {
        "Routes that we do not know": [("R9", "row 3")],
        "Cells that we cannot read: column “Spring peeper”": [("7", "row 2")],
    }
    shown = answer.content.decode()
    assert "Not ready yet" in shown
    assert '<p class="small muted">row 2</p>' in shown
    assert '<p class="small muted">row 3</p>' in shown


def test_a_preview_is_kept_whole(coordinator, attempt):
    for text in (GOOD, BAD):
        seen = attempt(text).preview
        assert preview_from_plain(plain_preview(seen)) == seen


def test_small_files_stay_within_the_request(page, program, monkeypatch):
    monkeypatch.setattr(runs, "MOST_ROWS_AT_ONCE", 3)
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    assert not BackgroundRun.objects.exists()
    preview = at("import_preview", program, upload=row.pk)
    assert "Ready to import" in page.get(preview).content.decode()
    page.post(at("import_commit", program, upload=row.pk))
    assert Visit.objects.count() == 2


@pytest.mark.parametrize(("rows", "large"), [(0, False), (1_000, False), (1_001, True)])
def test_what_is_large(monkeypatch, rows, large):
    monkeypatch.undo()
    assert is_large(rows) is large


def test_while_the_worker_has_it_nothing_else_touches_it(page, program, coordinator):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    preview = at("import_preview", program, upload=row.pk)
    assert page.get(at("import_columns", program, upload=row.pk)).url == preview
    upload = open_upload(coordinator, row.pk)
    for touch in (
        lambda: discard(coordinator, upload.row),
        lambda: remember(upload, (), upload.answers, leave_out_known=False),
        lambda: enqueue_import(coordinator, row.pk, RunKind.IMPORT),
    ):
        with pytest.raises(ImportRefusedError, match="is being checked"):
            touch()
    shown = page.post(at("import_discard", program, upload=row.pk), follow=True)
    assert "Wait until that is done" in shown.content.decode()
    assert SpreadsheetImport.objects.filter(pk=row.pk).exists()


def test_what_was_imported_meanwhile_is_refused(page, program, coordinator, attempt):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    work(runs_of(row).get())
    commit_upload(coordinator, attempt(GOOD).upload)
    page.post(at("import_commit", program, upload=row.pk))
    run = work(latest_run_of(row))
    assert run.state == RunState.REFUSED
    shown = page.get(at("import_preview", program, upload=row.pk)).content.decode()
    assert "Nothing was imported: there is one problem to fix first" in shown
    assert "Check the file again" in shown
    assert Visit.objects.count() == 2


def test_a_run_whose_job_is_gone_ends(page, program):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM procrastinate_jobs WHERE task_name = %s",
            [task_name(RunKind.CHECK_IMPORT)],
        )
    shown = page.get(at("import_preview", program, upload=row.pk)).content.decode()
    assert "The work stopped before it was finished. The file was not checked." in shown
    assert check(page, program, row).status_code == 302
    assert runs_of(row).count() == 2


def test_who_no_longer_coordinates_imports_nothing(page, program, coordinator):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    work(runs_of(row).get())
    run = enqueue_import(coordinator, row.pk, RunKind.IMPORT)
    make_member(program, Role.COORDINATOR)
    coordinator.role = Role.OBSERVER
    coordinator.save()
    assert work(run).state == RunState.REFUSED
    assert "no longer coordinates" in run.problem
    assert not Visit.objects.exists()


def test_a_coordinator_of_another_program_imports_nothing_here(page, program, coordinator):
    """Who asked has left this program since, and is a coordinator elsewhere."""
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    work(runs_of(row).get())
    run = enqueue_import(coordinator, row.pk, RunKind.IMPORT)
    make_member(program, Role.COORDINATOR)
    make_member(make_program(), Role.COORDINATOR, person=coordinator.person)
    coordinator.active = False
    coordinator.save()
    assert work(run).state == RunState.REFUSED
    assert not Visit.objects.exists()


def test_a_large_import_is_undone_by_the_worker(page, program, coordinator):
    row = uploaded(page, program, GOOD)
    commit_upload(coordinator, open_upload(coordinator, row.pk))
    undo, shown = (at(name, program, upload=row.pk) for name in ("import_undo", "import_preview"))
    assert page.post(undo, {"reason": " "}).status_code == 400
    page.post(undo, {"reason": "The wrong year."})
    run = latest_run_of(row)
    assert (run.kind, run.state) == (RunKind.UNDO_IMPORT, RunState.QUEUED)
    assert "Undoing past.csv" in page.get(shown).content.decode()
    again = page.post(undo, {"reason": "Again."}, follow=True)
    assert "is being undone. Wait until that is done." in again.content.decode()
    make_member(program, Role.COORDINATOR)
    coordinator.role = Role.OBSERVER
    coordinator.save()
    assert work(run).state == RunState.REFUSED
    assert not Visit.objects.filter(state=VisitState.SET_ASIDE).exists()
    coordinator.role = Role.COORDINATOR
    coordinator.save()
    assert run.problem in page.get(shown).content.decode()

    page.post(undo, {"reason": "The wrong year."})
    assert work(latest_run_of(row)).state == RunState.DONE
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.SET_ASIDE}
    assert "The import was undone on" in page.get(shown).content.decode()


class BrokenOffError(Exception):
    """What a test throws at the worker."""


@pytest.mark.parametrize(
    "step", ["Reading the file", "Reading the rows", "Checking the visits", "end"]
)
def test_broken_off_anywhere_nothing_is_there_and_the_next_try_does_it(
    page, program, coordinator, monkeypatch, step
):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    work(runs_of(row).get())
    run = enqueue_import(coordinator, row.pk, RunKind.IMPORT)
    with monkeypatch.context() as patched:
        real_say = Progress.__call__

        def report(self, word, done, total):
            if word == step:
                raise BrokenOffError
            real_say(self, word, done, total)

        def at_the_end(run, *result):
            raise BrokenOffError

        patched.setattr(Progress, "__call__", report)
        if step == "end":
            patched.setattr("surveys.importing.tasks.finish", at_the_end)
        for attempts in range(RETRIES):
            with pytest.raises(BrokenOffError):
                work(run, attempts)
            run.refresh_from_db()
            assert run.state == RunState.QUEUED
            assert not Visit.objects.exists()
            row.refresh_from_db()
            assert row.committed_at is None
    assert work(run, RETRIES).state == RunState.DONE
    assert Visit.objects.count() == 2


def test_given_up_after_the_last_try(page, program, coordinator, monkeypatch):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    run = runs_of(row).get()
    monkeypatch.setattr("surveys.importing.tasks.open_upload", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        work(run, RETRIES)
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "It stopped after 3 tries. The file was not checked." in run.problem


def test_a_run_that_was_given_up_imports_nothing(page, program, coordinator):
    """Given up while the worker was at it: the whole transaction goes."""
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    work(runs_of(row).get())
    run = enqueue_import(coordinator, row.pk, RunKind.IMPORT)
    upload = open_upload(coordinator, row.pk)

    def end():
        running.fail(run, "Given up.")
        running.finish(run)

    with pytest.raises(RunOverError, match="This was stopped"):
        commit_upload(coordinator, upload, end=end)
    assert not Visit.objects.exists()


def test_a_run_that_is_done_is_not_done_again(page, program):
    row = uploaded(page, program, GOOD)
    check(page, program, row)
    run = work(runs_of(row).get())
    before = dataclasses.replace(preview_from_plain(run.result))
    assert work(run).state == RunState.DONE
    assert preview_from_plain(run.result) == before


class TestReading:
    """What takes long to read is not read while a request waits."""

    @pytest.fixture(autouse=True)
    def _everything_takes_long(self, monkeypatch):
        for name in ("MOST_BYTES_OF_TEXT_AT_ONCE", "MOST_BYTES_OF_WORKBOOK_AT_ONCE"):
            monkeypatch.setattr(reading, name, 1)

    def test_the_worker_reads_it_and_columns_are_matched_then(self, page, program):
        row = uploaded(page, program, GOOD)
        columns = at("import_columns", program, upload=row.pk)
        assert page.get(at("import_preview", program, upload=row.pk)).url == columns
        assert "Waiting in line" in page.get(columns).content.decode()
        assert not ImportPart.objects.exists()
        run = latest_run_of(row)
        assert (run.kind, run.state) == (RunKind.READ_IMPORT, RunState.QUEUED)
        assert work(run).state == RunState.DONE
        assert page.get(columns, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
        assert page.get(columns).context["upload"].table.headers[0] == "Route"
        assert page.get(at("import_preview", program, upload=row.pk)).url == columns
        check(page, program, row)
        assert work(latest_run_of(row)).result["visits"] == 2

    def test_no_other_step_reads_it(self, page, program):
        row = uploaded(page, program, GOOD)
        for step in ("import_layout", "import_fix", "import_commit"):
            answer = page.post(at(step, program, upload=row.pk), follow=True)
            assert "“past.csv” is not read yet." in answer.content.decode(), step
        assert not ImportPart.objects.exists()

    def test_another_layout_is_read_by_the_worker(self, page, program):
        row = uploaded(page, program, f"Our visits\n\n{GOOD}")
        work(latest_run_of(row))
        columns = at("import_columns", program, upload=row.pk)
        typed = {"names_row": "4", "name_rows": "1"}
        assert page.post(at("import_layout", program, upload=row.pk), typed).url == columns
        assert "Waiting in line" in page.get(columns).content.decode()
        assert work(latest_run_of(row)).state == RunState.DONE
        assert page.get(columns).context["upload"].table.headers[0] == "R1"

    def test_a_file_that_cannot_be_read_says_why_and_can_be_discarded(self, page, program):
        row = uploaded(page, program, "Route,Date\n")
        run = work(latest_run_of(row))
        assert run.state == RunState.REFUSED
        columns = at("import_columns", program, upload=row.pk)
        shown = page.get(columns).content.decode()
        assert "The file was not read" in shown
        assert run.problem in shown
        assert page.post(columns).url == columns
        assert work(latest_run_of(row)).pk != run.pk
        page.post(at("import_discard", program, upload=row.pk))
        assert not SpreadsheetImport.objects.exists()

    def test_a_command_reads_it_at_once(self, program, coordinator, tmp_path):
        file = tmp_path / "past.csv"
        file.write_text(GOOD)
        arguments = ("import_visits", program.slug, str(file), "--as", coordinator.person.email)
        call_command(*arguments, "--commit", stdout=io.StringIO())
        assert Visit.objects.count() == 2
        assert not BackgroundRun.objects.exists()

    def test_what_is_no_table_at_all_is_refused_at_once(self, page, program):
        file = SimpleUploadedFile("past.csv", b"  \n")
        answer = page.post(at("import_start", program), {"file": file})
        assert "The file is empty." in answer.content.decode()
        assert not SpreadsheetImport.objects.exists()
