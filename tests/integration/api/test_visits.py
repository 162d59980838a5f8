"""Visits over the API: a phone that retries, two devices, and a stale copy."""

import uuid

import pytest
from django.test import Client

from accounts.models import Role
from surveys.models import (
    DiscardedDraft,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits import verbs
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
    plain_cells,
    type_cells,
)


@pytest.fixture
def route(program):
    return make_route(program, code="R07")


@pytest.fixture
def api(api_for, observer):
    return api_for(observer)


def sheet(cells=None, **options):
    return {"route": "R07", "night": "2024-04-15", "cells": cells or {}, **options}


def put(api, key, cells=None, revision=None, **options):
    return api("PUT", f"visits/{key}/", sheet(cells, **options), revision=revision)


# Putting a sheet


def test_visit_is_created_with_the_id_from_the_phone(api, route, observer):
    key = uuid.uuid4()
    answer = put(api, key, plain_cells() | {"temperature_unit": "C"})
    assert answer.status == 201
    visit = Visit.objects.get()
    assert (visit.pk, visit.observer, visit.source) == (key, observer.person, "phone")
    assert answer.headers["ETag"] == f'"{visit.revision}"'
    assert answer.data["visit"]["cells"] == visit.cells
    assert answer.data["visit"]["state"] == "draft"
    assert answer.data["findings"] == answer.data["conflicts"] == []


def test_a_sheet_that_another_person_began_is_not_taken(api, program, route, observer):
    """The phone was lent, or its observer signed out, while the request was on its way."""
    began = make_member(program).person_id
    answer = put(api, uuid.uuid4(), plain_cells(), observer=began)
    assert answer.status == 404
    assert "Someone else began this visit." in answer.data["detail"]
    assert not Visit.objects.exists()
    assert put(api, uuid.uuid4(), plain_cells(), observer=observer.person_id).status == 201


def test_a_retry_changes_nothing(api, route):
    key = uuid.uuid4()
    first = put(api, key, plain_cells())
    again = put(api, key, plain_cells())
    assert (first.status, again.status) == (201, 200)
    assert first.data["visit"]["revision"] == again.data["visit"]["revision"]
    assert Visit.objects.count() == 1


def test_a_retry_after_submitting_changes_nothing(api, observer, route):
    key = uuid.uuid4()
    revision = put(api, key, plain_cells()).data["visit"]["revision"]
    submitted = api("POST", f"visits/{key}/submit/", revision=revision)
    again = api("POST", f"visits/{key}/submit/", revision=revision)
    assert submitted.status == again.status == 200
    assert submitted.data["visit"]["state"] == again.data["visit"]["state"] == "submitted"
    assert put(api, key, plain_cells()).status == 200
    assert Submission.objects.count() == 1


def test_a_submitted_visit_is_withdrawn_until_it_is_reviewed(api, observer, coordinator, route):
    key = uuid.uuid4()
    begun = put(api, key, plain_cells()).data["visit"]
    assert begun["withdrawn"] is False
    sent = api("POST", f"visits/{key}/submit/", revision=begun["revision"]).data["visit"]
    assert api("POST", f"visits/{key}/withdraw/", revision=begun["revision"]).status == 409
    back = api("POST", f"visits/{key}/withdraw/", revision=sent["revision"])
    assert back.status == 200
    assert back.data["visit"]["state"] == "sent_back"
    assert back.data["visit"]["withdrawn"] is True
    again = back.data["visit"]["revision"]
    sent = api("POST", f"visits/{key}/submit/", revision=again).data["visit"]
    returned = verbs.send_back(coordinator, key, note="Which pond?", revision=sent["revision"])
    answer = api("GET", f"visits/{key}/").data["visit"]
    assert (answer["withdrawn"], answer["sent_back_note"]) == (False, "Which pond?")
    assert api("POST", f"visits/{key}/withdraw/", revision=returned.revision).status == 409


def test_current_revision_replaces_the_sheet(api, route):
    key = uuid.uuid4()
    revision = put(api, key, {"notes": "fog", "stops.1.paused_minutes": "2"}).data["visit"][
        "revision"
    ]
    answer = put(api, key, {"notes": "clear"}, revision=revision)
    assert answer.status == 200
    assert answer.data["visit"]["cells"] == {"night": "2024-04-15", "notes": "clear"}
    assert answer.data["visit"]["revision"] == revision + 1


