"""Review through its views: the queue, settling, deciding, correcting, and nothing lost."""

import datetime as dt
import html
import json
import re
from dataclasses import dataclass

import pytest
from django.test import Client
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.models import (
    Membership,
    Role,
)
from surveys.models import (
    Confirmation,
    ReviewStep,
    Settlement,
    Step,
    StoredFinding,
    Submission,
    Visit,
)
from surveys.visits import verbs
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.sheets import (
    make_draft,
    make_submitted,
    plain_cells,
    type_cells,
)
from tests.support.sounds import keep, sound

REASON = "The observer's notebook says 21:17; the 3 was a slip."


@dataclass
class Desk:
    """A coordinator's browser at one program."""

    client: Client
    slug: str

    def url(self, name, visit=None, **rest):
        where = {"program": self.slug} | ({"visit": visit.pk} if visit else {}) | rest
        return reverse(f"web:{name}", kwargs=where)

    def get(self, name, visit=None, query="", **rest):
        return self.client.get(self.url(name, visit, **rest) + query)

    def post(self, name, visit, query="", finding=None, **data):
        rest = {"finding": finding} if finding else {}
        return self.client.post(self.url(name, visit, **rest) + query, data)


@pytest.fixture
def desk(program, coordinator, client_for):
    return Desk(client_for(coordinator), program.slug)


@pytest.fixture
def other_desk(program, client_for):
    colleague = make_member(program, Role.COORDINATOR)
    colleague.person.name = "Ash Ferrow"
    colleague.person.save()
    return Desk(client_for(colleague), program.slug)


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def route(program, species):
    return make_route(program, version=make_version(program), code="R07")


@pytest.fixture
def visit(observer, route, species):
    """One query (stop 2 was listened to too briefly), calls of every kind, stop 3 not reached."""
    peeper, toad = species
    cells = plain_cells(2, {1: {peeper: 3, toad: "?"}})
    return make_submitted(observer, route, cells | {"stops.2.finished_at": "21:13"})


@pytest.fixture
def clean(observer, route, species):
    return make_submitted(observer, route, plain_cells(3), night=dt.date(2024, 5, 2))


@pytest.fixture
def query(visit):
    return visit.findings.get(severity="query")


def text_of(response):
    """The page's words, tags taken away."""
    page = html.unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))
    return " ".join(page.split())


def state_of(visit):
    return Visit.objects.get(pk=visit.pk).state


# The queue


def test_queue_lists_submitted_visits(desk, visit, clean):
    text = text_of(desk.get("review"))
    assert "2 visits. What stands out first." in text
    assert "15 Apr 2024" in text
    assert "Robin Fenwick" in text
    assert "1 open" in text
    assert "Paper sheet" in text


def test_queue_keeps_its_filters_in_the_url(desk, visit, clean):
    response = desk.get("review", query="?route=R07&open=on&at=xyz")
    assert "1 visit. What stands" in text_of(response)
    page = response.content.decode()
    assert f"{desk.url('review_visit', visit)}?route=R07&amp;open=on" in page
    assert "?state=accepted&amp;route=R07&amp;open=on" in page


@pytest.mark.parametrize(
    "query",
    ["?route=R99", "?observer=999999999999", "?observer=x", "?season_year=%01", "?region=Nowhere"],
)
def test_filter_without_a_match_is_explained(desk, visit, query):
    response = desk.get("review", query=query)
    assert response.status_code == 200
    assert 'class="field__error"' in response.content.decode()


def test_unknown_state_shows_submitted_visits(desk, visit):
    assert "1 visit. What stands" in text_of(desk.get("review", query="?state=draft"))


def test_empty_queue_says_so(desk):
    assert "Nothing to review" in text_of(desk.get("review"))


def test_review_of_a_new_program_leads_to_what_is_still_to_set_up(desk, observer, route):
    text = text_of(desk.get("review"))
    assert "Still to set up Routes without an observer in" in text
    make_submitted(observer, route)
    assert "Still to set up" not in text_of(desk.get("review"))
    assert "Still to set up" not in text_of(desk.get("review", query="?region=Nowhere"))


