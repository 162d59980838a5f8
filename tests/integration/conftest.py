"""What the tests with a database share."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker


@pytest.fixture(autouse=True, scope="module")
def _each_fit_made_once(fits_made_once: None) -> None:
    """No test of these needs a fit to be made again."""


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
