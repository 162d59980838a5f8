"""Shares of color forms and life stages."""

from surveys.trends import wilson
from surveys.trends.estimates import FEW_CLUSTERS
from surveys.trends.numerics.intervals import wilson_clustered
from surveys.trends.sightings import COLOR_FORM, LIFE_STAGE, Seen, trait_shares


def seen(route="A", form="green", count=1, *, region="North", year=2024, stage="adult"):
    return Seen(
        species="Hyla cinerea", region=region, season_year=year, route=route, life_stage=stage,
        color_form=form, count=count,
    )  # fmt: skip


def shares(rows, trait=COLOR_FORM, region=""):
    found = [one for one in trait_shares(rows) if (one.trait, one.region) == (trait, region)]
    return {(one.season_year, one.value): one for one in found}


def test_animals_are_counted_and_a_sighting_without_a_number_is_one():
    found = shares([seen(count=3), seen("B", count=None), seen("B", "brown", 4), seen("C", "")])
    assert {key: (one.number, one.of, one.routes) for key, one in found.items()} == {
        (2024, "green"): (4, 8, 2),
        (2024, "brown"): (4, 8, 2),
    }


def test_forms_that_differ_in_capitals_and_spaces_are_one_as_most_write_it():
    rows = [seen(form="Dark  phase"), seen(form="dark phase"), seen("B", "dark phase ")]
    assert list(shares(rows)) == [(2024, "dark phase")]


def test_each_region_and_year_has_its_own_and_all_together():
    rows = [seen(), seen("B", "brown", region="South"), seen("A", "brown", year=2023)]
    assert set(shares(rows)) == {(2024, "green"), (2024, "brown"), (2023, "brown")}
    assert set(shares(rows, region="South")) == {(2024, "brown")}
    # Routes without a region are in all together, once.
    assert shares([seen(region="")])[2024, "green"].of == 1


def test_life_stages_count_sightings():
    rows = [seen(stage="eggs", count=900, form=""), seen("B"), seen("C"), seen("D", count=0)]
    found = shares(rows, LIFE_STAGE)
    assert (found[2024, "eggs"].number, found[2024, "eggs"].of) == (1, 4)


def test_animals_of_a_route_are_alike_in_the_interval():
    rows = [seen(r, f, n) for r, f, n in (("A", "green", 9), ("A", "brown", 1), ("B", "brown", 8))]
    found = shares(rows)[2024, "green"].share
    assert found == wilson_clustered([9, 0, 0], [9, 1, 8], ["A", "A", "B"], name="green")
    plain = wilson(9, 18)
    assert found.low < plain.low
    assert found.high > plain.high
    alone = shares(rows[:2])[2024, "green"].share
    assert (alone.low, alone.high) == (wilson(9, 10).low, wilson(9, 10).high)
    assert alone.flags == (FEW_CLUSTERS,)
