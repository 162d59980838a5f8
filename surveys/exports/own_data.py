"""Everything the site knows of one person, as plain values: for that person alone."""

from typing import Any

from django.db.models import QuerySet

from accounts.models import Person
from surveys.models import CallTestTry, HeardInQuestion, Recording, ReviewStep, Visit


def own_data(person: Person) -> dict[str, Any]:
    return {
        "name": person.name,
        "email": person.email,
        "joined_at": person.joined_at.isoformat(),
        "named_in_reports": person.named_in_reports,
        "memberships": [
            {
                "program": membership.program.name,
                "role": membership.role,
                "active": membership.active,
                "trained_on": _date(membership.trained_on),
                "trained_until": _date(membership.trained_until),
                "cannot_go": [
                    {"first": _date(one.first), "last": _date(one.last), "note": one.note}
                    for one in membership.absences.all()
                ],
                "offers_help": [
                    {"season_year": one.season_year, "region": one.region, "note": one.note}
                    for one in membership.help_offers.order_by("season_year")
                ],
                "route_requests": [
                    {"route": one.route.code, "season_year": one.season_year}
                    | {"window": one.window, "state": one.state, "note": one.note}
                    for one in membership.route_requests.select_related("route")
                ],
            }
            for membership in person.memberships.select_related("program")
        ],
        "visits": [_visit(visit) for visit in _visits(Visit.objects.filter(observer=person))],
        "shared_visits": [
            {"id": str(visit.pk), "program": visit.route.program.name}
            | {"route": visit.route.code, "night": visit.night.isoformat()}
            for visit in _visits(Visit.objects.filter(second_member=person))
        ],
        "return_times": [
            {"route": row.route.code, "back_by": row.back_by.isoformat(), "car": row.car}
            for row in person.check_ins.select_related("route")
        ],
        "contacts": [
            {"name": row.member.name if row.member else row.name, "email": row.email}
            for row in person.check_in_contacts.filter(declined_at=None, removed_at=None)
        ],
        "practice": [
            {"program": answer.program.name, "at": answer.answered_at.isoformat()}
            | {"heard": [_heard(row) for row in answer.heard.all()]}
            for answer in person.practice_answers.select_related("program").prefetch_related(
                "heard__species"
            )
        ],
        "call_tests": [_call_test(one) for one in _tries(person)],
        "recordings": [
            {"visit": str(recording.visit_id), "stop": recording.stop and recording.stop.number}
            for recording in Recording.objects.filter(visit__observer=person).select_related("stop")
        ],
        "review_steps": [
            {"visit": str(step.visit_id), "step": step.step, "at": step.at.isoformat()}
            | {"note": step.note}
            for step in ReviewStep.objects.filter(by=person).order_by("at", "pk")
        ],
    }


def _visits(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    return visits.select_related("route__program").order_by("night", "pk")


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "id": str(visit.pk),
        "program": visit.route.program.name,
        "route": visit.route.code,
        "night": visit.night.isoformat(),
        "state": visit.state,
        "source": visit.source,
        "sheet": visit.cells,
    }


def _tries(person: Person) -> QuerySet[CallTestTry]:
    tries = person.call_test_tries.select_related("test__program").order_by("begun_at")
    return tries.prefetch_related("questions__heard__species")


def _call_test(taken: CallTestTry) -> dict[str, Any]:
    return {
        "program": taken.test.program.name,
        "begun_at": taken.begun_at.isoformat(),
        "passed": taken.passed,
        "valid_until": _date(taken.valid_until),
        "questions": [[_heard(row) for row in one.heard.all()] for one in taken.questions.all()],
    }


def _heard(row: HeardInQuestion) -> dict[str, Any]:
    return {
        "species": row.species.code,
        "called": row.was_there,
        "named": row.was_named,
        "index": row.index_there,
        "index_named": row.index_named,
    }


def _date(date: Any) -> str | None:
    return date.isoformat() if date else None
