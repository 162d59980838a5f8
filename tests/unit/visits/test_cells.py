import pytest

from surveys.protocol.values import Where
from surveys.visits.sheet.cells import (
    CellChange,
    Conflict,
    cell_of,
    merge,
    split,
)


def change(was, now):
    return CellChange(was=was, now=now)


@pytest.mark.parametrize(
    ("server", "was", "now", "kept", "conflicts"),
    [
        # nobody else touched the cell
        ("", "", "12", "12", False),
        ("12", "12", "13", "13", False),
        ("12", "12", "", "", False),
        # sent twice, or both typed the same
        ("12", "", "12", "12", False),
        ("", "12", "", "", False),
        # somebody else filled it differently: theirs stays, mine comes back
        ("14", "", "12", "14", True),
        ("14", "12", "13", "14", True),
        ("14", "12", "", "14", True),
        ("", "12", "13", "", True),
    ],
)
def test_merge_cell_by_cell(server, was, now, kept, conflicts):
    cells = {"notes": server} if server else {}
    merged, conflicts = merge(cells, {"notes": change(was, now)})
    assert merged.get("notes", "") == kept
    assert conflicts == ((Conflict(address="notes", mine=now, theirs=server),) if conflicts else ())


def test_other_cells_are_left_alone():
    cells = {"notes": "fog", "stops.1.paused_minutes": "2"}
    merged, _ = merge(cells, {"stops.2.paused_minutes": change("", "3")})
    assert merged == {**cells, "stops.2.paused_minutes": "3"}
    assert cells == {"notes": "fog", "stops.1.paused_minutes": "2"}


def test_characters_that_cannot_be_stored_are_replaced():
    merged, _ = merge({}, {"notes": change("", "fog\x00 \ud83d")})
    assert merged == {"notes": "fog\ufffd \ufffd"}
    again, conflicts = merge(merged, {"notes": change("fog\x00 \ud83d", "clear")})
    assert again == {"notes": "clear"}
    assert conflicts == ()


def test_split_sorts_cells_into_parts():
    parts = split(
        {
            "night": "2024-04-15",
            "start.sky": "partly_cloudy",
            "end.beaufort": "2",
            "stops.10.started_at": "21:14",
            "stops.10.started_at.fold": "first",
            "stops.10.calls.pseudacris-crucifer": "3",
            "sightings.2.species": "newt",
            "stops.1.paused_minutes": "  ",
        }
    )
    assert parts.visit == {"night": "2024-04-15"}
    assert (parts.start, parts.end) == ({"sky": "partly_cloudy"}, {"beaufort": "2"})
    assert parts.stops == {
        10: {
            "started_at": "21:14",
            "started_at.fold": "first",
            "calls.pseudacris-crucifer": "3",
        }
    }
    assert parts.sightings == {2: {"species": "newt"}}
    assert parts.unknown == []


@pytest.mark.parametrize(
    "address",
    [
        "",
        "Night",
        "start",
        "start.paused_minutes",
        "stops.0.paused_minutes",
        "stops.01.paused_minutes",
        "stops.99999.paused_minutes",
        "stops.1",
        "stops.1.",
        "stops.1.color",
        "stops.1.paused_minutes.fold",
        "stops.1.calls.",
        "stops.1.calls.a.b",
        "stops.1.calls.a\n",
        "sightings.0.count",
        "sightings.1.weight",
        "stops.1.paused_minutes\n",
    ],
)
def test_unknown_addresses_are_listed(address):
    assert split({address: "x"}).unknown == [address]


@pytest.mark.parametrize(
    ("where", "address"),
    [
        (Where(), ""),
        (Where(field="night"), "night"),
        (Where(field="observer"), ""),
        (Where(field="stop"), ""),
        (Where(field="air_temperature"), "start.air_temperature"),
        (Where(field="start_beaufort"), "start.beaufort"),
        (Where(field="end_air_temperature"), "end.air_temperature"),
        (Where(field="sightings.3.species"), "sightings.3.species"),
        (Where(stop=4, field="started_at"), "stops.4.started_at"),
        (Where(stop=4, field="started_at.fold"), "stops.4.started_at.fold"),
        (Where(stop=4, field="paused"), "stops.4.paused_minutes"),
        (Where(stop=4, field="paused_minutes"), "stops.4.paused_minutes"),
        (Where(stop=4, field="measured_at"), "stops.4.latitude"),
        (Where(stop=4, field="stop"), "stops.4.status"),
        (Where(stop=4, field="index", species="acris-crepitans"), "stops.4.calls.acris-crepitans"),
        (Where(stop=4), ""),
    ],
)
def test_cell_address_of_a_finding(where, address):
    assert cell_of(where) == address