@pytest.mark.parametrize("known", [True, False])
def test_stale_revision_returns_the_servers_copy_and_overwrites_nothing(
    api, observer, route, known
):
    visit = make_draft(observer, route, {"notes": "fog"})
    type_cells(observer, visit, {"notes": "rain"})
    answer = put(api, visit.pk, {"notes": "clear"}, revision=visit.revision if known else None)
    assert answer.status == 409
    assert "in the meantime" in answer.data["detail"]
    assert answer.data["visit"]["cells"]["notes"] == "rain"
    assert answer.data["visit"]["revision"] == visit.revision + 1
    visit.refresh_from_db()
    assert visit.cells["notes"] == "rain"


def test_a_submitted_sheet_is_not_replaced(api, observer, route):
    visit = make_submitted(observer, route)
    answer = put(api, visit.pk, {"notes": "late"}, revision=visit.revision)
    assert answer.status == 409
    assert "is marked “submitted”" in answer.data["detail"]
    assert answer.data["visit"]["state"] == "submitted"


def test_a_visit_does_not_move_to_another_route(api, observer, route, program):
    visit = make_draft(observer, route, {})
    make_route(program, code="R08")
    answer = put(api, visit.pk, {}, revision=visit.revision, route="R08")
    assert answer.status == 400
    assert "stays on its route" in answer.data["detail"]


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ({"route": "R99"}, "route"),
        ({"route": None}, "route"),
        ({"night": "someday"}, "night"),
        ({"cells": "none"}, "cells"),
        ({"cells": {"notes": ["a"]}}, "cells.notes"),
        ({"cells": {"notes": "x" * 10_001}}, "cells.notes"),
        ({"source": "import"}, "source"),
    ],
)
def test_bad_request_names_the_field(api, route, body, where):
    answer = api("PUT", f"visits/{uuid.uuid4()}/", {**sheet(), **body})
    assert answer.status == 400
    assert answer.data["where"] == where
    assert answer.data["detail"]
    assert not Visit.objects.exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"night": "1990-04-15"}, "No version of the route's protocol"),
        ({"cells": {"a" * 201: "x"}}, "address has 201 characters"),
    ],
)
def test_refused_request_creates_no_visit(api, route, options, words):
    answer = api("PUT", f"visits/{uuid.uuid4()}/", {**sheet(), **options})
    assert (answer.status, words in answer.data["detail"]) == (400, True)
    assert not Visit.objects.exists()


def test_unreadable_cells_are_kept_and_reported(api, route):
    cells = {
        "stops.1.paused_minutes": "many",
        "notes": "fog\x00",
        "elsewhere": " x ",
        "stops.2.sky": "3",
    }
    answer = put(api, uuid.uuid4(), cells)
    assert answer.status == 201
    kept = answer.data["visit"]["cells"]
    assert (kept["stops.1.paused_minutes"], kept["notes"]) == ("many", "fog\ufffd")
    assert (kept["elsewhere"], kept["stops.2.sky"]) == (" x ", "3")
    assert "stops.1.paused_minutes" in {finding["cell"] for finding in answer.data["findings"]}


@pytest.mark.parametrize("header", ["three", '"', "W/"])
def test_unreadable_revision(api, observer, route, header):
    visit = make_draft(observer, route)
    answer = api.client.post(
        f"/api/v1/{observer.program.slug}/visits/{visit.pk}/submit/",
        headers={"If-Match": header},
    )
    assert answer.status_code == 400
    assert answer.json()["where"] == "If-Match"


# Merging


def test_changes_are_merged_and_conflicts_returned(api, observer, route):
    visit = make_draft(observer, route, {"notes": "fog"})
    body = {
        "changes": {"notes": {"was": "", "now": "rain"}, "stops.1.paused_minutes": {"now": "2"}}
    }
    answer = api("PATCH", f"visits/{visit.pk}/", body)
    assert answer.status == 200
    assert answer.data["conflicts"] == [{"address": "notes", "mine": "rain", "theirs": "fog"}]
    assert answer.data["visit"]["cells"]["stops.1.paused_minutes"] == "2"
    assert answer.data["visit"]["cells"]["notes"] == "fog"


def test_delayed_change_is_refused(api, observer, route):
    """The phone never heard of it, the entry was taken back, and then it arrives."""
    visit = make_draft(observer, route, {})
    path, held_up = f"visits/{visit.pk}/", {"changes": {"notes": {"was": "", "now": "fog"}}}
    taken_back = {"changes": {"notes": {"was": "", "now": ""}}}
    assert api("PATCH", path, taken_back, revision=visit.revision).status == 200
    answer = api("PATCH", path, held_up, revision=visit.revision)
    assert (answer.status, answer.data["visit"]["revision"]) == (409, visit.revision + 1)
    visit.refresh_from_db()
    assert "notes" not in visit.cells


def test_delayed_creation_is_refused(api, route):
    key = uuid.uuid4()
    put(api, key)
    assert put(api, key, {"notes": "fog"}).status == 409
    assert put(api, key).status == 200
    assert "notes" not in Visit.objects.get().cells