def test_number_of_queries_of_the_queue(
    desk, observer, route, visit, django_assert_num_queries, django_assert_max_num_queries
):
    desk.get("review")
    with django_assert_max_num_queries(16) as first:
        desk.get("review")
    before = len(first.captured_queries)
    for number in range(4):
        make_submitted(
            observer,
            route,
            plain_cells() | {"stops.2.finished_at": "21:13"},
            night=dt.date(2024, 5, 1 + number),
        )
    desk.get("review")
    with django_assert_num_queries(before):
        assert "5 visits" in text_of(desk.get("review"))


# One visit


def test_page_distinguishes_zero_not_sure_and_not_reached(desk, visit):
    page = desk.get("review_visit", visit).content.decode()
    assert "ci--3" in page
    assert "heard, not sure" in page
    assert page.count("ci--0") == 2  # both species at stop 2, listened to in silence
    assert "Not reached: missing, not silent." in page


def test_page_shows_the_query_at_its_cell(desk, visit, query):
    page = desk.get("review_visit", visit).content.decode()
    marked = re.search(r'<td[^>]*data-severity="query"[^>]*>(.*?)</td>', page, re.DOTALL)
    assert f'href="#finding-{query.pk}"' in marked[1]
    assert f'id="finding-{query.pk}"' in page


def test_page_shows_hours_limits_and_history(desk, visit):
    text = text_of(desk.get("review_visit", visit))
    assert "Sunset 19:40" in text  # 00:40:57 UTC (reference library, DE421), Chicago time
    assert "First arrival 21:00" in text
    assert "Listening time 5 min" in text
    assert "Submitted by Robin Fenwick" in text
    assert "As first submitted: Robin Fenwick" in text


def test_map_marks_stops_with_findings(desk, visit):
    collection = desk.get("review_visit", visit).context["map"]
    stops = [f["properties"] for f in collection["features"] if f["properties"]["kind"] == "stop"]
    assert [stop["state"] for stop in stops] == ["done", "finding", "not-reached"]


def test_number_of_queries_of_a_visit(
    desk,
    program,
    observer,
    species,
    visit,
    django_assert_max_num_queries,
    django_assert_num_queries,
):
    desk.get("review_visit", visit)
    with django_assert_max_num_queries(32) as first:
        desk.get("review_visit", visit)
    before = len(first.captured_queries)
    longer = make_route(program, stops=10)
    cells = plain_cells(10, {number: {species[0]: 2} for number in range(1, 11)})
    for number in range(1, 9):
        hour, minute = cells[f"stops.{number}.started_at"].split(":")
        cells[f"stops.{number}.finished_at"] = f"{hour}:{int(minute) + 2:02}"
    busy = make_submitted(observer, longer, cells)
    assert busy.findings.count() > 5
    with django_assert_num_queries(before):
        desk.get("review_visit", busy)


# Settling


def test_settle_redirects_to_the_next_open_query_or_to_the_decision(desk, visit, query):
    response = desk.post(
        "settle",
        visit,
        finding=query.pk,
        settlement="counts",
        reason=REASON,
        revision=visit.revision,
        query="?route=R07",
    )
    assert response.status_code == 302
    assert response.url == desk.url("review_visit", visit) + "?route=R07#decide"
    query.refresh_from_db()
    assert (query.settlement, query.reason) == ("counts", REASON)
    text = text_of(desk.get("review_visit", visit))
    assert "No open questions" in text
    assert REASON in text


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"settlement": "", "reason": REASON}, "Choose one of the two answers."),
        ({"settlement": "left_out", "reason": "  "}, "Write a reason"),
        ({"settlement": "perhaps", "reason": REASON}, "is not one of the choices"),
    ],
)
def test_settle_without_answer_or_reason_keeps_the_rest_of_the_form(
    desk, visit, query, typed, message
):
    response = desk.post("settle", visit, finding=query.pk, revision=visit.revision, **typed)
    assert response.status_code == 422
    assert message in text_of(response)
    assert typed["reason"].strip() in html.unescape(response.content.decode())
    assert StoredFinding.objects.get(pk=query.pk).settlement == ""


def test_stale_settle_keeps_what_was_typed_and_says_who(desk, other_desk, visit, query):
    seen = visit.revision
    other_desk.post(
        "settle", visit, finding=query.pk, settlement="left_out", reason="Too short.", revision=seen
    )
    response = desk.post(
        "settle", visit, finding=query.pk, settlement="counts", reason=REASON, revision=seen
    )
    assert response.status_code == 409
    text = text_of(response)
    assert "Someone else changed this visit in the meantime" in text
    assert "Question resolved by Ash Ferrow" in text
    assert REASON in html.unescape(response.content.decode())
    query.refresh_from_db()
    assert (query.settlement, query.reason) == (Settlement.LEFT_OUT, "Too short.")
    # The page shown again is the one of now: the second answer can be given on purpose.
    assert f'name="revision" value="{seen + 1}"' in response.content.decode()


