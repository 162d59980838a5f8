"""The screen on which a coordinator defines the program's own fields."""

import datetime as dt

import pytest
from django.urls import reverse

from surveys.models import OwnField
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_own_field,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db
TYPED = {
    "label": " Water   depth ",
    "help": "At the edge, with the rod",
    "kind": "number",
    "per": "stop",
    "unit": "cm",
    "low": "0",
    "high": "300",
    "required": "on",
    "published": "by_kind",
    "asked_from": "2024-03-01",
}


@pytest.fixture
def page(coordinator, client_for):
    return client_for(coordinator)


def url(name, program, **kwargs):
    return reverse(f"web:program_own_{name}", kwargs={"program": program.slug, **kwargs})


def test_a_field_is_added(page, program):
    added = page.post(url("field_add", program), TYPED, follow=True)
    assert "“Water depth” is on the sheet." in added.content.decode()
    field = OwnField.objects.get()
    assert (field.key, field.label, field.unit) == ("water_depth", "Water depth", "cm")
    assert (field.low, field.high, field.published) == (0, 300, True)
    assert field.asked_from == dt.date(2024, 3, 1)
    assert field.required_from is not None


def test_a_field_begins_tonight_unless_something_else_is_typed(page, program):
    form = page.get(url("field_add", program)).context["form"]
    assert form["asked_from"].value() == form.initial["asked_from"]
    assert form.initial["asked_from"].year >= 2024


def test_choices_are_typed_one_by_one(page, program):
    typed = TYPED | {"kind": "choice", "choice_0": "Reed bed", "choice_2": "Open shore"}
    page.post(url("field_add", program), typed)
    field = OwnField.objects.get()
    assert field.choices == [["reed_bed", "Reed bed"], ["open_shore", "Open shore"]]
    # What is only for numbers is not kept for a choice.
    assert (field.unit, field.low) == ("", None)
    form = page.get(url("field", program, own_field=field.pk)).context["form"]
    assert [one.value() for one in form.choice_fields][:3] == ["Reed bed", "Open shore", ""]


def test_a_mistake_is_named_beside_its_place_and_nothing_typed_is_lost(page, program):
    refused = page.post(url("field_add", program), TYPED | {"kind": "choice", "choice_0": "Reed"})
    shown = refused.content.decode()
    assert "Give at least two choices." in shown
    assert 'value="Reed"' in shown
    assert "At the edge, with the rod" in shown
    assert not OwnField.objects.exists()


def test_a_change_is_saved_and_a_stale_one_is_refused(page, program):
    field = make_own_field(program, "Salinity", unit="ppt", order=1)
    address = url("field", program, own_field=field.pk)
    form = page.get(address).context["form"]
    typed = {**TYPED, "label": "Salt", "unit": "ppt", "seen": form.seen_text}
    OwnField.objects.update(help="By somebody else")
    conflict = page.post(address, typed).content.decode()
    assert "“Help”" in conflict
    assert OwnField.objects.get().label == "Salinity"
    again = page.get(address).context["form"].seen_text
    assert page.post(address, typed | {"seen": again}).status_code == 302
    assert OwnField.objects.get().label == "Salt"


def test_a_field_with_data_offers_no_deletion(page, program):
    field = make_own_field(program)
    address = url("field", program, own_field=field.pk)
    assert "Delete the field" in page.get(address).content.decode()
    visit = make_accepted_visit(make_route(program, stops=1), make_member(program).person)
    visit.periods.update(own_fields={"salinity": 3})
    shown = page.get(address).content.decode()
    assert "Delete the field" not in shown
    assert "This field has data." in shown
    refused = page.post(url("field_delete", program, own_field=field.pk), follow=True)
    assert "cannot be deleted" in refused.content.decode()
    assert OwnField.objects.count() == 1


def test_the_list_tells_those_asked_from_those_that_ended(page, program):
    make_own_field(program, "Salinity")
    make_own_field(program, "Old depth", asked_until=dt.date(2020, 1, 1))
    make_own_field(make_program(), "Of the neighbor")
    shown = page.get(url("fields", program))
    assert [field.label for field in shown.context["asked"]] == ["Salinity"]
    assert [field.label for field in shown.context["ended"]] == ["Old depth"]
    assert "Of the neighbor" not in shown.content.decode()


def test_moving_and_deleting(page, program):
    first, second = make_own_field(program, "First"), make_own_field(program, "Second")
    page.post(url("field_move", program, own_field=second.pk), {"to": "up"})
    assert list(program.own_fields.all()) == [second, first]
    page.post(url("field_delete", program, own_field=first.pk))
    assert list(program.own_fields.all()) == [second]
