"""What triggers keep of a visit: every state of its sheet can be had from it again."""

import pytest
from django.db import connection

from accounts.models import Role
from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Sighting,
    StoredFinding,
    Visit,
)
from surveys.models.call_history import COLUMNS, CallHistory
from surveys.visits.drafts import clear_stop
from surveys.visits.verbs import accept, correct_cells, reopen, send_back, submit_visit
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import changes, make_draft, plain_cells, type_cells

pytestmark = pytest.mark.django_db(transaction=True)

TOAD = "Anaxyrus americanus"


def columns(model):
    return [field.attname for field in model._meta.concrete_fields]


def stored(visit_id):
    """The rows of a visit by model and key."""
    own = {
        Visit: Visit.objects.filter(pk=visit_id),
        CallIndex: CallIndex.objects.filter(period__visit=visit_id),
        **{
            model: model.objects.filter(visit=visit_id)
            for model in (ListeningPeriod, StoredFinding, Sighting)
        },
    }
    return {
        model.__name__: {row["id"]: row for row in rows.values(*columns(model))}
        for model, rows in own.items()
    }


def rebuilt(visit_id, at):
    """The same, from the history alone, as it was at a moment."""
    rows = {
        model.__name__: rows_from_events(model, {key: visit_id}, at)
        for model, key in (
            (Visit, "pgh_obj_id"),
            (ListeningPeriod, "visit_id"),
            (StoredFinding, "visit_id"),
            (Sighting, "visit_id"),
        )
    }
    return rows | {"CallIndex": calls_from_history(visit_id, at)}


def rows_from_events(model, of_visit, at):
    rows = {}
    events = model.pgh_event_model.objects.filter(**of_visit, pgh_created_at__lte=at)
    for event in events.order_by("pgh_id").values("pgh_label", *columns(model)):
        label, key = event.pop("pgh_label"), event["id"]
        if label == "change":
            changed = rows[key]["cells"] | event["cells"]
            event["cells"] = {name: text for name, text in changed.items() if text is not None}
        rows[key] = event
        if label == "delete":
            del rows[key]
    return rows


def calls_from_history(visit_id, at):
    rows = {}
    names = [CallIndex._meta.get_field(name.strip('"')).attname for name in COLUMNS.values()]
    history = CallHistory.objects.filter(visit_id=visit_id, pgh_created_at__lte=at)
    for event in history.order_by("id"):
        for values in zip(*(getattr(event, lists) for lists in COLUMNS), strict=True):
            row = dict(zip(names, values, strict=True))
            rows[row["id"]] = row
            if event.pgh_label == "delete":
                del rows[row["id"]]
    return rows


def now():
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        return cursor.fetchone()[0]


def test_every_state_of_a_visit_can_be_had_from_its_history():
    program = make_program()
    peeper, toad = make_checklist(program, "Pseudacris crucifer", TOAD)
    route = make_route(program, stops=3)
    observer, coordinator = make_member(program), make_member(program, Role.COORDINATOR)
    seen = []

    def keep(visit):
        seen.append((now(), stored(visit.pk)))
        visit.refresh_from_db()
        return visit

    heard = {1: {peeper: 2, toad: "?"}, 2: {toad: 1}}
    visit = keep(make_draft(observer, route, plain_cells(3, heard)))
    assert set(visit.cells) > {"stops.3.arrived_at"}
    typed = {"stops.3.finished_at": "21:26", "notes": "Fog", "start.wind": "2"}
    visit = keep(type_cells(observer, visit, typed).visit)
    visit = keep(type_cells(observer, visit, {"notes": "", "stops.3.air_temperature": "12"}).visit)
    sighted = {"sightings.1.species": toad.code, "sightings.1.life_stage": "adult"}
    visit = keep(type_cells(observer, visit, sighted).visit)
    visit = keep(submit_visit(observer, visit.pk, revision=visit.revision))
    visit = keep(send_back(coordinator, visit.pk, note="Stop 2?", revision=visit.revision))
    visit = keep(clear_stop(observer, visit.pk, 2))
    again = {"stops.2.calls." + peeper.code: "3", "stops.1.calls." + toad.code: "3"}
    visit = keep(type_cells(observer, visit, plain_cells() | again).visit)
    visit = keep(submit_visit(observer, visit.pk, revision=visit.revision))
    corrected = changes({"stops.1.calls." + peeper.code: "1"}, was=visit.cells)
    visit = keep(
        correct_cells(
            coordinator, visit.pk, corrected, reason="As recorded", revision=visit.revision
        )
    )
    StoredFinding.objects.filter(visit=visit, settlement="", severity="query").delete()
    visit = keep(accept(coordinator, visit.pk, revision=visit.revision))
    visit = keep(reopen(coordinator, visit.pk, note="Another look", revision=visit.revision))

    assert len({str(state) for _, state in seen}) == len(seen)
    assert {len(state["CallIndex"]) for _, state in seen} >= {0, 3}
    assert any(row["counts_in_trends"] for row in seen[-2][1]["CallIndex"].values())
    for moment, state in seen:
        assert rebuilt(visit.pk, moment) == state


def test_the_history_of_calls_has_all_that_is_kept_of_them():
    assert {name.strip('"') for name in COLUMNS.values()} == {
        field.column for field in CallIndex._meta.concrete_fields
    }


def test_a_statement_leaves_a_row_a_visit_and_one_that_changes_nothing_none():
    program = make_program()
    (peeper,) = make_checklist(program, "Pseudacris crucifer")
    observer = make_member(program)
    for stops in (3, 2):
        route = make_route(program, stops=stops)
        heard = {number: {peeper: 1} for number in range(1, stops + 1)}
        draft = make_draft(observer, route, plain_cells(stops, heard))
        submit_visit(observer, draft.pk, revision=draft.revision)
    added = CallHistory.objects.order_by("id").values_list("pgh_label", "indexes")
    assert list(added) == [("insert", [1, 1, 1]), ("insert", [1, 1])]
    CallIndex.objects.update(index=1)
    assert CallHistory.objects.count() == 2
    CallIndex.objects.update(index=2)
    CallIndex.objects.all()._raw_delete(CallIndex.objects.db)
    rows = CallHistory.objects.order_by("id").values_list("pgh_label", "indexes")[2:]
    assert sorted(rows) == [
        ("delete", [2, 2]), ("delete", [2, 2, 2]), ("update", [2, 2]), ("update", [2, 2, 2]),
    ]  # fmt: skip


def test_a_save_leaves_what_was_typed_and_not_the_whole_sheet():
    program = make_program()
    observer = make_member(program)
    visit = make_draft(observer, make_route(program, stops=3))
    type_cells(observer, visit, {"notes": "Fog", "stops.1.air_temperature": ""})
    event = Visit.pgh_event_model.objects.order_by("pgh_id").last()
    assert event.pgh_label == "change"
    assert event.cells == {"notes": "Fog", "stops.1.air_temperature": None}
