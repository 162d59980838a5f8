"""System status: coordinators see their program, operators the whole site."""

import pytest
from django.test import Client

from accounts.invitations import invite
from accounts.models import Role
from surveys.models import OperationKind, RunState
from surveys.operations.records import record_operation
from tests.integration.operations.test_alerts import end_job
from tests.support.builders import make_member, make_person, make_program
from tests.support.runs import make_publishing_run

pytestmark = pytest.mark.django_db


@pytest.fixture
def coordinator(all_is_well):
    """With a failed publication and a failed invitation in each of two programs."""
    members = [make_member(make_program(), Role.COORDINATOR) for _ in range(2)]
    for number, member in enumerate(members):
        invite(member, email=f"nell{number}@example.org", name="Nell", role="observer", site_url="")
        end_job("accounts.send_invitation")
        make_publishing_run(
            member.program,
            2024,
            member.person,
            state=RunState.FAILED,
            problem=f"It stopped, number {number}.",
        )
    return members[0]


def page_of(client, path) -> str:
    response = client.get(path)
    assert response.status_code == 200
    return response.content.decode()


def test_a_coordinator_sees_what_failed_in_the_program_and_tries_again(coordinator, client_for):
    record_operation(OperationKind.BACKUP, ok=False, detail="/srv/secret is full")
    client, path = client_for(coordinator), f"/{coordinator.program.slug}/program/status"
    page = page_of(client, path)
    assert "Invitation to nell0@example.org" in page
    assert "It stopped, number 0." in page
    assert "All are running" in page
    assert "None that succeeded" in page
    for foreign in ("nell1", "number 1", "/srv/secret"):
        assert foreign not in page
    answer = client.post(path, follow=True).content.decode()
    assert "1 task will be tried again." in answer
    assert "nell0" not in answer


def test_an_operator_sees_the_whole_site(coordinator, client_for, settings):
    operator = make_person(email="ops@example.org")
    record_operation(OperationKind.BACKUP, ok=False, detail="/srv/backups is full")
    client = Client()
    client.force_login(operator)
    page = page_of(client, "/status")
    for told in ("nell0", "nell1", "number 0", "number 1", "/srv/backups is full", "simulations"):
        assert told in page
    assert "2 tasks will be tried again." in client.post("/status", follow=True).content.decode()


def test_an_operator_needs_a_second_step(coordinator, settings):
    settings.SECOND_FACTOR_REQUIRED = True
    client = Client()
    client.force_login(make_person(email="ops@example.org"))
    assert client.get("/status")["Location"] == "/accounts/second-step/"


def test_who_is_no_operator_finds_no_page(coordinator, client_for):
    assert client_for(coordinator).get("/status").status_code == 404