def test_both_protocol_versions_are_returned(api, route):
    """The one that judges, and the one in force by now."""
    old = route.protocol.versions.get()
    new = route.protocol.versions.create(
        number=2, in_force_from=old.in_force_from, listening_time_s=300
    )
    visit = put(api, uuid.uuid4(), protocol_version=old.pk).data["visit"]
    assert (visit["protocol_version"], visit["protocol_in_force"]) == (old.pk, new.pk)


# Submitting


def test_refused_sheet_is_returned_with_its_findings(api, observer, route):
    visit = make_draft(observer, route, plain_cells() | {"stops.1.paused_minutes": "70000"})
    answer = api("POST", f"visits/{visit.pk}/submit/", revision=visit.revision)
    assert answer.status == 422
    (finding,) = answer.data["findings"]
    assert (finding["code"], finding["cell"]) == ("cell-out-of-range", "stops.1.paused_minutes")
    assert finding["remedy"]


def test_submitting_needs_a_revision(api, observer, route):
    visit = make_draft(observer, route)
    answer = api("POST", f"visits/{visit.pk}/submit/")
    assert (answer.status, answer.data["where"]) == (400, "If-Match")
    answer = api("POST", f"visits/{visit.pk}/submit/", revision=visit.revision - 1)
    assert answer.status == 409
    visit.refresh_from_db()
    assert visit.state == VisitState.DRAFT


# Discarding


def test_a_draft_is_discarded_and_a_submitted_visit_is_not(api, observer, route):
    draft, submitted = make_draft(observer, route), make_submitted(observer, route)
    assert api("DELETE", f"visits/{draft.pk}/").status == 204
    assert api("DELETE", f"visits/{submitted.pk}/").status == 409
    assert Visit.objects.get() == submitted


def test_delayed_creation_does_not_restore_a_discarded_draft(api, route):
    """Thrown away before it arrived, or after: the same either way, and as often as it comes."""
    for arrived in (True, False):
        key = uuid.uuid4()
        if arrived:
            put(api, key)
        assert [api("DELETE", f"visits/{key}/").status for _ in range(2)] == [204, 204]
        answers = [put(api, key, {"notes": "fog"}) for _ in range(2)]
        answers.append(api("PATCH", f"visits/{key}/", {"changes": {}}))
        assert {(answer.status, answer.data["discarded_at"]) for answer in answers} == {
            (410, DiscardedDraft.objects.get(visit_id=key).discarded_at.isoformat())
        }
        assert answers[0].data["detail"].startswith("This draft was deleted.")
    assert not Visit.objects.exists()


def test_observer_can_recover_a_discarded_draft(api, route):
    key = uuid.uuid4()
    api("DELETE", f"visits/{key}/")
    since = put(api, key).data["discarded_at"]
    allowed = {"cells": {"notes": "fog"}, "recovers": since}
    assert [put(api, key, **allowed).status for _ in range(2)] == [201, 200]
    assert Visit.objects.get().cells["notes"] == "fog"
    api("DELETE", f"visits/{key}/")
    assert put(api, key, **allowed).status == 410
    assert not Visit.objects.exists()


def test_nothing_is_discarded_for_another_person_who_signed_in(api, api_for, program, observer):
    """The phone was lent while the request was on its way, and the draft has not arrived yet."""
    address = f"visits/{uuid.uuid4()}/?observer={observer.person_id}"
    answer = api_for(make_member(program))("DELETE", address)
    assert answer.status == 404
    assert "Someone else began this visit." in answer.data["detail"]
    assert not DiscardedDraft.objects.exists()
    assert api("DELETE", address).status == 204
    assert api("DELETE", address.replace("observer=", "observer=x")).status == 400


def test_draft_of_another_observer_cannot_be_discarded(api, api_for, program, observer, route):
    key = uuid.uuid4()
    assert api_for(make_member(program))("DELETE", f"visits/{key}/").status == 204
    assert put(api, key).status == 201
    assert api_for(make_member(program))("DELETE", f"visits/{key}/").status == 404
    assert DiscardedDraft.objects.count() == 1


# Reading


def test_visit_detail(api, observer, route):
    visit = make_draft(observer, route, plain_cells() | {"stops.2.finished_at": "21:13"})
    fresh = api.get(f"visits/{visit.pk}/")
    assert [f["id"] for f in fresh["findings"]] == [None]
    submitted = api("POST", f"visits/{visit.pk}/submit/", revision=visit.revision).data
    (stored,) = submitted["findings"]
    assert stored["id"] == visit.findings.get().pk
    assert (stored["code"], stored["severity"]) == ("listening-too-short", "query")
    assert (stored["stop"], stored["cell"]) == (2, "stops.2.finished_at")
    assert api.get(f"visits/{visit.pk}/") == submitted


