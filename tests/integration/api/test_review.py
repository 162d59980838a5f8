"""Review over the API: the verbs, their conflicts and who may call them."""

import pytest
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import Role
from surveys.models import (
    StoredFinding,
    Visit,
    VisitState,
)
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
)
from tests.support.sheets import (
    make_submitted,
    plain_cells,
)
from tests.support.sounds import keep, sound


@pytest.fixture
def visit(observer, program):
    cells = plain_cells() | {"stops.2.finished_at": "21:13"}
    return make_submitted(observer, make_route(program), cells)


@pytest.fixture
def api(api_for, coordinator):
    return api_for(coordinator)


def settle(api, visit, revision, **answer):
    finding = StoredFinding.objects.get(severity="query")
    return api(
        "POST",
        f"visits/{visit.pk}/findings/{finding.pk}/settle/",
        {"settlement": "counts", "reason": "Long enough.", **answer},
        revision=revision,
    )


def test_settle_then_accept_then_reopen(api, visit):
    refused = api("POST", f"visits/{visit.pk}/accept/", revision=visit.revision)
    assert refused.status == 422
    assert [f["code"] for f in refused.data["findings"]] == ["listening-too-short"]
    settled = settle(api, visit, visit.revision)
    assert settled.status == 200
    (finding,) = settled.data["findings"]
    assert (finding["settlement"], finding["settled_by"]) == ("counts", api.member.person.name)
    accepted = api("POST", f"visits/{visit.pk}/accept/", revision=settled.data["visit"]["revision"])
    assert accepted.data["visit"]["state"] == "accepted"
    assert accepted.data["visit"]["counts_in_trends"] is True
    reopened = api(
        "POST",
        f"visits/{visit.pk}/reopen/",
        {"note": "Look again."},
        revision=accepted.data["visit"]["revision"],
    )
    assert reopened.data["visit"]["state"] == "submitted"
    assert reopened.data["visit"]["counts_in_trends"] is False


@pytest.mark.parametrize(
    ("verb", "state"), [("send-back", VisitState.SENT_BACK), ("set-aside", VisitState.SET_ASIDE)]
)
def test_decisions_with_a_note(api, visit, verb, state):
    for body in ({}, {"note": ""}, {"note": "  "}):
        answer = api("POST", f"visits/{visit.pk}/{verb}/", body, revision=visit.revision)
        assert (answer.status, answer.data["where"]) == (400, "note")
    answer = api("POST", f"visits/{visit.pk}/{verb}/", {"note": "Why?"}, revision=visit.revision)
    assert (answer.status, answer.data["visit"]["state"]) == (200, state)


def test_a_visit_sent_back_is_mailed_with_a_full_link(api, visit):
    before = ProcrastinateJob.objects.count()
    api("POST", f"visits/{visit.pk}/send-back/", {"note": "Why?"}, revision=visit.revision)
    jobs = ProcrastinateJob.objects.order_by("id")
    assert jobs.count() == before + 1
    assert jobs.last().args["site_url"] == "http://testserver/"


def test_correct_cells(api, visit):
    body = {"changes": {"stops.2.finished_at": {"now": "21:16"}}, "reason": "Asked by phone."}
    answer = api("POST", f"visits/{visit.pk}/correct/", body, revision=visit.revision)
    assert (answer.status, answer.data["findings"]) == (200, [])
    body = {"changes": {"stops.2.finished_at": {"now": "20:00"}}, "reason": "Slip."}
    answer = api("POST", f"visits/{visit.pk}/correct/", body, revision=visit.revision + 1)
    assert answer.status == 422


def test_stale_revision_returns_the_servers_copy(api, visit):
    settle(api, visit, visit.revision)
    for verb, body in (
        ("accept", None),
        ("send-back", {"note": "Why?"}),
        ("set-aside", {"note": "Why?"}),
        ("correct", {"changes": {}, "reason": "Why?"}),
    ):
        answer = api("POST", f"visits/{visit.pk}/{verb}/", body, revision=visit.revision)
        assert answer.status == 409
        assert answer.data["visit"]["revision"] == visit.revision + 1
    assert settle(api, visit, visit.revision).status == 409
    assert Visit.objects.get().state == VisitState.SUBMITTED


def test_wrong_state_is_explained(api, visit):
    answer = api("POST", f"visits/{visit.pk}/reopen/", {"note": "Why?"}, revision=visit.revision)
    assert answer.status == 409
    assert "only while it is “accepted” or “set aside”" in answer.data["detail"]


@pytest.mark.parametrize(
    ("answer", "where"),
    [
        ({"settlement": "maybe"}, "settlement"),
        ({"settlement": ""}, "settlement"),
        ({"reason": " "}, "reason"),
    ],
)
def test_a_settlement_needs_an_answer_and_a_reason(api, visit, answer, where):
    refused = settle(api, visit, visit.revision, **answer)
    assert (refused.status, refused.data["where"]) == (400, where)


def test_finding_of_another_visit_is_a_404(api, visit, observer, program):
    other = make_submitted(observer, make_route(program))
    finding = visit.findings.get()
    answer = api(
        "POST",
        f"visits/{other.pk}/findings/{finding.pk}/settle/",
        {"settlement": "counts", "reason": "Because."},
        revision=other.revision,
    )
    assert answer.status == 404
    assert finding.settlement == ""


def test_only_coordinators_review(api_for, observer, partner, visit):
    stranger = make_member(make_program(), Role.COORDINATOR)
    finding = visit.findings.get()
    for member, status in ((observer, 403), (partner, 403), (stranger, 404)):
        api = api_for(member)
        for verb, body in (
            ("accept", None),
            ("send-back", {"note": "Why?"}),
            ("set-aside", {"note": "Why?"}),
            ("reopen", {"note": "Why?"}),
            ("correct", {"changes": {}, "reason": "Why?"}),
            (f"findings/{finding.pk}/settle", {"settlement": "counts", "reason": "Why?"}),
        ):
            answer = api("POST", f"visits/{visit.pk}/{verb}/", body, revision=visit.revision)
            assert answer.status == status, verb
            assert answer.data["detail"]


def test_confirm_by_ear_and_take_it_back(api, api_for, observer, program):
    code = "pseudacris-crucifer"
    make_checklist(program, "Pseudacris crucifer")
    cells = plain_cells() | {f"stops.1.calls.{code}": "2"}
    visit = make_submitted(observer, make_route(program, code="R11"), cells)
    recording = keep(observer, visit, sound(), stop=1, species=code)
    heard = {"recording": str(recording.pk), "species": code}

    def confirmation(who):
        periods = who("GET", f"visits/{visit.pk}/records/").data["periods"]
        return next(p for p in periods if p["stop"] == 1)["calls"][0]["confirmation"]

    place = f"visits/{visit.pk}/confirm/"
    assert api_for(observer)("POST", place, heard, revision=visit.revision).status == 403
    assert api("POST", place, heard, revision=visit.revision - 1).status == 409
    wrong = api("POST", place, {**heard, "species": "none"}, revision=visit.revision)
    assert (wrong.status, "stop 1" in wrong.data["detail"]) == (422, True)
    assert confirmation(api) is None
    done = api("POST", place, heard, revision=visit.revision)
    assert done.status == 200
    said = confirmation(api_for(observer))
    assert (said["by"], said["recording"]) == (api.member.person.name, str(recording.pk))
    back = f"visits/{visit.pk}/confirmations/{said['id']}/take-back/"
    revision = done.data["visit"]["revision"]
    assert api_for(observer)("POST", back, revision=revision).status == 403
    assert api("POST", back, revision=revision).status == 200
    assert confirmation(api) is None
