"""The checklist is fed by the catalog's seasons of the program's region."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from surveys.demo.catalog import load_species
from surveys.models import CallingRegion, ChecklistEntry, Species, SpeciesInRegion
from surveys.programs.checklist import Listing, add_species
from surveys.programs.regional import add_regional_species, regional_list, regional_season
from surveys.protocol.values import MonthDay
from tests.support.builders import make_checklist, make_program

pytestmark = pytest.mark.django_db
MARCH = dt.date(2024, 3, 1)


def days(first, last):
    return tuple(MonthDay(month=month, day=day) for month, day in (first, last))


@pytest.fixture(scope="module")
def catalog(module_rows):
    load_species()


@pytest.fixture
def in_region(catalog, coordinator):
    """The coordinator's program lies in the region."""

    def put(code="upper-midwest"):
        program = coordinator.program
        program.calling_region = CallingRegion.objects.get(code=code)
        program.save()
        return program

    return put


def species(code):
    return Species.objects.get(code=code)


@pytest.mark.parametrize(
    ("region", "code", "season", "mark"),
    [
        ("upper-midwest", "lithobates-sylvaticus", days((3, 1), (5, 20)), "sure"),
        ("atlantic-canada", "lithobates-sylvaticus", days((4, 1), (5, 25)), "fairly sure"),
        ("southeast-coastal-plain", "pseudacris-ornata", days((11, 1), (3, 31)), "sure"),
        ("southeast-coastal-plain", "scaphiopus-holbrookii", None, "sure"),
        ("alaska-northern-territories", "anaxyrus-americanus", days((5, 15), (7, 10)), "unsure"),
    ],
)
def test_the_season_of_the_region_with_its_mark(in_region, region, code, season, mark):
    found = regional_season(in_region(region), species(code))
    assert (found.season, found.mark) == (season, mark)


@pytest.mark.parametrize(
    ("region", "season", "mark", "members"),
    [
        # March to 20 June and March to May; the third lives elsewhere.
        ("upper-midwest", days((3, 1), (6, 20)), "fairly sure", {"maculata", "triseriata"}),
        # From 1 February of one to 31 May of another.
        (
            "lower-midwest",
            days((2, 1), (5, 31)),
            "unsure",
            {"maculata", "triseriata", "feriarum"},
        ),
        ("southeast-coastal-plain", days((1, 1), (4, 30)), "fairly sure", {"feriarum"}),
    ],
)
def test_a_joint_entry_has_the_season_of_those_who_live_there(
    in_region, region, season, mark, members
):
    found = regional_season(in_region(region), species("chorus-frogs"))
    assert (found.season, found.mark) == (season, mark)
    assert {member.scientific_name.split()[1] for member in found.members} == members


def test_the_season_of_a_joint_entry_may_cross_new_year(in_region):
    program = in_region("southeast-coastal-plain")
    found = regional_season(program, species("southeastern-chorus-frogs"))
    assert found.season == days((12, 1), (4, 30))


def test_a_joint_entry_calls_at_any_time_where_a_member_does(in_region):
    rows = SpeciesInRegion.objects.filter(
        species__code="pseudacris-maculata", region__code="upper-midwest"
    )
    ends = ("calls_from_month", "calls_from_day", "calls_to_month", "calls_to_day")
    rows.update(**dict.fromkeys(ends))
    assert regional_season(in_region(), species("chorus-frogs")).season is None


def test_nothing_is_offered_where_no_member_lives(in_region):
    assert regional_season(in_region("pacific-coast"), species("chorus-frogs")) is None


@pytest.mark.parametrize("code", ["pseudacris-ornata", "ascaphus-truei"])
def test_nothing_is_offered_of_other_regions(in_region, code):
    assert regional_season(in_region(), species(code)) is None


def test_nothing_is_offered_without_a_region(coordinator, catalog):
    assert regional_season(coordinator.program, species("lithobates-sylvaticus")) is None
    assert regional_list(coordinator.program) == []


def test_the_list_of_a_region_leaves_out_silent_and_listed_species(in_region):
    program = in_region("british-columbia")
    make_checklist(program, "Lithobates sylvaticus")
    codes = [one.species.code for one in regional_list(program)]
    assert "pseudacris-regilla" in codes
    assert "lithobates-sylvaticus" not in codes, "listed"
    assert "ascaphus-truei" not in codes, "silent"
    assert "pseudacris-ornata" not in codes, "elsewhere"


def test_the_whole_list_in_one_step(coordinator, in_region):
    program = in_region()
    offered = regional_list(program)
    entries = add_regional_species(
        coordinator, [one.species.code for one in offered], listed_from=MARCH
    )
    assert len(entries) == len(offered) > 15
    seasons = {entry.species_id: entry.calling_season for entry in program.checklist.all()}
    assert seasons == {one.species.pk: one.season for one in offered}
    assert set(program.checklist.values_list("listed_from", flat=True)) == {MARCH}
    assert regional_list(program) == []


def test_what_is_not_offered_is_refused_and_nothing_is_added(coordinator, in_region):
    program = in_region()
    for wrong in ("pseudacris-ornata", "no-such-frog", "ascaphus-truei"):
        with pytest.raises(ValidationError, match=wrong):
            add_regional_species(coordinator, ["lithobates-sylvaticus", wrong], listed_from=None)
    with pytest.raises(ValidationError, match="No species is chosen"):
        add_regional_species(coordinator, [], listed_from=None)
    assert not program.checklist.exists()


def test_only_who_manages_the_program_may(observer, catalog):
    observer.program.calling_region = CallingRegion.objects.get(code="upper-midwest")
    observer.program.save()
    for code in ("lithobates-sylvaticus", "no-such-frog"):
        with pytest.raises(PermissionDenied):
            add_regional_species(observer, [code], listed_from=None)


def test_lists_of_other_programs_stay(coordinator, in_region):
    program = in_region()
    other = make_program()
    other.calling_region = program.calling_region
    other.save()
    make_checklist(other, "Lithobates sylvaticus")
    assert "lithobates-sylvaticus" in [one.species.code for one in regional_list(program)]
    add_regional_species(coordinator, ["pseudacris-crucifer"], listed_from=None)
    assert other.checklist.count() == 1


def test_a_silent_species_is_not_listed(coordinator, catalog):
    with pytest.raises(ValidationError, match="Coastal tailed frog gives no call"):
        add_species(coordinator, "ascaphus-truei", Listing())
    assert not ChecklistEntry.objects.exists()


def test_another_load_of_the_catalog_changes_no_checklist(coordinator, in_region):
    in_region()
    (entry,) = add_regional_species(coordinator, ["lithobates-sylvaticus"], listed_from=None)
    SpeciesInRegion.objects.filter(species=entry.species).update(calls_from_day=9)
    load_species()
    entry.refresh_from_db()
    assert entry.calling_season == days((3, 1), (5, 20))
