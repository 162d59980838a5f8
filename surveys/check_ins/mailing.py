"""The two mails to a contact, sent by the worker: "not back yet", and "they are back".

The first says where to begin to look: the route, and place, road and county of its first stop,
where the car was first parked. It does not say where the other stops are, nor anything that the
phone measured: a contact who is no member gets no more of the program's places than a searcher
needs to begin, and knows what to ask the coordinators for.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone
from procrastinate.contrib.django import app

from surveys import dates
from surveys.check_ins.links import link_of
from surveys.language import gettext, said
from surveys.models import CheckIn, CheckInContact, Program
from surveys.programs.in_force import stops_in_use
from surveys.protocol.nights import night_of
from surveys.runs.plain_mail import mail_to
from surveys.runs.queues import MAIL, MAIL_RETRY

# The mail waits this long after the return time: for who is on the way, or out of signal.
GRACE = dt.timedelta(minutes=15)


@app.task(name="check_ins.mail_overdue", queue=MAIL, retry=MAIL_RETRY)
@transaction.atomic
def mail_overdue(*, check_in_id: str) -> None:
    """Unless they are back by now, or the contact has said no."""
    found = _locked(check_in_id)
    if (
        found is None
        or found.back_at is not None
        or found.told_at is not None
        or not address_of(found.contact)
    ):
        return
    program = found.route.program
    with dates.using(program.date_style):
        subject = said("{name} has not said that they are back", name=found.person.name)
        _mail(found, subject, *_overdue(found, program))
    found.told_at = timezone.now()
    found.save(update_fields=["told_at"])


@app.task(name="check_ins.mail_back", queue=MAIL, retry=MAIL_RETRY)
def mail_back(*, check_in_id: str) -> None:
    """To a contact who was told that they were late."""
    with transaction.atomic():
        found = _locked(check_in_id)
        if found is None or found.told_at is None or not address_of(found.contact):
            return
        with dates.using(found.route.program.date_style):
            subject = said("{name} is back", name=found.person.name)
            _mail(
                found,
                subject,
                said(
                    "{name} said so at {time}. You do not need to do more. Thank you.",
                    name=found.person.name,
                    time=dates.clock(found.back_at),
                ),
            )


def address_of(contact: CheckInContact | None) -> str:
    """Blank where nobody is to be mailed."""
    if contact is None:
        return ""
    person = contact.member
    if person is not None:
        member = person.memberships.filter(program=contact.program_id, active=True)
        return (person.email or "") if person.is_active and member.exists() else ""
    return contact.email if contact.confirmed_at else ""


def _locked(check_in_id: str) -> CheckIn | None:
    """None once its person is erased."""
    rows = CheckIn.objects.select_for_update(of=("self",)).select_related(
        "person", "route__program", "contact__member", "contact__owner"
    )
    return rows.filter(pk=check_in_id).first()


def _overdue(found: CheckIn, program: Program) -> list[str]:
    name = found.person.name
    return [
        said(
            "{name} planned to be back by {time} from the route {route} ({program}), and has not "
            "said so. This email goes out {minutes} minutes after that time.",
            name=name,
            time=dates.clock(found.back_by),
            route=found.route,
            program=program.name,
            minutes=int(GRACE.total_seconds() // 60),
        ),
        gettext(
            "There may be no reason to worry: no signal, a dead battery, or they forgot. This "
            "site does not know where they are, and it cannot call for help. It is not a rescue "
            "service."
        ),
        _steps(program),
        *_places(found),
        said(
            "Their phone last reached this site about it at {time}.",
            time=dates.clock(found.heard_at),
        ),
    ]


def _steps(program: Program) -> str:
    number = program.emergency_number
    call = (
        said(
            "If you cannot reach them and are worried, call {number} and read out what is below.",
            number=number,
        )
        if number
        else gettext(
            "If you cannot reach them and are worried, call your local emergency number and read "
            "out what is below."
        )
    )
    contact = (
        said("The program’s contact: {contact}.", contact=program.emergency_contact)
        if program.emergency_contact
        else ""
    )
    steps = [
        gettext("First call or text them."),
        call,
        gettext("Do not go looking alone at night, by roads or water."),
        contact,
    ]
    return "\n".join(f"  - {step}" for step in steps if step)


def _places(found: CheckIn) -> list[str]:
    night = night_of(found.begun_at, found.route.program.time_zone)
    stop = next(iter(stops_in_use(found.route.stops.order_by("number"), night)), None)
    lines = []
    if stop is not None:
        place = f"{stop.place.y:.5f}, {stop.place.x:.5f}"
        road = ", ".join(filter(None, [stop.road, stop.county]))
        lines = [
            said("Where the route begins: {place} (latitude, longitude).", place=place),
            *([said("Road and county: {road}.", road=road)] if road else []),
        ]
    if found.car:
        lines.append(said("Car: {car}", car=found.car))
    return ["\n".join(lines)] if lines else []


def _mail(found: CheckIn, subject: str, *paragraphs: str) -> None:
    contact = found.contact
    name = contact.member.name if contact.member else contact.name
    end = said(
        "You get this because {name} chose you. To stop it: {link}",
        name=found.person.name,
        link=link_of(contact),
    )
    mail_to(name, address_of(contact), subject, *paragraphs, end)
