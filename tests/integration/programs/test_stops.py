"""Stops: numbers, places, spacing, closing and moving."""

import datetime as dt

import pytest
from django.contrib.gis.geos import Point
from django.core.exceptions import ValidationError

from surveys.programs import stops
from surveys.protocol.values import Place
from tests.support.builders import (
    make_accepted_visit,
    make_route,
)

pytestmark = pytest.mark.django_db
MAY = dt.date(2025, 5, 1)
NIGHT = dt.date(2024, 4, 15)
NEAR = Place(latitude=43.09, longitude=-89.40)
FACTS = stops.StopFacts(name="By the culvert")


@pytest.fixture
def route(program):
    return make_route(program, stops=3)


@pytest.fixture
def surveyed(route, observer):
    make_accepted_visit(route, observer.person, night=NIGHT)
    return route


def add(member, route, **changes):
    facts = {"number": 4, "place": NEAR, "active_from": MAY, "facts": FACTS}
    return stops.add_stop(member, route.pk, **{**facts, **changes})


def change(member, stop, **changes):
    facts = {
        "number": stop.number,
        "place": Place(latitude=stop.place.y, longitude=stop.place.x),
        "active_from": stop.active_from,
        "facts": FACTS,
    }
    return stops.change_stop(member, stop.pk, **{**facts, **changes})


def close(member, stop, last_night=MAY, reason="No safe place to park."):
    return stops.close_stop(member, stop.pk, last_night=last_night, reason=reason)


def said(refusal, field):
    return " ".join(refusal.value.message_dict[field])


class TestSpacing:
    def test_it_is_the_length_on_the_ellipsoid(self, route):
        """45° N, 0.01° of longitude: 788.468 m on WGS84 (on the mean sphere 786.268 m).
        Karney 2013, J. Geod. 87:43-55, recomputed."""
        for number in (1, 2, 3):
            place = Point(-90 + 0.01 * (number - 1), 45.0, srid=4326)
            route.stops.filter(number=number).update(place=place)
        first, second, third = stops.present_stops(route)
        assert first.meters_from_last is None
        assert second.meters_from_last == pytest.approx(788.468, abs=0.001)
        assert third.meters_from_last == pytest.approx(788.468, abs=0.001)

    def test_closed_stops_are_left_out(self, coordinator, route):
        close(coordinator, route.stops.get(number=2))
        assert [stop.number for stop in stops.present_stops(route)] == [1, 3]
        assert stops.present_stops(route)[1].meters_from_last == pytest.approx(2037, abs=5)

    def test_a_line_wants_two_stops(self, route):
        present = stops.present_stops(route)
        assert stops.straight_line(present[:1]) is None
        assert len(stops.straight_line(present).coords) == 3


class TestAdding:
    def test_a_stop(self, coordinator, route):
        stop = add(coordinator, route)
        stop.refresh_from_db()
        assert (stop.place.y, stop.place.x) == (43.09, -89.40)
        assert stops.next_number(route) == 5

    def test_a_number_in_use_is_said_in_words(self, coordinator, route):
        with pytest.raises(ValidationError) as refusal:
            add(coordinator, route, number=2)
        assert "Number 2 belongs to the stop “Stop 2”" in said(refusal, "number")

    def test_a_number_is_free_after_its_stop_closed(self, coordinator, route):
        close(coordinator, route.stops.get(number=2))
        with pytest.raises(ValidationError, match="until 1 May 2025"):
            add(coordinator, route, number=2, active_from=MAY)
        assert add(coordinator, route, number=2, active_from=MAY + dt.timedelta(days=1))

    @pytest.mark.parametrize(
        ("place", "text"),
        [
            (Place(latitude=-89.40, longitude=43.09), "swapped"),
            (Place(latitude=43.09, longitude=89.40), "minus sign of the longitude"),
            (Place(latitude=10.0, longitude=10.0), "Check both numbers"),
        ],
    )
    def test_a_place_far_from_the_route_is_asked_about(self, coordinator, route, place, text):
        with pytest.raises(ValidationError) as refusal:
            add(coordinator, route, place=place)
        assert text in said(refusal, "latitude")
        assert "km from the other stops" in said(refusal, "latitude")
        route.program.distance_unit = "mi"
        with pytest.raises(ValidationError, match=r"This is .* mi from the other stops"):
            stops.check_place(route, place)

    def test_the_first_stop_is_compared_with_the_program(self, coordinator, program, route):
        empty = make_route(program, stops=0)
        with pytest.raises(ValidationError, match="swapped"):
            add(coordinator, empty, number=1, place=Place(latitude=-89.40, longitude=43.09))
        far_but_fair = Place(latitude=48.0, longitude=-120.0)
        assert add(coordinator, empty, number=1, place=far_but_fair)

    def test_a_name_is_wanted(self, coordinator, route):
        with pytest.raises(ValidationError) as refusal:
            add(coordinator, route, facts=stops.StopFacts(name=" "))
        assert "name" in refusal.value.message_dict


