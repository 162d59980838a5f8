"""Fixtures that every kind of test may use."""

from collections.abc import Iterator

import pytest
from django.db.backends.postgresql.operations import DatabaseOperations
from django.test import Client

from accounts.models import (
    Membership,
    Role,
)
from surveys.models import Program
from tests.support.builders import (
    make_member,
    make_program,
)
from tests.support.databases import database_of_this_run
from tests.support.emptying import delete_from_filled


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests come last: Playwright leaves an event loop running in the thread, beside
    which a procrastinate worker cannot start."""
    items.sort(key=lambda item: "browser" in item.path.parts)


@pytest.fixture(scope="session")
def django_db_setup(django_test_environment: None, django_db_blocker) -> Iterator[None]:
    """In place of pytest-django's: no database outlives its run, so there is none to use again
    and `--reuse-db` changes nothing."""
    with django_db_blocker.unblock(), database_of_this_run(), django_db_blocker.block():
        yield


@pytest.fixture(scope="session", autouse=True)
def _quick_emptying() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseOperations, "sql_flush", delete_from_filled)
        yield


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
        client.force_login(member.person)
        return client

    return make
