"""A coordinator's question is asked once, worked out in the worker, and kept."""

import datetime as dt

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.fitting import power as module
from surveys.fitting.power import (
    MOST_WAITING,
    PowerUnknownError,
    cells_of,
    plan_of,
    request_power_study,
    simulated_cells,
    survey_baseline,
)
from surveys.fitting.refit import refit
from surveys.models import BackgroundRun, PowerStudy, RunKind
from surveys.runs.kinds import task_name
from tests.support.at_once import in_threads
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_program,
    make_route,
)
from tests.support.runs import carry_out

pytestmark = pytest.mark.django_db


@pytest.fixture
def surveyed(program, observer):
    """Six routes of four stops, three years, two visits per year."""
    (peeper, toad) = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    rng = np.random.default_rng(4)
    for _ in range(6):
        route = make_route(program, stops=4)
        for year in (2022, 2023, 2024):
            lives = rng.random(4) < 0.6
            for month in (4, 5):
                heard = {n + 1: {peeper: 1} for n in range(4) if lives[n] and rng.random() < 0.7}
                make_accepted_visit(
                    route, observer.person, night=dt.date(year, month, 12), heard=heard
                )
    refit(program)
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")
    return peeper, toad


def ask(member, species, **changes):
    return request_power_study(
        member, species, **{"routes": 6, "visits": 2, "years": 5, "fall": 0.3, **changes}
    )


def test_a_neighbor_has_studies_of_its_own(program, coordinator, surveyed):
    """Its answer to the same settings is not ours, and its waiting studies are none of ours."""
    neighbor = make_program()
    theirs = ask(coordinator, surveyed[0])
    PowerStudy.objects.filter(pk=theirs.pk).update(program=neighbor, result=[])
    BackgroundRun.objects.filter(pk=theirs.run_id).update(program=neighbor)
    for number in range(MOST_WAITING):
        BackgroundRun.objects.create(
            kind=RunKind.POWER, program=neighbor, subject=f"another study {number}"
        )
    ours = ask(coordinator, surveyed[0])
    assert (ours.program, ours.run.program, ours.result) == (program, program, None)


def test_today_is_read_off_the_stored_results(program, surveyed):
    baseline = survey_baseline(program, surveyed[0])
    assert (baseline.routes, baseline.stops_per_route, baseline.visits) == (6, 4, 2)
    assert 0.3 < baseline.occupancy < 0.9
    assert 0.5 < baseline.detection < 0.9


def test_asked_once_and_worked_out(program, coordinator, surveyed, monkeypatch):
    study = ask(coordinator, surveyed[0])
    assert ask(coordinator, surveyed[0]).pk == study.pk
    assert cells_of(study) == ()
    (job,) = ProcrastinateJob.objects.filter(task_name=task_name(RunKind.POWER))
    assert (job.status, job.args) == ("todo", {"run_id": study.run_id})
    assert plan_of(study).stops_per_route == 4
    monkeypatch.setattr("surveys.trends.power._SIMULATIONS", ())
    monkeypatch.setattr("surveys.trends.power._FEWEST", 4)
    carry_out(study.run)
    study.refresh_from_db()
    cells = cells_of(study)
    assert [(cell.routes, cell.visits) for cell in cells] == [
        (routes, visits) for routes in (3, 6, 9, 12) for visits in (2, 3)
    ]
    assert all(0 <= cell.chance.low <= cell.chance.value <= cell.chance.high for cell in cells)
    assert cells[0].chance.interval == "wilson+programs:4"
    # The same question has the same answer.
    assert simulated_cells(study) == cells


def test_another_question_or_software_is_another_study(program, coordinator, surveyed, monkeypatch):
    study = ask(coordinator, surveyed[0])
    assert ask(coordinator, surveyed[0], years=10).pk != study.pk
    monkeypatch.setattr(module, "software", lambda: "another")
    assert ask(coordinator, surveyed[0]).pk != study.pk


def test_a_species_never_heard_has_no_answer(coordinator, surveyed):
    with pytest.raises(PowerUnknownError, match="never heard twice"):
        ask(coordinator, surveyed[1])


def test_without_results(program, coordinator):
    (peeper,) = make_checklist(program)
    with pytest.raises(PowerUnknownError, match="still being calculated"):
        ask(coordinator, peeper)
    refit(program)
    with pytest.raises(PowerUnknownError, match="No accepted visit surveyed it"):
        ask(coordinator, peeper)


def test_only_for_coordinators_and_not_too_many(observer, coordinator, surveyed):
    with pytest.raises(PermissionDenied):
        ask(observer, surveyed[0])
    for years in range(4, 4 + MOST_WAITING):
        ask(coordinator, surveyed[0], years=years)
    with pytest.raises(PowerUnknownError, match="already being calculated"):
        ask(coordinator, surveyed[0], years=30)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("waiting", [0, MOST_WAITING - 1])
def test_two_questions_at_once(coordinator, surveyed, waiting):
    """The second looks only after the first is kept: one study of one question, and never more
    in the queue than may wait."""
    for years in range(20, 20 + waiting):
        ask(coordinator, surveyed[0], years=years)
    other = {"years": 7} if waiting else {}
    first, second = in_threads(
        lambda: ask(coordinator, surveyed[0]),
        lambda: ask(coordinator, surveyed[0], **other),
        together_at="INSERT",
        errors=PowerUnknownError,
    )
    assert PowerStudy.objects.count() == waiting + 1
    assert (
        ProcrastinateJob.objects.filter(task_name=task_name(RunKind.POWER)).count() == waiting + 1
    )
    if waiting:
        (refused,) = (got for got in (first, second) if isinstance(got, PowerUnknownError))
        assert "already being calculated" in str(refused)
    else:
        assert first.pk == second.pk