class TestChanging:
    def test_a_stop_nobody_listened_at_may_move(self, coordinator, route):
        stop = change(coordinator, route.stops.get(number=1), place=NEAR, number=7)
        stop.refresh_from_db()
        assert (stop.number, stop.place.y) == (7, 43.09)

    @pytest.mark.parametrize("changes", [{"place": NEAR}, {"number": 7}])
    def test_a_surveyed_stop_stays(self, coordinator, surveyed, changes):
        with pytest.raises(ValidationError, match="its number and place stay"):
            change(coordinator, surveyed.stops.get(number=1), **changes)

    def test_a_surveyed_stop_takes_new_facts(self, coordinator, surveyed):
        facts = stops.StopFacts(name="By the culvert", habitat="grassy", fish="no")
        stop = change(coordinator, surveyed.stops.get(number=1), facts=facts)
        stop.refresh_from_db()
        assert (stop.name, stop.habitat, stop.fish) == ("By the culvert", "grassy", "no")

    def test_the_first_night_is_not_after_a_visit(self, coordinator, surveyed):
        stop = surveyed.stops.get(number=1)
        with pytest.raises(ValidationError) as refusal:
            change(coordinator, stop, active_from=NIGHT + dt.timedelta(days=1))
        assert "visit to this stop on 15 April 2024" in said(refusal, "active_from")
        assert change(coordinator, stop, active_from=NIGHT)

    def test_a_taken_number(self, coordinator, route):
        with pytest.raises(ValidationError, match="belongs to the stop"):
            change(coordinator, route.stops.get(number=1), number=2)


class TestClosing:
    def test_the_reason_is_kept_in_the_notes(self, coordinator, route):
        route.stops.filter(number=1).update(notes="Park at the gate.")
        stop = close(coordinator, route.stops.get(number=1))
        stop.refresh_from_db()
        assert stop.active_until == MAY
        assert stop.notes == ("Park at the gate.\nClosed after 1 May 2025: No safe place to park.")

    @pytest.mark.parametrize(
        ("last_night", "reason", "field", "text"),
        [
            (MAY, "  ", "reason", "Say why"),
            (dt.date(1999, 1, 1), "Gone", "last_night", "opened on 1 January 2000"),
            (NIGHT - dt.timedelta(days=1), "Gone", "last_night", "on 15 April 2024"),
        ],
    )
    def test_what_cannot_be(self, coordinator, surveyed, last_night, reason, field, text):
        with pytest.raises(ValidationError) as refusal:
            close(coordinator, surveyed.stops.get(number=1), last_night, reason)
        assert text in said(refusal, field)

    def test_it_closes_once(self, coordinator, route):
        close(coordinator, route.stops.get(number=1))
        with pytest.raises(ValidationError, match="closed on 1 May 2025 already"):
            close(coordinator, route.stops.get(number=1))


class TestMoving:
    def move(self, member, stop, **changes):
        facts = {"first_night": MAY, "place": NEAR, "reason": "New road.", "facts": FACTS}
        return stops.move_stop(member, stop.pk, **{**facts, **changes})

    def test_the_old_stop_closes_and_a_new_one_opens(self, coordinator, surveyed):
        old = surveyed.stops.get(number=2)
        new = self.move(coordinator, old)
        old.refresh_from_db()
        assert old.active_until == MAY - dt.timedelta(days=1)
        assert (new.number, new.active_from, new.active_until) == (2, MAY, None)
        assert old.periods.count() == 1
        assert new.periods.count() == 0

    def test_it_cannot_move_before_a_visit(self, coordinator, surveyed):
        old = surveyed.stops.get(number=2)
        with pytest.raises(ValidationError) as refusal:
            self.move(coordinator, old, first_night=NIGHT)
        assert "on 15 April 2024" in said(refusal, "first_night")

    def test_nothing_is_closed_when_the_new_place_is_refused(self, coordinator, route):
        old = route.stops.get(number=2)
        with pytest.raises(ValidationError):
            self.move(coordinator, old, place=Place(latitude=10.0, longitude=10.0))
        old.refresh_from_db()
        assert old.active_until is None
