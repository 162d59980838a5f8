"""Rows written by COPY are as INSERT would write them, with their history."""

from decimal import Decimal

import pghistory
import pytest
from django.contrib.gis.geos import Point
from django.db import IntegrityError, transaction

from surveys.models import CallIndex, ListeningPeriod
from surveys.visits.copying import CopyingBeside
from tests.support.builders import make_accepted_visit, make_route

pytestmark = pytest.mark.django_db


@pytest.fixture
def period(program, observer):
    """A listening period that is not stored, with what text could spoil."""
    visit = make_accepted_visit(make_route(program), observer.person)
    period = visit.periods.first()
    CallIndex.objects.filter(period=period).delete()
    ListeningPeriod.objects.filter(pk=period.pk).delete()
    period.measured_at = Point(-89.4012, 43.0731, srid=4326)
    period.air_temperature_c = Decimal("8.88888")
    period.note = 'A tab\t, a backslash \\N,\n"quotes" and Étang'
    period.own_fields = {"cars": 3, "seen": 'a "heron"\n'}
    return period


def test_every_kind_of_value_arrives_with_its_history(period):
    with pghistory.context(user=7), CopyingBeside() as copying:
        copying.copy([[period], []])
    stored = ListeningPeriod.objects.get(pk=period.pk)
    for field in ListeningPeriod._meta.concrete_fields:
        if field.name not in ("air_temperature_c", "measured_at"):
            assert getattr(stored, field.attname) == getattr(period, field.attname), field.name
    assert stored.air_temperature_c == Decimal("8.8889")
    assert stored.measured_at.coords == pytest.approx(period.measured_at.coords)
    event = period.events.filter(pgh_label="insert").latest("pgh_id")
    assert (event.note, event.own_fields) == (period.note, period.own_fields)
    assert event.pgh_context.metadata == {"user": 7}


def test_what_the_database_refuses_is_raised(period):
    twice = ListeningPeriod(visit_id=period.visit_id, stop_id=period.stop_id, status="listened")
    with pytest.raises(IntegrityError, match="once_per_stop"), transaction.atomic():
        copy_both(period, twice)
    assert not ListeningPeriod.objects.filter(pk=period.pk).exists()


def copy_both(*rows):
    with CopyingBeside() as copying:
        for row in rows:
            copying.copy([[row]])
