"""A program with something of each kind, and years of visits."""

from collections.abc import Sequence

from django.db import connection
from django.test import Client

from accounts.models import Role
from tests.integration.test_access import World, make_world
from tests.support.builders import make_member, make_program
from tests.support.many_visits import fill

ROLES = (Role.PARTNER, Role.OBSERVER, Role.COORDINATOR)


def inhabited(*, species: Sequence[str], routes: int, years: range) -> tuple[World, Client]:
    """The program, and its coordinator signed in."""
    program = make_program()
    partner, observer, coordinator = (make_member(program, role) for role in ROLES)
    world = make_world(partner, observer, coordinator)
    fill(program, species=species, routes=routes, years=years)
    client = Client()
    client.force_login(coordinator.person)
    return world, client


def analyze() -> None:
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
