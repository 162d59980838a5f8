"""Every constraint of the data model also stands in the database."""

import datetime as dt

import pytest
from django.contrib.gis.geos import Point
from django.db import Error, IntegrityError, transaction

from surveys.models import (
    CallIndex,
    JointMember,
    ListeningPeriod,
    Publication,
    Stop,
    Visit,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_joint_entry,
    make_route,
    make_species,
    make_version,
)

NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def visit(program, observer):
    (peeper,) = make_checklist(program)
    return make_accepted_visit(
        make_route(program), observer.person, night=NIGHT, heard={1: {peeper: 2}}
    )


@pytest.mark.parametrize("index", [-1, 0, 4])
def test_stored_index_is_1_to_3(visit, index):
    with pytest.raises(IntegrityError), transaction.atomic():
        CallIndex.objects.update(index=index)


def test_not_sure_has_no_index_and_never_counts(visit):
    call = CallIndex.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        CallIndex.objects.filter(pk=call.pk).update(not_sure=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        CallIndex.objects.filter(pk=call.pk).update(not_sure=True, index=None)
    CallIndex.objects.filter(pk=call.pk).update(not_sure=True, index=None, counts_in_trends=False)


def test_one_listening_period_a_stop_and_visit(visit):
    stop = visit.route.stops.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        ListeningPeriod.objects.create(visit=visit, stop=stop, status="skipped")


def test_stop_number_is_unique_while_both_stops_are_active(visit):
    route = visit.route
    place = Point(-89.4, 43.0, srid=4326)
    with pytest.raises(IntegrityError), transaction.atomic():
        Stop.objects.create(
            route=route, number=1, name="Again", place=place, active_from=dt.date(2020, 1, 1)
        )
    route.stops.filter(number=1).update(active_until=dt.date(2019, 12, 31))
    Stop.objects.create(
        route=route, number=1, name="Moved", place=place, active_from=dt.date(2020, 1, 1)
    )


def test_listening_finishes_after_it_started(visit):
    period = visit.periods.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        ListeningPeriod.objects.filter(pk=period.pk).update(finished_at=period.started_at)


def test_skipped_stop_never_counts(visit):
    with pytest.raises(IntegrityError), transaction.atomic():
        visit.periods.update(status="skipped")


@pytest.mark.parametrize(("field", "value"), [("sky", "mild"), ("beaufort", 13), ("noise", "loud")])
def test_codes_stay_in_their_range(visit, field, value):
    with pytest.raises(IntegrityError), transaction.atomic():
        visit.periods.update(**{field: value})


def test_geography_points_lie_on_the_globe(visit):
    """PostGIS wraps coordinates of a geography; whatever is stored lies in WGS84 bounds."""
    stop = visit.route.stops.first()
    stop.place = Point(270.0, 43.0, srid=4326)
    stop.save()
    stop.refresh_from_db()
    assert stop.place.x == pytest.approx(-90.0)


@pytest.mark.parametrize("state", ["draft", "sent_back", "set_aside"])
def test_accepted_visit_steps_only_back_to_submitted(visit, state):
    with pytest.raises(Error), transaction.atomic():
        Visit.objects.filter(pk=visit.pk).update(state=state, counts_in_trends=False)


def test_protocol_version_is_frozen_once_a_visit_refers_to_it(visit, program):
    used = visit.protocol_version
    with pytest.raises(Error, match="in use by visits"), transaction.atomic():
        type(used).objects.filter(pk=used.pk).update(listening_time_s=600)
    with pytest.raises(Error, match="in use by visits"), transaction.atomic():
        used.windows.update(name="Late spring")
    unused = make_version(program)
    type(unused).objects.filter(pk=unused.pk).update(listening_time_s=600)


def test_publication_is_frozen(program, coordinator):
    publication = Publication.objects.create(
        program=program,
        season_year=2024,
        version=1,
        title="Yearly table 2024",
        method="",
        software="0",
        row_count=0,
        visit_count=0,
        sha256="0" * 64,
        published_by=coordinator.person,
        published_at=dt.datetime(2024, 9, 1, tzinfo=dt.UTC),
    )
    with pytest.raises(Error), transaction.atomic():
        Publication.objects.update(title="Another title")
    with pytest.raises(Error), transaction.atomic():
        publication.delete()


def test_history_is_written_by_the_database(visit):
    """A bulk update goes past save() and still leaves a row."""
    Visit.objects.filter(pk=visit.pk).update(notes="Fog after ten")
    labels = list(
        Visit.pgh_event_model.objects.filter(pgh_obj_id=visit.pk)
        .order_by("pgh_id")
        .values_list("pgh_label", "notes")
    )
    assert labels == [("insert", ""), ("change", "Fog after ten")]


@pytest.mark.parametrize(
    "season",
    [(2, 30, 3, 1), (2, 3, None, None), (2, None, 3, None), (None, None, 3, 1)],
    ids=["no such day", "no last day", "months only", "no first day"],
)
def test_a_calling_season_has_both_ends_or_none(program, season):
    make_checklist(program)
    names = ("calls_from_month", "calls_from_day", "calls_to_month", "calls_to_day")
    with pytest.raises(IntegrityError), transaction.atomic():
        program.checklist.update(**dict(zip(names, season, strict=True)))


def test_only_joint_entries_have_members_and_only_species_are_members(db):
    gray, cope, bark = (make_species(name) for name in ("Hyla a", "Hyla b", "Hyla c"))
    joint, other = make_joint_entry("Hyla a / b", gray, cope), make_joint_entry("Hyla b / c", bark)
    assert set(gray.joint_entries.all()) == {joint}
    for group, member in ((gray, cope), (joint, other), (joint, joint)):
        with pytest.raises(IntegrityError), transaction.atomic():
            JointMember.objects.create(joint=group, member=member)
    with pytest.raises(IntegrityError), transaction.atomic():
        JointMember.objects.create(joint=joint, member=gray)