def test_records_of_a_visit(api, observer, route, program):
    (peeper,) = make_checklist(program)
    cells = plain_cells(2, {1: {peeper: 3}, 2: {peeper: "?"}}) | {
        "stops.1.latitude": "43.0731",
        "stops.1.longitude": "-89.4012",
        "sightings.1.species": peeper.code,
        "sightings.1.life_stage": "adult",
        "sightings.1.stop": "2",
    }
    visit = make_submitted(observer, route, cells)
    records = api.get(f"visits/{visit.pk}/records/")
    first, second = records["periods"]
    assert (first["stop"], first["status"]) == (1, "listened")
    assert first["measured_at"] == {"type": "Point", "coordinates": [-89.4012, 43.0731]}
    assert (first["air_temperature_c"], first["air_temperature_unit"]) == ("12.5000", "C")
    assert first["calls"] == [
        {
            "species": peeper.code,
            "index": 3,
            "not_sure": False,
            "distance": "",
            "counts_in_trends": False,
            "confirmation": None,
        }
    ]
    assert (second["calls"][0]["index"], second["calls"][0]["not_sure"]) == (None, True)
    (sighting,) = records["sightings"]
    assert (sighting["stop"], sighting["species"]) == (2, peeper.code)
    assert [step["step"] for step in records["steps"]] == ["submitted"]


def test_the_list_is_filtered_and_paged(api, api_for, observer, program, route):
    other = make_member(program)
    elsewhere = make_route(program, code="R08")
    own_visit = make_submitted(observer, route)
    theirs = make_submitted(other, elsewhere, plain_cells() | {"night": "2023-05-01"})
    make_draft(other, route)

    def ids(query=""):
        return [row["id"] for row in api.get(f"visits/{query}")["results"]]

    assert ids() == [str(own_visit.pk), str(theirs.pk)]
    assert ids("?mine=true") == ids("?route=R07") == ids("?season_year=2024") == [str(own_visit.pk)]
    assert ids("?night_to=2023-12-31") == ids("?route=R08") == [str(theirs.pk)]
    assert ids("?state=accepted") == ids("?night_from=2024-05-01") == []
    page = api.get("visits/?limit=1&offset=1")
    assert (page["count"], [row["id"] for row in page["results"]]) == (2, [str(theirs.pk)])
    assert api("GET", "visits/?state=lost").status == 400


def test_number_of_queries_of_the_list_does_not_grow(
    api, observer, route, django_assert_num_queries
):
    for count in (1, 8):
        for _ in range(count):
            make_accepted_visit(route, observer.person)
        with django_assert_num_queries(6):
            assert api.get("visits/")["results"]


def test_number_of_queries_of_records_does_not_grow(
    api, observer, program, django_assert_num_queries
):
    (peeper,) = make_checklist(program)
    for stops in (2, 10):
        heard = {n: {peeper: 2} for n in range(1, stops + 1)}
        visit = make_submitted(
            observer, make_route(program, stops=stops), plain_cells(stops, heard)
        )
        with django_assert_num_queries(11):
            api.get(f"visits/{visit.pk}/records/")


# Who may


def test_drafts_of_others_are_a_404(api_for, observer, program, route):
    visit = make_draft(observer, route)
    stranger = make_member(make_program(), Role.COORDINATOR)
    outsider = make_member(make_program(), person=observer.person)
    for member in (make_member(program), stranger, outsider):
        api = api_for(member)
        for method, path, body in (
            ("GET", "", None),
            ("GET", "records/", None),
            ("PATCH", "", {"changes": {}}),
            ("DELETE", "", None),
        ):
            assert api(method, f"visits/{visit.pk}/{path}", body).status == 404
    assert api_for(stranger).get("visits/")["results"] == []


def test_put_to_the_id_of_another_observers_visit_is_a_404(api_for, observer, program, route):
    visit = make_draft(observer, route, {"notes": "mine"})
    answer = put(api_for(make_member(program)), visit.pk, {"notes": "theirs"})
    assert answer.status == 404
    visit.refresh_from_db()
    assert visit.cells["notes"] == "mine"


def test_cross_site_writes_are_refused(observer, route):
    client = Client(enforce_csrf_checks=True)
    client.force_login(observer.person)
    answer = client.put(
        f"/api/v1/{observer.program.slug}/visits/{uuid.uuid4()}/",
        sheet(),
        content_type="application/json",
    )
    assert answer.status_code == 403
    assert not Visit.objects.exists()
