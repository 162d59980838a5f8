"""The demo has its publications when it says that it is loaded, or says why not."""

import io
import os
import signal
import sys
import threading
import time

import pytest
from django.core.management import CommandError, call_command

from surveys.management import demo_publications
from surveys.management.demo_publications import make_all
from surveys.models import Program, Publication, RunState
from surveys.publishing.publish import request_publication
from surveys.runs.work import begin, fail
from tests.support.builders import make_member
from tests.support.frozen import small_program
from tests.support.runs import forget_jobs, worker_environment

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _of_the_test_database(transactional_db, monkeypatch):
    for name, value in worker_environment().items():
        monkeypatch.setenv(name, value)
    yield
    forget_jobs()


def load(*options):
    out = io.StringIO()
    call_command(
        "load_demo", "--until=2026-11-25", "--routes=1", "--years=1", "--seed=2", "--publish",
        *options, stdout=out,
    )  # fmt: skip
    return out.getvalue()


def test_both_publications_are_there_once_it_is_loaded(tmp_path):
    said = load(f"--sign-ins={tmp_path / 'signins'}")
    assert "... publishing: " in said
    made = Publication.objects.values_list("program__slug", "season_year")
    assert set(made) == {("larkmoor-spring", 2026), ("saltgrass-winter", 2026)}
    assert "coordinator@example.org" in (tmp_path / "signins").read_text()
    again = load()
    assert "... publishing: " not in again
    assert Publication.objects.count() == 2


@pytest.fixture
def asked():
    return request_publication(make_member(small_program(), "coordinator"), 2024, site_url="")


@pytest.mark.parametrize("ends", ["os.kill(os.getpid(), 9)", "sys.exit(0)"])
def test_a_worker_that_ends_early_is_told(asked, ends, monkeypatch):
    worker = (sys.executable, "-c", f"import os, sys; {ends}")
    monkeypatch.setattr(demo_publications, "WORKER", worker)
    program = Program.objects.get()
    with pytest.raises(CommandError, match=rf"{program.name}, .* not made.* worker ended"):
        make_all([asked], print)


def test_why_a_publication_failed_is_told(asked):
    fail(begin(asked.pk, 1), "The disk is full.")
    asked.refresh_from_db()
    assert asked.state == RunState.FAILED
    with pytest.raises(CommandError, match=r"not made\. The disk is full\."):
        make_all([asked], print)


def test_whoever_ends_it_ends_its_workers(asked, monkeypatch, tmp_path):
    note = tmp_path / "pid"
    begin = f"import os, time; open({str(note)!r}, 'w').write(str(os.getpid())); time.sleep(600)"
    monkeypatch.setattr(demo_publications, "WORKER", (sys.executable, "-c", begin))

    def end_once_it_works():
        while not (note.exists() and note.read_text()):
            time.sleep(0.02)
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=end_once_it_works, daemon=True).start()
    with pytest.raises(SystemExit):
        make_all([asked], print)
    with pytest.raises(ProcessLookupError):
        os.kill(int(note.read_text()), 0)
