"""Fits are stored, known to be of today's data or not, and made anew only when they must be."""

import datetime as dt

import numpy as np
import pytest
from django.db import connection, transaction
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.fitting import analyses
from surveys.fitting import refit as module
from surveys.fitting.refit import (
    FittingFailedError,
    refit,
)
from surveys.fitting.stored import (
    progress,
    stored_fits,
)
from surveys.models import (
    BackgroundRun,
    CallIndex,
    ChecklistEntry,
    ListeningPeriod,
    RunState,
    SpeciesFit,
    Visit,
)
from surveys.trends import (
    fit_occupancy,
    occupancy_share,
)
from surveys.visits import verbs
from surveys.visits.refitting import refit_trends
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_route,
)
from tests.support.runs import carry_out
from tests.support.sheets import (
    make_submitted,
    plain_cells,
)

pytestmark = pytest.mark.django_db
YEARS = range(2021, 2025)


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def surveyed(program, observer, species):
    """Four routes of three stops, four years, two visits per year; who calls is drawn once."""
    rng = np.random.default_rng(4)
    peeper, toad = species
    for region in ("North", "North", "South", "South"):
        route = make_route(program, stops=3, region=region)
        for year in YEARS:
            lives = rng.random(3) < 0.7
            for month in (4, 5):
                heard = {
                    n + 1: {peeper: int(rng.integers(1, 4))} | ({toad: 1} if n == 0 else {})
                    for n in range(3)
                    if lives[n] and rng.random() < 0.8
                }
                make_accepted_visit(
                    route, observer.person, night=dt.date(year, month, 12), heard=heard
                )
    return species


def test_everything_is_stored_once(program, surveyed):
    run = refit(program)
    # Two species, two kinds of site; all regions and two of them.
    assert (run.total, run.done, run.refitted) == (12, 12, 12)
    assert progress(program) is None
    (peeper, toad) = stored_fits(program)
    assert [peeper.species, toad.species] == surveyed
    assert peeper.fresh
    assert [year.season_year for year in peeper.result.years] == list(YEARS)
    assert peeper.result.turnover
    assert peeper.result.phenology
    assert len(stored_fits(program, region=None)) == 6
    (north, _) = stored_fits(program, region="North", site="route")
    assert north.result.years[0].sites == 2
    assert north.result.index is None
    again = refit(program)
    assert (again.done, again.refitted) == (12, 0)


def test_a_stored_year_is_the_estimators_own(program, surveyed):
    """The same numbers from rows gathered one by one, without the loader."""
    refit(program)
    (fit,) = stored_fits(program, species=[surveyed[0]])
    year = next(year for year in fit.result.years if year.season_year == 2022)
    assert year.detection_model == "constant"
    visits = Visit.objects.filter(route__program=program, season_year=2022).order_by("night")
    rows = {}
    for visit in visits:
        for period in visit.periods.all():
            heard = period.calls.filter(species=surveyed[0]).exists()
            rows.setdefault(period.stop_id, []).append(float(heard))
    alone = occupancy_share(fit_occupancy(np.array(list(rows.values()))))
    assert year.occupancy.value == pytest.approx(alone.value, abs=1e-6)
    assert year.occupancy.low == pytest.approx(alone.low, abs=1e-4)
    assert year.sites_heard == sum(any(row) for row in rows.values())


def test_a_change_marks_all_and_refits_what_changed(program, surveyed):
    refit(program)
    made = {fit.pk: fit.fitted_at for fit in SpeciesFit.objects.all()}
    call = CallIndex.objects.filter(species=surveyed[0], index=1).first()
    call.index = 3
    call.save()
    visit = call.period.visit
    visit.revision += 1
    visit.save()
    assert not any(fit.fresh for fit in stored_fits(program, region=None))
    run = refit(program)
    # The species that changed: all regions and one of them, by stop and by route.
    assert run.refitted == 4
    assert all(fit.fresh for fit in stored_fits(program, region=None))
    anew = {fit.species_id for fit in SpeciesFit.objects.all() if fit.fitted_at != made[fit.pk]}
    assert anew == {surveyed[0].pk}


def test_a_run_makes_way_for_one_on_newer_data(program, surveyed):
    """What it has made is kept, and the next run makes the others."""
    answers = iter([False, False, True])
    run = refit(program, superseded=lambda: next(answers))
    assert (run.total, run.done, run.refitted) == (12, 2, 2)
    assert len(stored_fits(program)) == 2
    assert refit(program).refitted == 10


def test_what_review_left_out_is_in_no_stored_fit(program, observer, species):
    """A stop and a call that do not count on a night that does, and a night that does not."""
    peeper, toad = species
    route = make_route(program, stops=3)
    heard = {1: {peeper: 1, toad: 1}, 2: {peeper: 3}, 3: {peeper: 2}}
    for month in (4, 5, 6):
        visit = make_accepted_visit(
            route, observer.person, night=dt.date(2024, month, 12), heard=heard
        )
    visit.counts_in_trends = False
    visit.save()
    left_out = route.stops.get(number=2)
    ListeningPeriod.objects.filter(stop=left_out).update(counts_in_trends=False)
    CallIndex.objects.filter(period__stop=left_out).update(counts_in_trends=False)
    CallIndex.objects.filter(period__stop__number=1, species=toad).update(counts_in_trends=False)
    refit(program)
    stored = {fit.species: fit.result.years for fit in stored_fits(program)}
    (of_peeper,), (of_toad,) = stored[peeper], stored[toad]
    # Two nights at stops 1 and 3. The toad's own calls at stop 1 are missing there, not zeros.
    assert (of_peeper.sites, of_peeper.effort.visits, of_peeper.effort.periods) == (2, 2, 4)
    assert (of_peeper.sites_heard, of_peeper.sites_heard_at) == (2, (1, 1, 0))
    assert (of_toad.sites, of_toad.effort.periods, of_toad.sites_heard) == (1, 2, 0)
    (by_route,) = stored_fits(program, species=[peeper], site="route")[0].result.years
    assert by_route.sites_heard_at == (0, 1, 0)