def test_settling_a_visit_that_was_accepted_in_the_meantime_keeps_the_reason(
    desk, other_desk, visit, query
):
    other_desk.post(
        "settle",
        visit,
        finding=query.pk,
        settlement="counts",
        reason="Fine.",
        revision=visit.revision,
    )
    other_desk.post("accept", visit, revision=visit.revision + 1)
    response = desk.post(
        "settle",
        visit,
        finding=query.pk,
        settlement="left_out",
        reason=REASON,
        revision=visit.revision,
    )
    assert response.status_code == 409
    text = text_of(response)
    assert "The visit is marked “accepted”" in text
    assert "Accepted by Ash Ferrow" in text
    assert f"What you typed: Answer left_out Reason {REASON}" in text


def test_settling_a_deleted_query_keeps_the_reason(desk, other_desk, observer, visit, query):
    seen = visit.revision
    other_desk.post("send_back", visit, note="Check stop 2.", revision=seen)
    visit.refresh_from_db()
    from_observer = {"stops.2.finished_at": "21:16"}
    resubmit(observer, visit, from_observer)
    response = desk.post(
        "settle", visit, finding=query.pk, settlement="counts", reason=REASON, revision=seen
    )
    assert response.status_code == 409
    assert REASON in text_of(response)
    assert "This question is gone" in text_of(response)


def resubmit(observer, visit, cells):
    saved = type_cells(observer, visit, cells)
    return verbs.submit_visit(observer, visit.pk, revision=saved.visit.revision)


def test_finding_of_another_visit_is_refused(desk, visit, clean, query):
    response = desk.post(
        "settle",
        clean,
        finding=query.pk,
        settlement="counts",
        reason=REASON,
        revision=visit.revision,
    )
    assert response.status_code == 409
    assert StoredFinding.objects.get(pk=query.pk).settlement == ""


# Deciding


def test_accept_redirects_to_the_next_waiting_visit(desk, visit, clean):
    response = desk.post("accept", clean, revision=clean.revision)
    assert response.url == desk.url("review_visit", visit)
    assert state_of(clean) == "accepted"
    assert "Accepted: R07" in text_of(desk.client.get(response.url))


def test_accepting_the_last_visit_redirects_to_the_queue(desk, clean):
    response = desk.post("accept", clean, revision=clean.revision, query="?route=R07")
    assert response.url == desk.url("review") + "?route=R07"


def test_accept_with_open_queries_says_which(desk, visit, query):
    response = desk.post("accept", visit, revision=visit.revision)
    assert response.status_code == 422
    assert "One question is open" in text_of(response)
    assert state_of(visit) == "submitted"


def test_stale_accept_changes_nothing(desk, other_desk, clean):
    other_desk.post("set_aside", clean, note="A double.", revision=clean.revision)
    response = desk.post("accept", clean, revision=clean.revision)
    assert response.status_code == 409
    assert "Set aside by Ash Ferrow" in text_of(response)
    assert state_of(clean) == "set_aside"


@pytest.mark.parametrize("revision", ["", "x", "-1", "²", "99999999999999999999"])
def test_form_without_a_revision_is_stale(desk, clean, revision):
    assert desk.post("accept", clean, revision=revision).status_code == 409
    assert state_of(clean) == "submitted"


@pytest.mark.parametrize(
    ("name", "state"), [("send_back", "sent_back"), ("set_aside", "set_aside")]
)
def test_note_forms_work_without_javascript(desk, visit, name, state):
    shown = desk.get(name, visit).content.decode()
    assert f'action="{desk.url(name, visit)}"' in shown
    response = desk.post(name, visit, note="Please look at stop 2.", revision=visit.revision)
    assert response.status_code == 302
    assert state_of(visit) == state
    assert visit.steps.latest("pk").note == "Please look at stop 2."


@pytest.mark.parametrize("name", ["send_back", "set_aside"])
def test_note_is_required(desk, visit, name):
    response = desk.post(name, visit, note=" ", revision=visit.revision)
    assert response.status_code == 422
    assert "Write a reason" in text_of(response)
    assert state_of(visit) == "submitted"


