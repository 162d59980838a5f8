"""Recordings that wait for a coordinator's ear."""

import pytest
from django.utils import timezone

from surveys.models import CallIndex, Confirmation, RecordingKind, VisitState
from surveys.visits.to_hear import recordings_to_hear
from tests.support.builders import make_accepted_visit, make_checklist, make_route
from tests.support.sounds import keep, sound

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(program, observer):
    peeper, toad = make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    return make_accepted_visit(
        make_route(program),
        observer.person,
        heard={1: {peeper: 2, toad: 1}},
        state=VisitState.SUBMITTED,
        counts_in_trends=False,
    )


def test_a_voucher_waits_until_the_call_of_its_species_is_confirmed(visit, observer, coordinator):
    stop = visit.route.stops.get(number=1)
    species = visit.periods.get(stop=stop).calls.get(index=2).species
    of_peeper = keep(observer, visit, sound(), stop=stop.number, species=species.code)
    keep(observer, visit, sound(seed=2), stop=2, species=species.code)  # not on the sheet there
    assert list(recordings_to_hear(coordinator, 2024)) == [of_peeper]
    assert not recordings_to_hear(coordinator, 2025).exists()
    assert not recordings_to_hear(observer, 2024).exists()
    Confirmation.objects.create(
        call=CallIndex.objects.get(period__visit=visit, species=species),
        recording=of_peeper,
        by=coordinator.person,
        at=timezone.now(),
    )
    assert not recordings_to_hear(coordinator, 2024).exists()


def test_a_note_waits_while_its_visit_does(visit, observer, coordinator):
    note = keep(observer, visit, sound(), kind=RecordingKind.NOTE)
    assert list(recordings_to_hear(coordinator, 2024)) == [note]
    type(visit).objects.filter(pk=visit.pk).update(state=VisitState.ACCEPTED)
    assert not recordings_to_hear(coordinator, 2024).exists()
