"""Protocol versions: presets, what is frozen, what follows what."""

import dataclasses
import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from surveys.programs import protocols
from surveys.programs.versions import protocol_values, units_of
from surveys.protocol.values import (
    MonthDay,
    SeasonWindow,
)
from tests.support.builders import (
    make_accepted_visit,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db
FIRST = dt.date(2025, 1, 1)
NEXT = dt.date(2026, 1, 1)


@pytest.fixture
def version(program):
    return make_version(program, in_force_from=FIRST)


def limits_of(version, **changes):
    return dataclasses.replace(protocol_values(version), **changes)


def add(member, version, in_force_from=NEXT, **changes):
    return protocols.add_version(
        member,
        version.protocol_id,
        limits=limits_of(version, **changes),
        in_force_from=in_force_from,
    )


@pytest.mark.parametrize("code", [preset.code for preset in protocols.presets().presets])
def test_every_preset_is_stored_and_read_back_whole(coordinator, code):
    preset = protocols.preset_called(coordinator.program, code)
    stored = protocols.start_protocol(
        coordinator,
        limits=preset.protocol,
        in_force_from=FIRST,
        source=protocols.sources_in_words(preset, units_of(coordinator.program)),
    )
    again = protocols.version_of(coordinator.program, stored.pk)
    assert protocol_values(again) == preset.protocol
    assert again.source


def test_there_are_presets_for_both_kinds_of_season():
    """Season windows must be able to cross New Year."""
    crossing = [
        any(window.opens > window.closes for window in preset.protocol.windows)
        for preset in protocols.presets().presets
    ]
    assert any(crossing)
    assert not all(crossing)


def test_a_new_version_follows(coordinator, version):
    new = add(coordinator, version, max_beaufort=2)
    assert (new.number, new.max_beaufort) == (2, 2)
    version.refresh_from_db()
    assert version.max_beaufort is None
    assert protocols.version_on(version.protocol, dt.date(2025, 12, 31)) == version
    assert protocols.version_on(version.protocol, NEXT) == new
    assert protocols.version_on(version.protocol, dt.date(2024, 12, 31)) is None


def test_a_version_begins_after_the_one_before(coordinator, version):
    with pytest.raises(ValidationError, match="Version 1 is in effect from 1 January 2025"):
        add(coordinator, version, in_force_from=FIRST)


def test_an_unused_version_may_change(coordinator, version):
    changed = protocols.change_version(
        coordinator,
        version.pk,
        limits=limits_of(
            version,
            windows=(
                SeasonWindow(
                    name="Winter",
                    opens=MonthDay(month=12, day=15),
                    closes=MonthDay(month=3, day=15),
                ),
            ),
            season_year_begins=MonthDay(month=9, day=1),
        ),
        in_force_from=FIRST,
    )
    assert [window.name for window in changed.windows.all()] == ["Winter"]


def test_a_changed_version_stays_between_its_neighbors(coordinator, version):
    add(coordinator, version)
    with pytest.raises(ValidationError, match="Version 2 is in effect from 1 January 2026"):
        protocols.change_version(
            coordinator, version.pk, limits=limits_of(version), in_force_from=NEXT
        )


def test_a_version_in_use_is_frozen(coordinator, observer, version):
    route = make_route(coordinator.program, version=version)
    make_accepted_visit(route, observer.person)
    with pytest.raises(ValidationError, match="in use by visits"):
        protocols.change_version(
            coordinator, version.pk, limits=limits_of(version), in_force_from=FIRST
        )
    (shown,) = protocols.protocols_of(coordinator.program)
    assert [one.visit_count for one in shown.versions.all()] == [1]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"windows": ()}, "windows"),
        ({"season_year_begins": MonthDay(month=5, day=1)}, "windows"),
        ({"listening_time": dt.timedelta(0)}, "listening_time"),
        ({"longest_listening_time": dt.timedelta(minutes=4)}, "longest_listening_time"),
        (
            {
                "latest_end_clock": dt.time(1, 0),
                "latest_end_after_sunset": dt.timedelta(hours=4),
            },
            "latest_end_clock",
        ),
    ],
)
def test_limits_that_contradict_each_other(coordinator, version, changes, field):
    with pytest.raises(ValidationError) as refusal:
        add(coordinator, version, **changes)
    assert field in refusal.value.message_dict
    assert version.protocol.versions.count() == 1


@pytest.mark.parametrize(
    ("name", "said"), [(" ", "a name"), ("SAME", "already a protocol called “SAME”")]
)
def test_protocol_names(coordinator, version, name, said):
    version.protocol.name = "Same"
    version.protocol.save()
    with pytest.raises(ValidationError) as refusal:
        protocols.start_protocol(
            coordinator, limits=limits_of(version, name=name), in_force_from=FIRST
        )
    assert said in refusal.value.message_dict["name"][0]
