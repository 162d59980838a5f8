"""A listening radius from sheet to publication: far calls are kept, and are no detections."""

import csv
import dataclasses
import io

import pytest

from accounts.access import Role
from surveys.fitting.histories import load_periods
from surveys.models import CallIndex, Settlement
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol.limits.words import hearing_in_words
from surveys.publishing.files import text_of
from surveys.publishing.results import periods_of
from surveys.seasons.visits import visit_grid
from surveys.seasons.yearly import yearly_table
from surveys.trends.periods import species_periods
from surveys.trends.result_tables import yearly_rows
from surveys.trends.table import row_values
from surveys.visits.verbs import accept, settle
from tests.support.builders import (
    make_checklist,
    make_joint_entry,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.frozen import small_frozen
from tests.support.publishing import publish_now
from tests.support.sheets import make_submitted, plain_cells

pytestmark = pytest.mark.django_db

PEEPER, GRAY, COPE = "Pseudacris crucifer", "Hyla versicolor", "Hyla chrysoscelis"
EITHER = "Hyla versicolor / chrysoscelis"


class World:
    """A program with one route, and a visit on which `heard` was typed: stop to species to text."""

    def __init__(self, heard, *, radius=100.0, excluded=()):
        self.program = make_program()
        self.observer = make_member(self.program)
        self.coordinator = make_member(self.program, Role.COORDINATOR)
        self.version = make_version(self.program, listening_radius_m=radius)
        self.route = make_route(self.program, version=self.version)
        names = make_checklist(self.program, PEEPER, GRAY, COPE)
        self.species = {row.scientific_name: row for row in names}
        self.species[EITHER] = make_joint_entry(EITHER, self.species[GRAY], self.species[COPE])
        make_checklist(self.program, EITHER)
        typed = {
            stop: {self.species[name]: text for name, text in calls.items()}
            for stop, calls in heard.items()
        }
        visit = make_submitted(self.observer, self.route, plain_cells(heard=typed))
        self.findings = list(visit.findings.all())
        for finding in self.findings:
            if finding.severity == "query":
                left_out = finding.code in excluded
                visit = settle(
                    self.coordinator,
                    finding.pk,
                    settlement=Settlement.LEFT_OUT if left_out else Settlement.COUNTS,
                    reason="As the observer says.",
                    revision=visit.revision,
                )
        visit.refresh_from_db()
        self.visit = accept(self.coordinator, visit.pk, revision=visit.revision)

    def yearly(self):
        table = {row.species: row for row in yearly_table(self.program)}
        return {name: (table[name].stops_detected, table[name].periods) for name in self.species}

    def fitted(self):
        loaded = load_periods(self.program)
        columns = {
            name: species_periods(loaded, row.pk).columns for name, row in self.species.items()
        }
        return {name: (int(c.heard.sum()), len(c.heard)) for name, c in columns.items()}


def test_a_far_call_is_kept_and_is_a_zero_within_the_radius():
    world = World({1: {PEEPER: "2 near"}, 2: {PEEPER: "3F"}})
    assert list(
        CallIndex.objects.order_by("period__stop__number").values_list("index", "distance")
    ) == [(2, "near"), (3, "far")]
    assert world.yearly()[PEEPER] == (1, 3)
    assert world.fitted()[PEEPER] == (1, 3)
    assert not [f for f in world.findings if f.code.startswith("distance")]


def test_without_a_radius_the_same_calls_count_at_any_distance():
    world = World({1: {PEEPER: "2 near"}, 2: {PEEPER: "3F"}}, radius=None)
    assert set(CallIndex.objects.values_list("distance", flat=True)) == {""}
    assert world.yearly()[PEEPER] == (2, 3)
    assert world.fitted()[PEEPER] == (2, 3)
    assert [f.code for f in world.findings] == ["distance-not-asked"] * 2
    assert world.visit.cells[f"stops.2.calls.{world.species[PEEPER].code}"] == "3F"


@pytest.mark.parametrize(
    ("excluded", "counted"),
    [((), (1, 3)), (("distance-missing",), (0, 2))],
    ids=["counts as near", "excluded, so missing"],
)
def test_a_call_without_a_mark_is_a_question(excluded, counted):
    world = World({1: {PEEPER: "2"}}, excluded=excluded)
    assert [f.code for f in world.findings] == ["distance-missing"]
    assert world.yearly()[PEEPER] == counted
    assert world.fitted()[PEEPER] == counted


def test_a_far_call_that_is_excluded_is_missing_and_no_zero():
    world = World({1: {PEEPER: "2 far"}})
    CallIndex.objects.update(counts_in_trends=False)
    assert world.yearly()[PEEPER] == (0, 2)
    assert world.fitted()[PEEPER] == (0, 2)


def test_a_far_joint_entry_leaves_nothing_open_within_the_radius():
    far = World({1: {EITHER: "2 far"}})
    near = World({1: {EITHER: "2 near"}})
    assert far.yearly() == dict.fromkeys(far.species, (0, 3))
    assert near.yearly()[EITHER] == (1, 3)
    assert near.yearly()[GRAY] == (0, 2)
    for world in (far, near):
        assert world.fitted() == world.yearly()
    grid = visit_grid(far.visit)
    shown = zip(grid.species, grid.rows[0].cells, strict=True)
    assert {species.scientific_name: (cell.value, cell.is_far) for species, cell in shown} == {
        PEEPER: (0, False),
        GRAY: (0, False),
        COPE: (0, False),
        EITHER: (2, True),
    }


def test_a_far_member_says_nothing_for_its_joint_entry():
    world = World({1: {GRAY: "1 far"}, 2: {GRAY: "1 near"}})
    assert world.yearly() == {PEEPER: (0, 3), GRAY: (1, 3), COPE: (0, 3), EITHER: (1, 3)}
    assert world.fitted() == world.yearly()


def test_far_and_not_sure_is_a_zero_too():
    world = World({1: {PEEPER: "? far"}, 2: {PEEPER: "?"}})
    assert world.yearly()[PEEPER] == (0, 2)


def test_a_publication_carries_far_calls_and_the_same_numbers(tmp_path):
    world = World({1: {PEEPER: "2 near"}, 2: {PEEPER: "3 far"}})
    publication = publish_now(world.coordinator, 2024)
    calls = [
        (row["call_index"], row["recorded_index"], row["far_index"])
        for row in csv.DictReader(io.StringIO(text_of(publication, "data/calls.csv")))
        if row["species"] == PEEPER
    ]
    assert sorted(calls) == [("0", "", ""), ("0", "", "3"), ("2", "2", "")]
    (protocol,) = csv.DictReader(io.StringIO(text_of(publication, "data/protocols.csv")))
    assert "Listening radius: 100 m" in protocol["listening"]
    frozen = small_frozen(tmp_path, program=world.program)
    again = [row_values(row) for row in yearly_table(world.program, last_year=2024)]
    assert list(yearly_rows(periods_of(frozen))) == again


def test_another_radius_is_another_way_of_listening():
    """So a trend has a break where it changed: `trends/breaks.py` reads this text."""
    world = World({1: {PEEPER: "2 near"}})
    protocol, units = protocol_values(world.version), units_of(world.program)
    texts = [
        hearing_in_words(dataclasses.replace(protocol, listening_radius_m=radius), units)
        for radius in (None, 50.0, 100.0)
    ]
    assert len(set(texts)) == 3
