"""Fills the database of the site that is killed and prints what the clients need, as JSON."""

import json
import sys

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.test import Client  # noqa: E402

from accounts.models import Membership, Role  # noqa: E402
from surveys.importing.runs import MOST_ROWS_AT_ONCE  # noqa: E402
from surveys.importing.uploads import open_upload, preview_upload, remember, store  # noqa: E402
from tests.benchmarks.test_phones import SPECIES, STOPS  # noqa: E402
from tests.support.builders import (  # noqa: E402
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)

OBSERVERS, IMPORTS, ROUTES = 4, 8, 16
ROWS = MOST_ROWS_AT_ONCE + 50


def cookie(member: Membership) -> str:
    client = Client()
    client.force_login(member.person)
    return f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"


def seed() -> dict:
    program = make_program()
    version = make_version(program, settling_wait_s=60)
    make_checklist(program, *SPECIES)
    coordinator = make_member(program, Role.COORDINATOR)
    observers = [make_member(program) for _ in range(OBSERVERS)]
    routes = [make_route(program, version=version, stops=STOPS) for _ in range(ROUTES)]
    past = [make_route(program, version=version, stops=1) for _ in range(IMPORTS)]
    return {
        "program": program.slug,
        "coordinator": cookie(coordinator),
        "observers": [cookie(member) for member in observers],
        "routes": [route.code for route in routes],
        "imports": [uploaded(coordinator, route.code) for route in past],
    }


def uploaded(coordinator: Membership, route: str) -> dict:
    """A file with a visit for each row, ready to be committed."""
    header = "Route,Date,Stop,Start time,End time,Temp (F),Pseudacris crucifer"
    nights = [
        f"{route},{year}-{month:02}-{day:02},1,21:30,21:35,48,{day % 4}"
        for year in range(2001, 2020)
        for month in (4, 5, 6)
        for day in range(1, 31)
    ][:ROWS]
    content = "\n".join([header, *nights]) + "\n"
    row = store(coordinator, file_name="past.csv", content=content.encode())
    upload = open_upload(coordinator, row.pk)
    remember(upload, (), upload.answers, leave_out_known=False)
    preview = preview_upload(coordinator, open_upload(coordinator, row.pk))
    if preview.problems:
        raise ValueError(str(preview.problems[0]))
    return {"id": str(row.pk), "route": route, "visits": len(nights)}


sys.stdout.write(json.dumps(seed()))
