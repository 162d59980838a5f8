"""A program on 20 April 2025 with two windows, and two routes 12 minutes of longitude apart."""

import datetime as dt
from dataclasses import dataclass

from django.contrib.gis.geos import Point

from accounts.models import Membership
from surveys.models import Assignment, Program, Route, Stop
from tests.support.builders import make_member, make_person, make_route, make_version

# 13:00 in Chicago.
NOW = dt.datetime(2025, 4, 20, 18, tzinfo=dt.UTC)
TODAY = NOW.date()
WINDOWS = (
    {"name": "April", "opens_month": 4, "opens_day": 1, "closes_month": 4, "closes_day": 30},
    {"name": "June", "opens_month": 6, "opens_day": 1, "closes_month": 6, "closes_day": 30},
)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Ann surveys `near`; nobody has `far`, which lies about 10 km east of it."""

    program: Program
    near: Route
    far: Route
    ann: Membership
    bo: Membership
    of_ann: Assignment


def make_plan(program: Program) -> Plan:
    version = make_version(program, windows=WINDOWS)
    near = make_route(program, version=version, code="R1", name="Heron Slough", stops=2)
    far = make_route(program, version=version, code="R2", name="Alder Fen", stops=1)
    Stop.objects.filter(route=far).update(place=Point(-89.28, 43.0731, srid=4326))
    ann, bo = (make_member(program, person=make_person(name)) for name in ("Ann", "Bo"))
    return Plan(
        program=program,
        near=near,
        far=far,
        ann=ann,
        bo=bo,
        of_ann=Assignment.objects.create(route=near, observer=ann.person, season_year=2025),
    )
