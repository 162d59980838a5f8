"""The line of a route: drawn, changed, taken away."""

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from surveys.programs.lines import (
    change_line,
    line_text,
)
from tests.support.builders import make_route

pytestmark = pytest.mark.django_db


@pytest.fixture
def route(program):
    return make_route(program)


def near(route, *steps):
    stop = route.stops.first()
    return "\n".join(f"{stop.place.y + step:.6f}, {stop.place.x:.6f}" for step in steps)


def test_drawing_changing_and_taking_away(coordinator, route):
    text = near(route, 0, 0.01, 0.02)
    assert line_text(change_line(coordinator, route.pk, points=text)) == text
    route.refresh_from_db()
    assert route.line.srid == 4326
    assert line_text(route) == text
    assert line_text(change_line(coordinator, route.pk, points=near(route, 0, 0.03)))
    assert change_line(coordinator, route.pk, points=" ").line is None
    assert [event.line is None for event in route.events.order_by("pgh_id")] == [
        True,
        False,
        False,
        True,
    ]


def test_a_line_far_from_its_stops_is_a_slip(coordinator, route):
    stop = route.stops.first()
    swapped = f"{near(route, 0)}\n{stop.place.y:.6f}, {-stop.place.x:.6f}"
    with pytest.raises(ValidationError) as refused:
        change_line(coordinator, route.pk, points=swapped)
    said = refused.value.message_dict["points"][0]
    assert "Point 2 is far from the stops" in said
    assert "minus sign of the longitude" in said


def test_observers_draw_nothing(observer, route):
    with pytest.raises(PermissionDenied):
        change_line(observer, route.pk, points=near(route, 0, 0.01))


def test_the_screen(program, coordinator, route, client_for):
    page = client_for(coordinator)
    address = reverse("web:program_route_line", args=[program.slug, route.pk])
    form = page.get(address).context["form"]
    wrong = page.post(address, {"points": "turn left", "seen": form.seen_text}).content.decode()
    assert "Line 1: “turn” is not a number of degrees" in wrong
    assert "turn left" in wrong
    text = near(route, 0, 0.01)
    saved = page.post(address, {"points": text, "seen": form.seen_text}, follow=True)
    assert "The line of route" in saved.content.decode()
    assert "Change the line" in saved.content.decode()
    late = page.post(address, {"points": near(route, 0, 0.05), "seen": form.seen_text})
    assert "You changed “Points of the line” while" in late.content.decode()
    route.refresh_from_db()
    assert line_text(route) == text
