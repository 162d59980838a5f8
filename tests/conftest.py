"""Fixtures that every kind of test may use."""

import asyncio
import gc
import os
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest
from django.db import transaction
from django.test import Client
from pytest_django import DjangoDbBlocker

from accounts.models import (
    Membership,
    Role,
)
from surveys.fitting import analyses
from surveys.models import Program
from surveys.trends import from_tables
from tests.support.builders import (
    make_member,
    make_program,
)
from tests.support.databases import database_of_this_run
from tests.support.emptying import quick_emptying
from tests.support.fits import once
from tests.support.signing_in import sign_in

# Modules that start servers, workers or clusters, or kill them.
_WAITING = {
    "test_backups.py",
    "test_deploy_scripts.py",
    "test_killed_run.py",
    "test_killed_worker.py",
    "test_machines.py",
    "test_proxy.py",
    "test_workers.py",
}


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is imported and collected stays until the end of the run, so it is never looked
    through for garbage: that took up to a quarter of the time of tests that render pages. The rest
    is looked through more seldom than Python does it, which took an eighth."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(20_000, 10, 20)
        gc.enable()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What mostly waits for processes of its own comes first, so that the other processes of a run
    have the cores meanwhile. Browser tests come last, since no other may follow them in a process,
    and of these the short ones, which are those of the phone in Chromium, at the very end, so that
    all processes end at about the same time."""
    for item in items:
        if item.get_closest_marker("slow"):
            item.add_marker(pytest.mark.timeout(0))
    items.sort(
        key=lambda item: (
            item.path.name not in _WAITING,
            bool(item.get_closest_marker("browser")),
            "survey" in item.path.parts and "engines" not in item.path.parts,
        )
    )


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Playwright leaves an event loop running in the thread. Beside one, Django has another
    connection than without one: what a fixture writes through the one waits for the other, or is
    seen by tests that should know nothing of it."""
    if asyncio._get_running_loop() and not item.get_closest_marker("browser"):
        pytest.fail(
            "A browser test ran in this process before. Mark what drives a browser with `browser`,"
            " and let each process take the tests in their order: pytest -n 3 --dist load."
        )


@pytest.hookimpl(trylast=True)
def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """A failure is named at once, so that a run that somebody ends early has told it."""
    if report.failed and "PYTEST_XDIST_WORKER" not in os.environ:
        print(f"\n{report.nodeid}, {report.when}: {report.longreprtext[-1500:]}\n")  # noqa: T201


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment: None, django_db_blocker) -> Iterator[None]:
    """In place of pytest-django's: no database outlives its run, so there is none to use again
    and `--reuse-db` changes nothing."""
    with django_db_blocker.unblock(), database_of_this_run(), django_db_blocker.block():
        yield


@pytest.fixture(scope="session", autouse=True)
def _quick_emptying() -> Iterator[None]:
    with quick_emptying():
        yield


@pytest.fixture(scope="session")
def folder_of_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Shared by the processes of the run."""
    folder = tmp_path_factory.getbasetemp()
    return folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder


@pytest.fixture(scope="module")
def fits_made_once(folder_of_run: Path) -> Iterator[None]:
    """Programs are fitted by results that this run has already, where it has them."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (analyses, from_tables):
            patch.setattr(module, "analyze", once(module.analyze, folder_of_run))
        yield


@pytest.fixture(scope="module")
def module_rows(
    request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[None]:
    """Rows that fixtures of the whole module write are there for each of its tests.

    What a test changes is rolled back to this transaction, and the transaction after the last
    test. Python objects know nothing of that: give each test copies of them (`deepcopy`).
    """
    for item in request.session.items:
        marker = item.get_closest_marker("django_db")
        if item.path == request.path and marker and marker.kwargs.get("transaction"):
            raise ValueError(f"{item.nodeid} commits, so its module cannot share rows.")
    around = transaction.atomic()
    around._from_testcase = True  # As Django's TestCase: durable blocks may run inside.
    with django_db_blocker.unblock(), around:
        yield
        transaction.set_rollback(True)


@pytest.fixture
def program(db: None) -> Program:
    return make_program()


@pytest.fixture
def observer(program: Program) -> Membership:
    return make_member(program, Role.OBSERVER)


@pytest.fixture
def coordinator(program: Program) -> Membership:
    return make_member(program, Role.COORDINATOR)


@pytest.fixture
def partner(program: Program) -> Membership:
    return make_member(program, Role.PARTNER)


@pytest.fixture
def client_for():
    """A signed-in test client for a membership."""

    def make(member: Membership) -> Client:
        client = Client()
        sign_in(client, member.person)
        return client

    return make
