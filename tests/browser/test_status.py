"""System status in Chromium: axe on the page of a program and on that of the whole site."""

import pytest

from accounts.models import Role
from surveys.models import OperationKind, RunState, WorkerHeartbeat
from surveys.operations.records import record_operation
from tests.browser.conftest import faults_of
from tests.support.builders import make_member
from tests.support.runs import make_publishing_run

pytestmark = pytest.mark.django_db(transaction=True)


def test_the_pages_of_status_are_accessible(program, signed_in, settings):
    coordinator = make_member(program, Role.COORDINATOR)
    settings.OPERATORS = [coordinator.person.email]
    WorkerHeartbeat.objects.create(name="quick", host="here", pid=1)
    record_operation(OperationKind.BACKUP, ok=True, detail="/srv/backups/duskpool-20261130 (312M)")
    record_operation(OperationKind.RESTORE_DRILL, ok=False, detail="Two tables differ: " * 20)
    make_publishing_run(
        program, 2024, coordinator.person, state=RunState.FAILED, problem="It stopped."
    )
    pages = [f"/{program.slug}/program/status", "/status"]
    assert faults_of(signed_in(coordinator), pages) == {}
