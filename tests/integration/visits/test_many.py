"""Many visits reviewed at once: one reason, a step in the history of each, the same that counts."""

import datetime as dt
import time

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from accounts.models import Role
from surveys.models import (
    CallIndex,
    ListeningPeriod,
    Settlement,
    Step,
    StoredFinding,
    Submission,
    Visit,
    VisitState,
)
from surveys.visits import verbs
from surveys.visits.exceptions import NotSettleable, ReasonMissing
from surveys.visits.many import (
    OpenRule,
    Selection,
    SelectionChanged,
    accept_many,
    open_rules,
    ready,
    set_aside_many,
    settle_many,
)
from tests.support.builders import make_checklist, make_member, make_program, make_route
from tests.support.sheets import make_submitted, plain_cells

pytestmark = pytest.mark.django_db
ALL = Selection()
SHORT = "listening-too-short"


@pytest.fixture
def species(program):
    return make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")


@pytest.fixture
def routes(program):
    return [make_route(program) for _ in range(2)]


def short(visits_on, observer, species, night):
    """A visit with a question about stop 2 (too short) and one about a species at stop 1."""
    peeper, toad = species
    cells = plain_cells(3, {1: {peeper: "-", toad: 1}, 2: {toad: 3}, 3: {peeper: 2}})
    return make_submitted(
        observer, visits_on, cells | {"stops.2.finished_at": "21:13"}, night=night
    )


@pytest.fixture
def visits(observer, routes, species):
    nights = (dt.date(2024, 4, 15), dt.date(2025, 4, 15))
    return [short(route, observer, species, night) for route in routes for night in nights]


@pytest.fixture
def clean(observer, routes, species):
    peeper, toad = species
    return make_submitted(
        observer, routes[0], plain_cells(3, {1: {peeper: 2, toad: 1}}), night=dt.date(2023, 4, 15)
    )


def counting(visit):
    visit.refresh_from_db()
    stops = visit.periods.filter(counts_in_trends=True).values_list("stop__number", flat=True)
    calls = CallIndex.objects.filter(period__visit=visit, counts_in_trends=True)
    called = calls.values_list("period__stop__number", "species__scientific_name")
    return visit.counts_in_trends, set(stops), set(called)


def test_one_reason_for_all_of_a_route_and_season(coordinator, routes, visits):
    rules = {rule.code: rule for rule in open_rules(coordinator, ALL)}
    assert rules[SHORT] == OpenRule(code=SHORT, visits=4, questions=4)
    chosen = Selection(route=routes[0].code, season_year=2024)
    number = settle_many(
        coordinator, chosen, rule=SHORT, settlement="counts", reason="Old watch.", seen=1
    )
    assert number == 1
    settled = StoredFinding.objects.get(code=SHORT, settlement=Settlement.COUNTS)
    assert (settled.visit_id, settled.reason, settled.settled_by) == (
        visits[0].pk,
        "Old watch.",
        coordinator.person,
    )
    rest = open_rules(coordinator, ALL)
    assert next(rule for rule in rest if rule.code == SHORT).visits == 3
    settle_many(coordinator, ALL, rule=SHORT, settlement="left_out", reason="Too short.", seen=3)
    for visit, reason in zip(visits, ("Old watch.", *["Too short."] * 3), strict=True):
        step = visit.steps.latest("pk")
        assert (step.step, step.by) == (Step.SETTLED, coordinator.person)
        assert reason in step.note
        assert SHORT in step.note
        before = visit.revision
        visit.refresh_from_db()
        assert step.revision == visit.revision == before + 1
    assert "3 visits at once" in visits[1].steps.latest("pk").note


@pytest.mark.parametrize("settlement", Settlement.values)
def test_what_counts_is_what_counts_one_by_one(coordinator, visits, clean, settlement):
    one, *others = visits
    for finding in list(one.findings.filter(severity="query")):
        one = verbs.settle(
            coordinator,
            finding.pk,
            settlement=settlement,
            reason="Seen.",
            revision=one.revision,
        )
    for rule in open_rules(coordinator, ALL):
        settle_many(
            coordinator,
            ALL,
            rule=rule.code,
            settlement=settlement,
            reason="Seen.",
            seen=rule.questions,
        )
    verbs.accept(coordinator, one.pk, revision=one.revision)
    assert accept_many(coordinator, ALL, seen=4) == 4
    assert [counting(visit) for visit in others] == [counting(one)] * 3
    assert counting(clean)[0]
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.ACCEPTED}
    assert clean.steps.latest("pk").step == Step.ACCEPTED
    assert "4 visits at once" in clean.steps.latest("pk").note


def test_visits_with_open_questions_are_never_accepted(coordinator, visits, clean):
    assert list(ready(coordinator, ALL)) == [clean]
    assert accept_many(coordinator, ALL, seen=1) == 1
    assert Visit.objects.filter(state=VisitState.SUBMITTED).count() == 4


def test_what_changed_meanwhile_is_looked_at_again(coordinator, visits, clean):
    with pytest.raises(SelectionChanged):
        accept_many(coordinator, ALL, seen=2)
    with pytest.raises(SelectionChanged):
        settle_many(coordinator, ALL, rule=SHORT, settlement="counts", reason="Fine.", seen=3)
    with pytest.raises(SelectionChanged):
        settle_many(coordinator, ALL, rule="no-rule", settlement="counts", reason="Fine.", seen=0)
    with pytest.raises(SelectionChanged):
        accept_many(coordinator, Selection(route="no-route"), seen=0)
    assert not StoredFinding.objects.exclude(settlement="").exists()
    assert not Visit.objects.filter(state=VisitState.ACCEPTED).exists()