def test_a_change_while_the_data_are_loaded_leaves_the_fits_out_of_date(
    program, surveyed, monkeypatch
):
    """They may have been loaded before it: the next run looks again."""
    visit = Visit.objects.filter(route__program=program).first()

    def load_and_meanwhile_change(*given, **options):
        loaded = load_periods(*given, **options)
        Visit.objects.filter(pk=visit.pk).update(revision=visit.revision + 1)
        return loaded

    load_periods = module.load_periods
    monkeypatch.setattr(module, "load_periods", load_and_meanwhile_change)
    refit(program)
    assert len(stored_fits(program)) == 2
    assert not any(fit.fresh for fit in stored_fits(program))
    monkeypatch.setattr(module, "load_periods", load_periods)
    refit(program)
    assert all(fit.fresh for fit in stored_fits(program))


@pytest.mark.parametrize(
    "change",
    [
        lambda program: program.checklist.update(calls_from_month=3, calls_from_day=1,
                                                     calls_to_month=6, calls_to_day=1),
        lambda program: program.routes.update(region="Elsewhere"),
        lambda program: Visit.objects.filter(route__program=program).first().delete(),
    ],
    ids=["calling season", "region", "visit"],
)  # fmt: skip
def test_other_changes_mark_too(program, surveyed, change):
    refit(program)
    change(program)
    assert not any(fit.fresh for fit in stored_fits(program))


def test_new_software_marks_and_refits(program, surveyed):
    refit(program)
    SpeciesFit.objects.update(software="Duskpool 0.0.1 (older)")
    assert not any(fit.fresh for fit in stored_fits(program))
    assert refit(program).refitted == 12


def test_a_result_that_cannot_be_read_is_missing(program, surveyed):
    refit(program)
    SpeciesFit.objects.filter(species=surveyed[0]).update(result={"years": []})
    assert [fit.species for fit in stored_fits(program)] == [surveyed[1]]


def test_species_that_left_are_forgotten(program, surveyed):
    refit(program)
    ChecklistEntry.objects.filter(species=surveyed[1]).delete()
    refit(program)
    assert set(SpeciesFit.objects.values_list("species", flat=True)) == {surveyed[0].pk}


def test_one_species_does_not_keep_the_others_waiting(program, surveyed, monkeypatch):
    def analyze(code, *args, **options):
        if code == surveyed[0].code:
            raise ArithmeticError("no answer")
        return real(code, *args, **options)

    real = analyses.analyze
    monkeypatch.setattr(analyses, "analyze", analyze)
    run = refit_trends(program.pk)
    with pytest.raises(FittingFailedError, match="Pseudacris crucifer, site = stop"):
        carry_out(run)
    assert [fit.species for fit in stored_fits(program)] == [surveyed[1]]
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert run.finished_at
    assert "Pseudacris crucifer, site = stop" in run.problem


def test_no_visits_at_all(program, species):
    refit(program)
    (first, _) = stored_fits(program)
    assert first.result.years == ()
    assert first.result.trend.occupancy.value is None
    assert first.result.trend.occupancy.flags


def jobs():
    return list(ProcrastinateJob.objects.filter(queue_name="fits").values_list("status", "args"))


@pytest.fixture
def empty_queue():
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")


def test_accepting_and_reopening_ask_once(program, observer, coordinator, species, empty_queue):
    visit = make_submitted(observer, make_route(program), plain_cells(3))
    assert jobs() == []
    accepted = verbs.accept(coordinator, visit.pk, revision=visit.revision)
    run = BackgroundRun.objects.get(program=program)
    waiting = [("todo", {"run_id": run.pk})]
    assert jobs() == waiting
    verbs.reopen(coordinator, visit.pk, note="Look again.", revision=accepted.revision)
    assert jobs() == waiting


def test_nothing_is_asked_when_the_change_was_not_kept(program, empty_queue):
    with transaction.atomic():
        refit_trends(program.pk)
        assert len(jobs()) == 1
        transaction.set_rollback(True)
    assert jobs() == []


@pytest.mark.django_db(transaction=True)
def test_a_worker_fits(program, surveyed, empty_queue):
    refit_trends(program.pk, after_s=0)
    connector = app.connector.get_worker_connector()
    with app.replace_connector(connector) as worker:
        worker.run_worker(
            queues=["fits"], wait=False, install_signal_handlers=False, listen_notify=False
        )
    assert jobs()[0][0] == "succeeded"
    assert all(fit.fresh for fit in stored_fits(program))


def test_who_belongs_to_a_joint_entry_is_part_of_the_data(program, surveyed, species):
    """A fit is out of date once the members change, and is made again where that moves it."""
    peeper, toad = species
    joint = make_joint_entry("Peeper or toad")
    ChecklistEntry.objects.create(program=program, species=joint, order=9)
    refit(program)
    (before,) = stored_fits(program, species=[joint])
    assert before.fresh
    joint.members.set([peeper, toad])
    (stale,) = stored_fits(program, species=[joint])
    assert not stale.fresh
    refit(program)
    (after,) = stored_fits(program, species=[joint])
    (of_peeper,) = stored_fits(program, species=[peeper])
    assert after.fresh
    assert after.sha256 != before.sha256
    assert sum(year.sites_heard for year in before.result.years) == 0
    assert sum(year.sites_heard for year in after.result.years) >= sum(
        year.sites_heard for year in of_peeper.result.years
    )