def test_stale_form_keeps_its_note(desk, other_desk, visit, query):
    other_desk.post(
        "settle",
        visit,
        finding=query.pk,
        settlement="counts",
        reason="Fine.",
        revision=visit.revision,
    )
    response = desk.post("send_back", visit, note=REASON, revision=visit.revision)
    assert response.status_code == 409
    page = html.unescape(response.content.decode())
    assert re.search(rf"<textarea[^>]*>\s*{re.escape(REASON)}</textarea>", page)
    assert state_of(visit) == "submitted"


def test_note_is_shown_when_the_visit_was_decided_in_the_meantime(desk, other_desk, clean):
    other_desk.post("accept", clean, revision=clean.revision)
    response = desk.post("send_back", clean, note=REASON, revision=clean.revision)
    assert response.status_code == 409
    assert REASON in text_of(response)
    assert state_of(clean) == "accepted"


def test_reopen_stays_on_the_visit(desk, clean):
    desk.post("accept", clean, revision=clean.revision)
    clean.refresh_from_db()
    assert clean.counts_in_trends
    response = desk.post("reopen", clean, note="Wrong night?", revision=clean.revision)
    assert response.url == desk.url("review_visit", clean)
    clean.refresh_from_db()
    assert (clean.state, clean.counts_in_trends) == ("submitted", False)


def test_observer_is_mailed_about_a_visit_sent_back(desk, visit):
    desk.post("send_back", visit, note="Please look at stop 2.", revision=visit.revision)
    job = ProcrastinateJob.objects.get(task_name="visits.mail_sent_back")
    assert job.args["site_url"] == "http://testserver/"


def test_two_coordinators_cannot_both_decide(desk, other_desk, clean):
    seen = clean.revision
    first = desk.post("accept", clean, revision=seen)
    second = other_desk.post("send_back", clean, note="Not so fast.", revision=seen)
    assert (first.status_code, second.status_code) == (302, 409)
    assert state_of(clean) == "accepted"
    steps = ReviewStep.objects.filter(visit=clean).values_list("step", flat=True)
    assert list(steps) == [Step.SUBMITTED, Step.ACCEPTED]


# Correcting


def correction(visit, reason=REASON, revision=None, **cells):
    typed = {address.replace("__", "."): text for address, text in cells.items()}
    return {
        **visit.cells,
        **typed,
        "rendered": json.dumps(visit.cells),
        "revision": visit.revision if revision is None else revision,
        "reason": reason,
    }


def test_correction_keeps_the_original_submission(desk, visit, query):
    first = dict(visit.cells)
    response = desk.post(
        "review_correct", visit, **correction(visit, stops__2__finished_at="21:17")
    )
    assert response.url == desk.url("review_visit", visit)
    assert not StoredFinding.objects.filter(visit=visit, code=query.code).exists()
    assert Submission.objects.filter(visit=visit).order_by("revision")[0].cells == first
    text = text_of(desk.get("review_visit", visit))
    assert "1 cell changed" in text
    assert "Stop 2, end 21:13 21:17" in text
    assert "Corrected by" in text


def test_correction_sheet_shows_every_cell(desk, visit):
    page = desk.get("review_correct", visit).content.decode()
    assert 'name="stops.2.finished_at"' in page
    assert 'value="21:13"' in page


@pytest.mark.parametrize(
    ("cells", "reason", "message"),
    [
        ({"stops__2__finished_at": "21:17"}, " ", "Write a reason"),
        ({"stops__2__finished_at": "half past"}, REASON, "cannot submit this visit yet"),
        ({}, REASON, "No cell was changed"),
    ],
)
def test_invalid_correction_keeps_what_was_typed(desk, visit, cells, reason, message):
    response = desk.post("review_correct", visit, **correction(visit, reason, **cells))
    assert response.status_code == 422
    assert message in text_of(response)
    page = html.unescape(response.content.decode())
    for typed in (*cells.values(), reason.strip()):
        assert typed in page
    assert Submission.objects.filter(visit=visit).count() == 1