def test_every_answer_has_a_reason(coordinator, visits):
    with pytest.raises(ReasonMissing):
        settle_many(coordinator, ALL, rule=SHORT, settlement="counts", reason=" ", seen=4)
    with pytest.raises(NotSettleable):
        settle_many(coordinator, ALL, rule=SHORT, settlement="", reason="Fine.", seen=4)
    with pytest.raises(ReasonMissing):
        set_aside_many(coordinator, Visit.objects.all(), note="")


def test_accepted_visits_set_aside_count_no_more(coordinator, visits, clean):
    accept_many(coordinator, ALL, seen=1)
    sent_back = verbs.send_back(
        coordinator, visits[0].pk, note="Look again.", revision=visits[0].revision
    )
    assert set_aside_many(coordinator, Visit.objects.all(), note="A test file.") == 5
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.SET_ASIDE}
    assert counting(clean) == (False, set(), set())
    assert not ListeningPeriod.objects.filter(counts_in_trends=True).exists()
    assert sent_back.steps.latest("pk").note == "A test file."
    assert set_aside_many(coordinator, Visit.objects.all(), note="Again.") == 0
    # What was submitted is still there.
    assert Submission.objects.filter(visit=clean).exists()


def test_only_coordinators_and_only_their_program(observer, coordinator, visits, clean):
    stranger = make_member(make_program(), Role.COORDINATOR)
    assert open_rules(stranger, ALL) == []
    assert set_aside_many(stranger, Visit.objects.all(), note="Not ours.") == 0
    with pytest.raises(SelectionChanged):
        accept_many(stranger, ALL, seen=1)
    for verb in (
        lambda: open_rules(observer, ALL),
        lambda: accept_many(observer, ALL, seen=1),
        lambda: settle_many(observer, ALL, rule=SHORT, settlement="counts", reason="Fine.", seen=4),
        lambda: set_aside_many(observer, Visit.objects.all(), note="Mine."),
    ):
        with pytest.raises(PermissionDenied):
            verb()


def test_the_page(coordinator, client_for, program, routes, visits, clean):
    client = client_for(coordinator)
    url = reverse("web:review_many", args=[program.slug])
    page = client.get(url)
    text = page.content.decode()
    assert "5 submitted visits." in text
    assert "Accept 1 visit" in text
    assert "4 open questions" in text
    resolve = reverse("web:review_many_resolve", args=[program.slug])
    answer = {"rule": SHORT, "seen": "4", "settlement": "counts", "reason": ""}
    refused = client.post(resolve, answer)
    assert refused.status_code == 400
    assert "This is missing. Fill it in." in refused.content.decode()
    client.post(resolve, answer | {"reason": "Old watch.", "season_year": "2024", "seen": "2"})
    assert StoredFinding.objects.filter(code=SHORT, reason="Old watch.").count() == 2
    stale = client.post(resolve, answer | {"reason": "Fine."}, follow=True)
    assert "The visits changed" in stale.content.decode()
    assert client.post(resolve, answer | {"route": "no-route"}).status_code == 400
    accept = reverse("web:review_many_accept", args=[program.slug])
    for seen in ("", "x", "9" * 30):
        client.post(accept, {"seen": seen})
    assert client.post(accept, {"seen": "1", "upload": "none"}).status_code == 400
    assert not Visit.objects.filter(state=VisitState.ACCEPTED).exists()
    done = client.post(accept, {"seen": "1", "route": routes[0].code}, follow=True)
    assert "One visit is accepted." in done.content.decode()
    clean.refresh_from_db()
    assert clean.state == VisitState.ACCEPTED
    assert client.get(url, {"season_year": "x"}).status_code == 400


@pytest.mark.parametrize("number", [270])
def test_an_archive_is_reviewed_in_a_few_presses(
    coordinator, client_for, program, observer, routes, species, number
):
    """270 visits, all with questions of two rules: a press for each rule and one to accept. The
    issue of the time is people's; here it is that the site keeps up (seconds of this machine's
    work, not of a clock)."""
    first = short(routes[0], observer, species, dt.date(2024, 4, 15))
    copy_visit(first, number - 1)
    client = client_for(coordinator)
    url = reverse("web:review_many", args=[program.slug])
    begun, presses = time.process_time(), 0
    for rule, _, form in client.get(url).context["rules"]:
        assert rule.visits == number
        client.post(
            reverse("web:review_many_resolve", args=[program.slug]),
            {
                "rule": rule.code,
                "seen": form.initial["seen"],
                "settlement": "counts",
                "reason": "As in the old protocol.",
            },
        )
        presses += 1
    seen = client.get(url).context["ready"]
    client.post(reverse("web:review_many_accept", args=[program.slug]), {"seen": seen})
    assert Visit.objects.filter(state=VisitState.ACCEPTED, counts_in_trends=True).count() == number
    assert presses + 1 <= 5
    assert time.process_time() - begun < 30


def copy_visit(visit, times):
    """The same sheet again, on nights before."""
    rows = {
        "visits": [],
        "periods": [],
        "findings": [],
    }
    for number in range(1, times + 1):
        copy = Visit.objects.get(pk=visit.pk)
        copy.pk = None
        copy.id = Visit._meta.pk.get_default()
        copy.night = visit.night - dt.timedelta(days=number)
        rows["visits"].append(copy)
        for period in visit.periods.all():
            period.id = ListeningPeriod._meta.pk.get_default()
            period.visit = copy
            rows["periods"].append(period)
        for finding in visit.findings.all():
            finding.pk, finding.visit = None, copy
            rows["findings"].append(finding)
    Visit.objects.bulk_create(rows["visits"])
    ListeningPeriod.objects.bulk_create(rows["periods"])
    StoredFinding.objects.bulk_create(rows["findings"])
