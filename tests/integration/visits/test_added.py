"""What an accepted visit added, and the mail that says so."""

import datetime as dt

import pytest
from django.core import mail
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.visits.added import added_by
from surveys.visits.notices import mail_accepted
from surveys.visits.verbs import accept
from tests.support.builders import make_accepted_visit, make_checklist, make_route
from tests.support.sheets import make_submitted, plain_cells


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus", "Rana c")


@pytest.fixture
def route(program, species):
    return make_route(program)


def heard_in(route, person, year, heard):
    make_accepted_visit(route, person, night=dt.date(year, 4, 15), heard=heard)


def test_first_ever_and_first_since(observer, route, species):
    """The peeper was there last in 2021, the wood frog never, the third one last season."""
    peeper, wood_frog, third = species
    heard_in(route, observer.person, 2021, {1: {peeper: 2}})
    heard_in(route, observer.person, 2023, {1: {third: 1}})
    heard_in(route, observer.person, 2024, {1: {peeper: 1, wood_frog: 1, third: 2}})
    visit = route.visits.get(night=dt.date(2024, 4, 15))
    assert added_by(visit) == [
        f"First {wood_frog.name} at stop 1.",
        f"First {peeper.name} at stop 1 since 2021.",
    ]


def test_nothing_is_news_at_a_stop_that_was_never_surveyed(observer, route, species):
    heard_in(route, observer.person, 2024, {1: {species[0]: 1}})
    assert added_by(route.visits.get()) == []


def test_the_observer_is_thanked(observer, coordinator, route, species):
    visit = make_submitted(observer, route, plain_cells(heard={1: {species[0]: 2}}))
    accept(coordinator, visit.pk, revision=visit.revision, site_url="https://x.example/")
    (job,) = ProcrastinateJob.objects.filter(task_name="visits.mail_accepted")
    mail_accepted(**job.args)
    (letter,) = mail.outbox
    assert letter.to == [observer.person.email]
    assert "is accepted. Thank you." in letter.body
    assert f"https://x.example/{observer.program.slug}/visits/{visit.pk}/" in letter.body


def test_many_at_once_send_no_mail(observer, coordinator, route, species):
    visit = make_submitted(observer, route, plain_cells())
    accept(coordinator, visit.pk, revision=visit.revision)
    assert not ProcrastinateJob.objects.filter(task_name="visits.mail_accepted").exists()
