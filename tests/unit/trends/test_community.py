"""The trends of all species together."""

import numpy as np
import pytest

from surveys.trends.community import FEWEST_SPECIES, community_of
from surveys.trends.estimates import Estimate


def change(value, half, low=None):
    return Estimate(
        name="",
        value=value,
        low=value - half if low is None else low,
        high=value + half,
        interval="",
        method="",
    )


def programs(rng, *, species=12, mean=0.0, spread=0.0, error=0.02):
    truth = rng.normal(mean, spread, species)
    told = truth + rng.normal(0, error, species)
    to_percent = [100 * np.expm1(told + k * 1.959964 * error) for k in (-1, 0, 1)]
    return truth, [
        (
            f"species {number}",
            Estimate(name="", value=value, low=low, high=high, interval="", method=""),
        )
        for number, (low, value, high) in enumerate(zip(*to_percent, strict=True))
    ]


def test_it_counts_those_that_are_told_and_those_by_chance():
    told = community_of(
        [(str(n), change(-5.0, 2.0)) for n in range(2)]
        + [(str(n), change(0.5, 3.0)) for n in range(2, 12)]
    )
    assert (told.fell, told.rose, told.by_chance) == (2, 0, pytest.approx(0.3))
    assert told.discovered == ("0", "1")


def test_species_without_a_trend_are_left_out_and_few_are_no_community():
    known = [(str(n), change(float(n), 2.0)) for n in range(FEWEST_SPECIES)]
    unknown = Estimate(name="", value=None, low=None, high=None, interval="", method="")
    told = community_of([*known, ("x", unknown), ("y", change(-99.0, 5.0, low=-120.0))])
    assert [species.species for species in told.species] == ["0", "1", "2"]
    assert community_of([*known[1:], ("x", unknown)]) is None


def test_the_less_is_known_the_more_it_is_pulled():
    told = community_of(
        [("sure", change(-8.0, 1.0)), ("unsure", change(-8.0, 12.0))]
        + [(str(n), change(1.0, 2.0)) for n in range(6)]
    )
    sure, unsure = told.species[:2]
    assert sure.shrunken.value == pytest.approx(-8.0, abs=0.5)
    assert -6.0 < unsure.shrunken.value < 1.0
    assert unsure.shrunken.high - unsure.shrunken.low < 24


def test_shrunken_trends_are_nearer_the_truth_and_hold_it():
    """400 programs of 12 species whose trends differ by 1 % per year, known to 3 % each."""
    rng = np.random.default_rng(1)
    own = shrunken = held = 0.0
    for _ in range(400):
        truth, changes = programs(rng, mean=-0.01, spread=0.01, error=0.03)
        told = community_of(changes)
        for true, species in zip(truth, told.species, strict=True):
            own += (np.log1p(species.own.value / 100) - true) ** 2
            shrunken += (np.log1p(species.shrunken.value / 100) - true) ** 2
            limits = species.shrunken
            held += limits.low < 100 * np.expm1(true) < limits.high
    assert shrunken < 0.5 * own
    assert 0.94 <= held / 4800 <= 0.99


def test_without_change_few_programs_discover_any():
    """Benjamini & Hochberg: where nothing changes, 5 % of the programs discover a species."""
    rng = np.random.default_rng(2)
    found = sum(bool(community_of(programs(rng)[1]).discovered) for _ in range(300))
    assert 0.02 <= found / 300 <= 0.09
