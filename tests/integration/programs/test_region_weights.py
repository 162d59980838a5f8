"""What each region counts in what is told of the whole program."""

from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from accounts.edit_conflicts import EditConflict, Seen
from surveys.fitting.histories import load_periods
from surveys.fitting.stamps import data_stamp
from surveys.programs.region_weights import field_of, weigh_regions, weight_facts
from tests.support.builders import make_program, make_route

pytestmark = pytest.mark.django_db
ARE = "wetlands on the map"


@pytest.fixture(autouse=True)
def routes(program):
    make_route(program, region="North, east", active=False)
    make_route(program, region="South")
    make_route(program, region="")
    make_route(make_program(), region="Elsewhere")


def weigh(member, north, south, *, weights_are=ARE, **more):
    weights = {"North, east": north, "South": south}
    return weigh_regions(member, weights, weights_are=weights_are, **more)


def test_every_region_of_the_program_has_its_weight(coordinator):
    before = data_stamp(coordinator.program)
    program = weigh(coordinator, Decimal("2.5"), Decimal(0))
    assert program.region_weights == {"North, east": 2.5, "South": 0.0}
    assert program.weights_are == ARE
    assert load_periods(program).weights == program.region_weights
    assert data_stamp(program) != before
    assert weight_facts(program)["North, east"] == "2.5"
    assert weight_facts(program)["South"] == "0"


def test_none_to_any_takes_them_back(coordinator):
    weigh(coordinator, Decimal(1), Decimal(2))
    program = weigh(coordinator, None, None, weights_are="")
    assert (program.region_weights, program.weights_are) == ({}, "")


@pytest.mark.parametrize(
    ("north", "south", "are", "field", "said"),
    [
        (None, Decimal(1), ARE, field_of("North, east"), "0 leaves a region out"),
        (Decimal(-1), Decimal(1), ARE, field_of("North, east"), "0 or more"),
        (Decimal(0), Decimal(0), ARE, field_of("South"), "above 0"),
        (Decimal(1), Decimal(1), " ", "weights_are", "Say what the weights are"),
    ],
)
def test_what_cannot_be_is_said_by_field(coordinator, north, south, are, field, said):
    with pytest.raises(ValidationError) as refusal:
        weigh(coordinator, north, south, weights_are=are)
    assert said in refusal.value.message_dict[field][0]
    coordinator.program.refresh_from_db()
    assert coordinator.program.region_weights == {}


def test_a_weight_that_somebody_else_set_meanwhile_is_not_overwritten(coordinator):
    seen = Seen(facts=weight_facts(coordinator.program), at=timezone.now())
    weigh(coordinator, Decimal(1), Decimal(2))
    with pytest.raises(EditConflict):
        weigh(coordinator, Decimal(5), Decimal(5), seen=seen)


def test_observers_set_no_weights(observer):
    with pytest.raises(PermissionDenied):
        weigh(observer, Decimal(1), Decimal(2))
