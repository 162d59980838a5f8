"""A program's own fields: what can be changed, and what stays once there is data."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404

from accounts.models import Role
from surveys.models import OwnField, Submission
from surveys.programs import own_fields
from surveys.programs.assignments import today_of
from surveys.programs.in_force import own_fields_on
from surveys.programs.own_fields import Definition
from surveys.visits.drafts import save_cells, start_visit
from surveys.visits.sheet.cells import CellChange
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_own_field,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db
NIGHT = dt.date(2024, 4, 15)
SALINITY = Definition(
    label="Salinity",
    kind="number",
    per="stop",
    unit="ppt",
    low=Decimal(0),
    high=Decimal(45),
)
SHORE = Definition(label="Shore", kind="choice", per="stop", choices=("Reed", "Open", "", "Open 2"))


def refusal(verb, *arguments) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as refused:
        verb(*arguments)
    return refused.value.message_dict


def with_data(program, field, value=3):
    visit = make_accepted_visit(make_route(program, stops=1), make_member(program).person)
    visit.periods.update(own_fields={field.key: value})
    return visit


def test_a_field_is_added_last_with_a_key_of_its_own(coordinator):
    first = own_fields.add_field(coordinator, SALINITY)
    second = own_fields.add_field(coordinator, replace(SALINITY, label="Salinity!"))
    third = own_fields.add_field(coordinator, replace(SALINITY, label="水"))
    assert [field.key for field in (first, second, third)] == ["salinity", "salinity_2", "field"]
    assert list(own_fields.own_fields_of(coordinator.program)) == [first, second, third]


def test_choices_keep_their_keys_when_they_are_renamed(coordinator):
    field = own_fields.add_field(coordinator, SHORE)
    assert field.choices == [["reed", "Reed"], ["open", "Open"], ["open_2", "Open 2"]]
    with_data(coordinator.program, field, "open")
    renamed = replace(SHORE, choices=("Reed bed", "Bare shore", "Open 2", "", "Reed"))
    changed = own_fields.change_field(coordinator, field.pk, renamed)
    assert changed.choices == [
        ["reed", "Reed bed"],
        ["open", "Bare shore"],
        ["open_2", "Open 2"],
        ["reed_2", "Reed"],
    ]


def test_a_text_is_not_published_unless_somebody_says_so(coordinator):
    text = Definition(label="Remark", kind="text", per="visit")
    assert own_fields.add_field(coordinator, text).published is False
    assert own_fields.add_field(coordinator, SALINITY).published is True
    assert (
        own_fields.add_field(coordinator, replace(text, label="Gate", published=True)).published
        is True
    )
    assert own_fields.add_field(coordinator, replace(SHORE, published=False)).published is False


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"kind": "whole"}, "kind"),
        ({"per": "visit"}, "per"),
        ({"unit": "g/l"}, "unit"),
        ({"low": Decimal(1)}, "low"),
        ({"high": Decimal(40)}, "high"),
    ],
)
def test_what_a_value_means_stays_once_there_is_one(coordinator, change, place):
    field = own_fields.add_field(coordinator, SALINITY)
    changed = replace(SALINITY, **change)
    own_fields.change_field(coordinator, field.pk, changed)
    own_fields.change_field(coordinator, field.pk, SALINITY)
    with_data(coordinator.program, field)
    assert list(refusal(own_fields.change_field, coordinator, field.pk, changed)) == [place]
    wider = replace(SALINITY, low=None, high=Decimal(90), label="Salt")
    assert own_fields.change_field(coordinator, field.pk, wider).label == "Salt"


def test_a_choice_that_was_used_cannot_be_taken_away(coordinator):
    field = own_fields.add_field(coordinator, SHORE)
    with_data(coordinator.program, field, "reed")
    without = replace(SHORE, choices=("", "Open", "Open 2"))
    assert "You can rename them" in str(
        refusal(own_fields.change_field, coordinator, field.pk, without)["choice_0"]
    )


def test_a_field_without_data_can_be_deleted(coordinator):
    field = own_fields.add_field(coordinator, SALINITY)
    own_fields.delete_field(coordinator, field.pk)
    assert not OwnField.objects.exists()


@pytest.mark.parametrize("where", ["rows", "draft", "submission"])
def test_a_field_with_data_cannot_be_deleted(coordinator, observer, where):
    field = own_fields.add_field(coordinator, SALINITY)
    route = make_route(coordinator.program, stops=1)
    if where == "rows":
        with_data(coordinator.program, field)
    else:
        visit = start_visit(observer, route=route, night=NIGHT)
        save_cells(observer, visit.pk, {"stops.1.own.salinity": CellChange(was="", now="3")})
    if where == "submission":
        visit.refresh_from_db()
        Submission.objects.create(
            visit=visit,
            revision=9,
            cells=visit.cells,
            submitted_by=observer.person,
            submitted_at=dt.datetime(2024, 4, 16, tzinfo=dt.UTC),
        )
        visit.cells = {}
        visit.save()
    with pytest.raises(ValidationError, match="has data, so it cannot be deleted"):
        own_fields.delete_field(coordinator, field.pk)


def test_a_field_like_another_has_its_own_data(coordinator):
    """`salinity` is not `pre_salinity`, and not that of the neighbor."""
    field = own_fields.add_field(coordinator, SALINITY)
    other = make_own_field(coordinator.program, "Pre salinity")
    neighbor = make_own_field(make_program(), "Salinity")
    for with_value in (other, neighbor):
        visit = with_data(with_value.program, with_value)
        draft = start_visit(
            make_member(with_value.program), route=visit.route, night=dt.date(2024, 5, 1)
        )
        draft.cells = {f"stops.1.own.{with_value.key}": "3"}
        draft.save()
    assert not own_fields.has_data(field)
    assert own_fields.has_data(other)
    assert own_fields.has_data(neighbor)


def test_a_field_is_asked_between_its_nights(coordinator):
    field = own_fields.add_field(
        coordinator, replace(SALINITY, asked_from=NIGHT, asked_until=NIGHT + dt.timedelta(days=2))
    )
    asked = [
        own_fields_on([field], NIGHT + dt.timedelta(days=days))[0].asked for days in (-1, 0, 2, 3)
    ]
    assert asked == [False, True, True, False]


def test_what_becomes_required_is_missing_from_today_on_only(coordinator):
    today = today_of(coordinator.program)
    field = own_fields.add_field(coordinator, SALINITY)
    assert field.required_from is None
    required = replace(SALINITY, required=True)
    field = own_fields.change_field(coordinator, field.pk, required)
    assert field.required_from == today
    yesterday, then = (
        own_fields_on([field], today - dt.timedelta(days=days))[0].required for days in (1, 0)
    )
    assert (yesterday, then) == (False, True)
    OwnField.objects.update(required_from=NIGHT)
    assert own_fields.change_field(coordinator, field.pk, required).required_from == NIGHT


def test_a_field_asked_again_is_required_from_then_on(coordinator):
    ended = replace(SALINITY, required=True, asked_until=NIGHT)
    field = own_fields.add_field(coordinator, ended)
    OwnField.objects.update(required_from=NIGHT)
    again = own_fields.change_field(coordinator, field.pk, replace(ended, asked_until=None))
    assert again.required_from == today_of(coordinator.program)


@pytest.mark.parametrize(
    ("definition", "place"),
    [
        (replace(SALINITY, low=Decimal(50)), "high"),
        (replace(SHORE, choices=("Reed", "")), "choice_0"),
        (replace(SHORE, choices=("Reed", "reed")), "choice_0"),
        (replace(SALINITY, asked_from=NIGHT, asked_until=dt.date(2024, 1, 1)), "asked_until"),
        (replace(SALINITY, label="water DEPTH"), "label"),
    ],
)
def test_what_cannot_be_a_field_is_said_beside_its_place(coordinator, definition, place):
    make_own_field(coordinator.program, "Water depth")
    assert list(refusal(own_fields.add_field, coordinator, definition)) == [place]


def test_order(coordinator):
    first, second = (
        own_fields.add_field(coordinator, replace(SALINITY, label=label)) for label in ("A", "B")
    )
    own_fields.move_field(coordinator, second.pk, up=True)
    own_fields.move_field(coordinator, second.pk, up=True)
    assert list(own_fields.own_fields_of(coordinator.program)) == [second, first]


def test_a_neighbor_cannot_touch_a_field(coordinator):
    field = own_fields.add_field(coordinator, SALINITY)
    neighbor = make_member(make_program(), Role.COORDINATOR)
    other = own_fields.add_field(neighbor, SALINITY)
    assert other.key == "salinity"
    for verb in (
        lambda: own_fields.change_field(neighbor, field.pk, SHORE),
        lambda: own_fields.delete_field(neighbor, field.pk),
        lambda: own_fields.move_field(neighbor, field.pk, up=True),
    ):
        with pytest.raises(Http404):
            verb()


def test_only_coordinators_define_fields(observer):
    with pytest.raises(PermissionDenied):
        own_fields.add_field(observer, SALINITY)
