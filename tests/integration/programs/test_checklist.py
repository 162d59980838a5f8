"""The checklist: what is listed when, and why a listing is not made longer."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.http import Http404

from surveys.models import (
    ChecklistEntry,
    Sensitivity,
    Species,
)
from surveys.programs import checklist
from surveys.programs.checklist import Listing
from surveys.protocol.values import MonthDay
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_route,
    make_species,
)

pytestmark = pytest.mark.django_db
WINTER = (MonthDay(month=12, day=15), MonthDay(month=3, day=10))
MARCH, MAY = dt.date(2024, 3, 1), dt.date(2024, 5, 1)
NIGHT = dt.date(2024, 4, 15)


@pytest.fixture
def entries(program):
    make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus", "Hyla arborea")
    return list(checklist.entries_of(program))


def test_adding_puts_a_species_last(coordinator, entries):
    species = make_species("Rana temporaria")
    listing = Listing(season=WINTER, sensitivity=Sensitivity.HIGH, listed_from=MARCH)
    entry = checklist.add_species(coordinator, species.code, listing)
    assert list(checklist.entries_of(coordinator.program))[-1] == entry
    assert entry.calling_season == WINTER
    assert (entry.sensitivity, entry.listed_from) == (Sensitivity.HIGH, MARCH)


def test_a_species_is_listed_once(coordinator, entries):
    with pytest.raises(ValidationError, match="on the checklist already"):
        checklist.add_species(coordinator, entries[0].species.code, Listing())


def test_an_unknown_species(coordinator):
    with pytest.raises(Http404):
        checklist.add_species(coordinator, "no-such-frog", Listing())


def test_taking_off_deletes_nothing(coordinator, entries):
    checklist.take_off(coordinator, entries[0].pk, listed_until=MAY)
    assert ChecklistEntry.objects.get(pk=entries[0].pk).listed_until == MAY


def test_taking_off_before_the_listing_began(coordinator, entries):
    checklist.change_entry(coordinator, entries[0].pk, Listing(listed_from=MAY))
    with pytest.raises(ValidationError) as refusal:
        checklist.take_off(coordinator, entries[0].pk, listed_until=MARCH)
    assert "is listed from 1 May 2024" in refusal.value.message_dict["listed_until"][0]


def test_first_night_after_last(coordinator, entries):
    with pytest.raises(ValidationError, match="before the first"):
        checklist.change_entry(
            coordinator, entries[0].pk, Listing(listed_from=MAY, listed_until=MARCH)
        )


class TestListingLonger:
    """A visit made while a species was off the list holds no zero for it."""

    @pytest.fixture
    def taken_off(self, coordinator, entries):
        return checklist.take_off(coordinator, entries[0].pk, listed_until=MARCH)

    def test_without_visits_meanwhile_it_may(self, coordinator, taken_off):
        assert checklist.change_entry(coordinator, taken_off.pk, Listing()).listed_until is None

    @pytest.mark.parametrize("until", [None, MAY, NIGHT])
    def test_with_a_visit_meanwhile_it_may_not(self, coordinator, observer, taken_off, until):
        make_accepted_visit(make_route(coordinator.program), observer.person, night=NIGHT)
        with pytest.raises(ValidationError) as refusal:
            checklist.change_entry(coordinator, taken_off.pk, Listing(listed_until=until))
        assert "made on 15 April 2024" in refusal.value.message_dict["listed_until"][0]

    def test_up_to_the_night_before_the_visit_it_may(self, coordinator, observer, taken_off):
        make_accepted_visit(make_route(coordinator.program), observer.person, night=NIGHT)
        listing = Listing(listed_until=NIGHT - dt.timedelta(days=1))
        assert checklist.change_entry(coordinator, taken_off.pk, listing)


@pytest.mark.parametrize(
    ("index", "up", "order"),
    [(1, True, [1, 0, 2]), (1, False, [0, 2, 1]), (0, True, [0, 1, 2]), (2, False, [0, 1, 2])],
)
def test_moving_within_the_list(coordinator, entries, index, up, order):
    checklist.move_entry(coordinator, entries[index].pk, up=up)
    now = list(checklist.entries_of(coordinator.program))
    assert now == [entries[place] for place in order]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("wood", ["Wood frog"]),
        ("RANA SYLV", ["Wood frog"]),
        ("lithobates", ["Wood frog"]),
        ("crucifer", []),
        ("newt", []),
    ],
    ids=["common name", "former name", "scientific name", "already listed", "unknown"],
)
def test_search(program, entries, text, found):
    Species.objects.create(
        code="lithobates-sylvaticus",
        scientific_name="Lithobates sylvaticus",
        common_name="Wood frog",
        synonyms=["Rana sylvatica"],
    )
    species = checklist.search_catalog(program, text)
    assert [one.common_name for one in species] == found


def test_a_new_listing_begins_today_once_there_are_visits(program, observer):
    assert checklist.first_night_to_list(program, MAY) is None
    make_accepted_visit(make_route(program), observer.person)
    assert checklist.first_night_to_list(program, MAY) == MAY
