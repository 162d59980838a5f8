"""Beginning a visit and typing its sheet."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from accounts.models import Role
from surveys.models import (
    ProtocolVersion,
    Visit,
    VisitState,
)
from surveys.protocol.values import Where
from surveys.visits.access import (
    find_visit,
    visible_visits,
)
from surveys.visits.drafts import (
    discard_draft,
    save_cells,
    start_visit,
)
from surveys.visits.exceptions import (
    NightUnusable,
    NoProtocolInForce,
    NotYours,
    SheetTooLarge,
    WrongState,
)
from surveys.visits.finding import findings_by_cell
from surveys.visits.sheet.cells import (
    CellChange,
    Conflict,
    storable,
)
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.sheets import (
    NIGHT,
    changes,
    make_draft,
    make_submitted,
    plain_cells,
)


@pytest.fixture
def route(program):
    return make_route(program)


# Starting


def test_a_new_visit_knows_its_version_season_and_window(observer, route):
    visit = start_visit(observer, route=route, night=NIGHT)
    assert visit.state == VisitState.DRAFT
    assert visit.protocol_version.protocol == route.protocol
    assert (visit.season_year, visit.window) == (2024, "Spring")
    assert visit.observer == observer.person
    assert visit.cells == {"night": "2024-04-15", "temperature_unit": "C", "rain_unit": "mm"}


def test_a_night_after_new_year_belongs_to_the_season_that_ends_then(observer, program):
    version = make_version(
        program,
        season_begins_month=9,
        windows=[
            {
                "name": "Winter",
                "opens_month": 12,
                "opens_day": 1,
                "closes_month": 2,
                "closes_day": 28,
            }
        ],
    )
    route = make_route(program, version=version)
    for night in (dt.date(2024, 12, 20), dt.date(2025, 1, 20)):
        visit = start_visit(observer, route=route, night=night)
        assert (visit.season_year, visit.window) == (2025, "Winter")
    assert start_visit(observer, route=route, night=dt.date(2025, 4, 1)).window == ""


def test_the_version_is_the_one_in_force_on_the_night(observer, route):
    old = route.protocol.versions.get()
    new = ProtocolVersion.objects.create(
        protocol=route.protocol,
        number=2,
        in_force_from=dt.date(2024, 4, 15),
        listening_time_s=300,
    )
    before = start_visit(observer, route=route, night=dt.date(2024, 4, 14))
    after = start_visit(observer, route=route, night=dt.date(2024, 4, 15))
    assert (before.protocol_version, after.protocol_version) == (old, new)


def test_same_id_never_creates_a_second_visit(observer, route):
    key = uuid.uuid4()
    first = start_visit(observer, route=route, night=NIGHT, visit_id=key, source="phone")
    again = start_visit(observer, route=route, night=NIGHT, visit_id=key, source="phone")
    assert first == again
    assert Visit.objects.count() == 1


def test_id_of_another_observers_visit_is_refused(observer, route, program):
    theirs = start_visit(make_member(program), route=route, night=NIGHT)
    with pytest.raises(NotYours):
        start_visit(observer, route=route, night=NIGHT, visit_id=theirs.pk)


def test_route_of_another_program_is_refused(observer):
    with pytest.raises(NotYours, match="no such route"):
        start_visit(observer, route=make_route(make_program()), night=NIGHT)


def test_partners_and_former_members_cannot_start_visits(partner, program, route):
    former_member = make_member(program, Role.OBSERVER, active=False)
    for member in (partner, former_member):
        with pytest.raises(PermissionDenied, match="does not allow you to enter visits"):
            start_visit(member, route=route, night=NIGHT)


def test_a_night_before_the_first_version_is_refused(observer, route):
    with pytest.raises(NoProtocolInForce):
        start_visit(observer, route=route, night=dt.date(1999, 12, 31))
    with pytest.raises(NightUnusable):
        start_visit(observer, route=route, night=dt.date(9999, 12, 31))


# Typing


def test_cells_are_kept_as_typed_and_judged(observer, route):
    visit = start_visit(observer, route=route, night=NIGHT)
    saved = save_cells(
        observer, visit.pk, changes({"stops.1.paused_minutes": "many", "notes": " fog "})
    )
    assert saved.visit.cells["stops.1.paused_minutes"] == "many"
    assert saved.visit.cells["notes"] == " fog "
    assert saved.visit.revision == 2
    assert saved.conflicts == ()
    (finding,) = findings_by_cell(saved.findings)["stops.1.paused_minutes"]
    assert (finding.code, finding.where) == (
        "cell-unreadable",
        Where(stop=1, field="paused_minutes"),
    )


def test_typing_the_same_text_changes_nothing(observer, route):
    visit = make_draft(observer, route, {"notes": "fog"})
    saved = save_cells(observer, visit.pk, changes({"notes": "fog"}))
    assert saved.visit.revision == visit.revision


def test_changes_of_two_devices_to_different_cells_are_both_kept(observer, route):
    visit = start_visit(observer, route=route, night=NIGHT)
    save_cells(observer, visit.pk, changes({"stops.1.paused_minutes": "2"}))
    saved = save_cells(observer, visit.pk, changes({"stops.2.paused_minutes": "3"}))
    assert saved.visit.cells["stops.1.paused_minutes"] == "2"
    assert saved.visit.cells["stops.2.paused_minutes"] == "3"


def test_changes_of_two_devices_to_the_same_cell_are_a_conflict(observer, route):
    visit = start_visit(observer, route=route, night=NIGHT)
    save_cells(observer, visit.pk, changes({"stops.1.paused_minutes": "2"}))
    saved = save_cells(observer, visit.pk, changes({"stops.1.paused_minutes": "3", "notes": "fog"}))
    assert saved.conflicts == (Conflict(address="stops.1.paused_minutes", mine="3", theirs="2"),)
    assert saved.visit.cells["stops.1.paused_minutes"] == "2"
    assert saved.visit.cells["notes"] == "fog"


def test_unreadable_cell_is_not_also_reported_as_missing(observer, route):
    visit = start_visit(observer, route=route, night=NIGHT)
    cells = {"stops.1.status": "listened", "stops.1.started_at": "late"}
    saved = save_cells(observer, visit.pk, changes(cells))
    beside = findings_by_cell(saved.findings)
    assert [f.code for f in beside["stops.1.started_at"]] == ["cell-unreadable"]
    assert [f.code for f in beside["stops.1.finished_at"]] == ["times-missing"]


def test_visit_moves_to_the_night_typed_on_its_sheet(observer, route):
    new = ProtocolVersion.objects.create(
        protocol=route.protocol,
        number=2,
        in_force_from=dt.date(2025, 1, 1),
        listening_time_s=300,
    )
    visit = start_visit(observer, route=route, night=NIGHT)
    night = {"night": CellChange(was="2024-04-15", now="12 March 2025")}
    visit = save_cells(observer, visit.pk, night).visit
    visit.refresh_from_db()
    assert visit.night == dt.date(2025, 3, 12)
    assert (visit.season_year, visit.window) == (2025, "")
    assert visit.protocol_version == new
    assert visit.cells["night"] == "12 March 2025"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("some evening", "cell-unreadable"),
        ("1998-04-15", "night-without-protocol"),
        ("9999-12-31", "cell-out-of-range"),
        ("", "night-missing"),
    ],
)
def test_unusable_night_is_kept_and_reported(observer, route, text, code):
    visit = start_visit(observer, route=route, night=NIGHT)
    saved = save_cells(observer, visit.pk, {"night": CellChange(was="2024-04-15", now=text)})
    assert saved.visit.night == NIGHT
    assert saved.visit.cells.get("night", "") == text
    assert [f.code for f in findings_by_cell(saved.findings)["night"]] == [code]


def test_size_of_a_sheet_is_limited(observer, route):
    visit = make_draft(observer, route, {"notes": "fog"})
    for too_much in (
        {"notes": CellChange(was="fog", now="x" * 10_001)},
        changes({"a" * 201: "x"}),
        changes({f"other.{n}": "x" for n in range(5_001)}),
    ):
        with pytest.raises(SheetTooLarge):
            save_cells(observer, visit.pk, too_much)
    visit.refresh_from_db()
    assert visit.cells["notes"] == "fog"


@pytest.mark.parametrize("key", ["junk", "", uuid.uuid4()])
def test_unknown_visit(observer, key):
    with pytest.raises(NotYours):
        save_cells(observer, key, {})


def test_only_the_observer_edits_a_draft(observer, coordinator, program, route):
    visit = make_draft(observer, route)
    elsewhere = make_member(make_program(), person=observer.person)
    for member in (make_member(program), coordinator, elsewhere):
        with pytest.raises(NotYours):
            save_cells(member, visit.pk, changes({"notes": "mine now"}))


def test_submitted_sheet_cannot_be_edited(observer, route):
    visit = make_submitted(observer, route)
    with pytest.raises(
        WrongState, match=r"marked “submitted”; .* while it is “draft” or “sent back”"
    ):
        save_cells(observer, visit.pk, changes({"notes": "too late"}))


# Seeing


def test_a_draft_is_seen_by_its_observer_and_the_coordinators(
    observer, coordinator, partner, program, route
):
    visit = make_draft(observer, route)
    other = make_member(program)
    assert find_visit(observer, visit.pk) == find_visit(coordinator, visit.pk) == visit
    for member in (other, partner, make_member(make_program(), Role.COORDINATOR)):
        with pytest.raises(Http404):
            find_visit(member, visit.pk)
        assert not visible_visits(member).exists()


def test_a_submitted_visit_is_seen_by_other_observers(observer, partner, program, route):
    visit = make_submitted(observer, route)
    assert find_visit(make_member(program), visit.pk) == visit
    assert not visible_visits(partner).exists()


# Discarding


def test_a_draft_can_be_discarded(observer, route):
    visit = make_draft(observer, route)
    discard_draft(observer, visit.pk)
    assert not Visit.objects.exists()
    event = Visit.pgh_event_model.objects.get(pgh_label="delete")
    assert event.cells == visit.cells


def test_submitted_visits_and_drafts_of_others_cannot_be_discarded(
    observer, coordinator, program, route
):
    draft, submitted = make_draft(observer, route), make_submitted(observer, route)
    with pytest.raises(WrongState):
        discard_draft(observer, submitted.pk)
    for member in (coordinator, make_member(program)):
        with pytest.raises(NotYours):
            discard_draft(member, draft.pk)
    assert Visit.objects.count() == 2


# Junk

JUNK = st.dictionaries(
    st.one_of(
        st.text(max_size=20),
        st.builds(
            "stops.{}.{}".format,
            st.integers(0, 5),
            st.sampled_from(
                ["started_at", "sky", "status", "paused_minutes", "calls.pseudacris-crucifer"]
            ),
        ),
    ),
    st.one_of(st.text(max_size=20), st.integers().map(str), st.times().map(str)),
    max_size=10,
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(typed=JUNK)
def test_any_text_is_kept_and_never_raises(observer, route, typed):
    kept = {storable(address): storable(text) for address, text in typed.items()}
    assume(len(kept) == len(typed))
    visit = start_visit(observer, route=route, night=NIGHT)
    cell_changes = {
        address: CellChange(was=visit.cells.get(storable(address), ""), now=text)
        for address, text in typed.items()
    }
    save_cells(observer, visit.pk, cell_changes)
    visit.refresh_from_db()
    assert {address: visit.cells.get(address, "") for address in kept} == kept


def test_typing_a_ten_stop_sheet_takes_few_queries(
    observer, program, django_assert_max_num_queries
):
    (peeper,) = make_checklist(program)
    visit = start_visit(observer, route=make_route(program, stops=10), night=NIGHT)
    typed = changes(plain_cells(10, {n: {peeper: 2} for n in range(1, 11)}))
    with django_assert_max_num_queries(13):
        save_cells(observer, visit.pk, typed)