def test_stale_correction_shows_both_texts(desk, other_desk, visit):
    typed = correction(visit, stops__2__finished_at="21:17")
    other_desk.post(
        "review_correct", visit, **correction(visit, "Rang.", stops__2__finished_at="21:18")
    )
    response = desk.post("review_correct", visit, **typed)
    assert response.status_code == 409
    text = text_of(response)
    assert "Corrected by Ash Ferrow" in text
    assert "Stop 2, end 21:18 21:17" in text
    assert 'value="21:17"' in response.content.decode()
    assert Visit.objects.get(pk=visit.pk).cells["stops.2.finished_at"] == "21:18"


def test_adding_a_species_column_loses_nothing(desk, visit):
    other = make_checklist(make_program(), "Lithobates sylvaticus")[0]
    typed = correction(visit, stops__2__finished_at="21:17")
    response = desk.post("review_correct", visit, **typed, extra_species=other.code, then="column")
    page = html.unescape(response.content.decode())
    assert f'name="stops.1.calls.{other.code}"' in page
    assert 'value="21:17"' in page
    assert REASON in page
    assert Submission.objects.filter(visit=visit).count() == 1


def test_accepted_visit_must_be_reopened_before_it_is_corrected(desk, clean):
    desk.post("accept", clean, revision=clean.revision)
    response = desk.get("review_correct", clean)
    assert response.url == desk.url("review_visit", clean)
    assert "The visit is marked “accepted”" in text_of(desk.client.get(response.url))


# Who may


NAMES = ["review_visit", "accept", "send_back", "set_aside", "reopen", "review_correct"]


def try_all(client: Client, slug: str, visit: Visit) -> set[int]:
    """Statuses of every address of the review, asked in both ways."""
    at = Desk(client, slug)
    finding = visit.findings.first().pk
    data = {"revision": visit.revision, "note": "x", "reason": "x", "settlement": "counts"}
    answers = {at.post("settle", visit, finding=finding, **data).status_code}
    for name in NAMES:
        answers.add(at.get(name, visit).status_code)
        answers.add(at.post(name, visit, **data).status_code)
    return answers - {405}


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
def test_only_coordinators_review(program, client_for, visit, role):
    client = client_for(make_member(program, role))
    assert try_all(client, program.slug, visit) == {403}
    assert client.get(f"/{program.slug}/review/").status_code == 403
    assert state_of(visit) == "submitted"


def test_coordinators_of_another_program_get_a_404(program, client_for, visit):
    stranger = make_member(make_program(), Role.COORDINATOR)
    client = client_for(stranger)
    assert try_all(client, program.slug, visit) == {404}
    assert try_all(client, stranger.program.slug, visit) == {404}
    assert state_of(visit) == "submitted"


def test_signed_out_people_are_asked_to_sign_in(program, visit):
    assert try_all(Client(), program.slug, visit) == {302}


def test_draft_cannot_be_reviewed(desk, observer: Membership, route):
    draft = make_draft(observer, route)
    assert desk.get("review_visit", draft).status_code == 404


def test_confirm_by_ear_beside_the_recording(desk, observer, visit, coordinator):
    recording = keep(observer, visit, sound(), stop=1, species="pseudacris-crucifer")
    assert "Confirm by ear at stop 1" in text_of(desk.get("review_visit", visit))
    posted = {"recording": recording.pk, "species": "pseudacris-crucifer"}
    seen = visit.revision
    answer = desk.post("confirm", visit, **posted, revision=seen)
    assert answer.status_code == 302
    assert answer["Location"].endswith(f"#recording-{recording.pk}")
    page = text_of(desk.get("review_visit", visit))
    name = Confirmation.objects.get().call.species.common_name
    assert f"Confirmed by ear: {name} , by {coordinator.person.name} on" in page
    assert "call index 3 confirmed" in page
    assert "Confirm by ear at stop 1" not in page
    again = desk.post("confirm", visit, **posted, revision=seen)
    assert again.status_code == 409
    confirmation = Confirmation.objects.get()
    visit.refresh_from_db()
    answer = desk.client.post(
        desk.url("take_back", visit, confirmation=confirmation.pk),
        {"recording": recording.pk, "revision": visit.revision},
    )
    assert answer.status_code == 302
    assert not Confirmation.objects.exists()
    page = text_of(desk.get("review_visit", visit))
    assert "Confirmation withdrawn by" in page


def test_a_recording_that_is_none_is_told(desk, visit):
    answer = desk.post("confirm", visit, recording="", species="x", revision=visit.revision)
    assert answer.status_code == 409
    assert "There is no such recording." in text_of(answer)
