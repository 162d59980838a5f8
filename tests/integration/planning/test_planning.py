"""The plan of a season: absences, offers, substitutes, free routes, requests and their mail."""

import datetime as dt

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.http import Http404
from django.utils import timezone
from geographiclib.geodesic import Geodesic
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.edit_conflicts import EditConflict, Seen
from accounts.erasing import erase
from accounts.models import Membership, Role
from surveys.exports.own_data import own_data
from surveys.models import Absence, Assignment, HelpOffer, RequestState, RouteRequest, Substitute
from surveys.planning import availability, notices, requests
from surveys.planning.candidates import candidates
from surveys.planning.free_routes import free_routes
from surveys.planning.nearness import meters_to_route
from surveys.planning.substitutes import (
    MOST_NAMED,
    drop_own_substitute,
    drop_substitute,
    name_own_substitute,
    name_substitute,
)
from surveys.programs.assignments import assign, assigned_facts, due_windows, unassign
from surveys.programs.cover import SeasonPlan
from surveys.reminders.calendars import events_of
from surveys.reminders.due import due_reminders
from surveys.reminders.stopping import find_stop_link, stop
from surveys.seasons.coverage import coverage
from surveys.seasons.overdue import overdue_visits
from surveys.visits.tonight import tonight_for
from tests.support.builders import make_accepted_visit, make_member, make_program, make_route
from tests.support.season_plan import NOW, TODAY

pytestmark = pytest.mark.django_db

SITE = "https://frogs.example.org"
MAY = dt.date(2025, 5, 2)


def cover(plan, window="April", route=None):
    """Names of those who go."""
    row = next(
        row
        for row in coverage(plan.program, 2025, today=TODAY).rows
        if row.route_id == (route or plan.near).pk
    )
    cell = next(cell for cell in row.cells if cell is not None and cell.window.name == window)
    return [goer.member.person.name for goer in cell.cover.going]


def free(plan):
    return {
        one.route.code: ([window.name for window in one.windows], one.is_whole)
        for one in free_routes(plan.program, 2025, TODAY)
    }


def send_mail_of(job_name: str) -> list[str]:
    """Carry out the jobs of a kind; the texts that went out."""
    tasks = (
        notices.mail_answer,
        notices.mail_asked,
        notices.mail_no_substitute,
        notices.mail_substitute,
    )
    task = {one.name: one for one in tasks}
    for args in ProcrastinateJob.objects.filter(task_name=job_name).values_list("args", flat=True):
        task[job_name](**args)
    return [f"{letter.to[0]}: {letter.body}" for letter in mail.outbox]


# --- Cover ------------------------------------------------------------------------


def test_everything_follows_one_cover(plan, coordinator):
    """Gaps, reminders, the overdue, calendar and Tonight say the same of who goes."""
    assert cover(plan) == cover(plan, "June") == ["Ann"]
    assert free(plan) == {"R2": (["April", "June"], True)}
    availability.add_absence(plan.ann, first=TODAY, last=MAY)
    assert cover(plan) == []
    assert cover(plan, "June") == ["Ann"]
    assert free(plan) == {"R1": (["April"], False), "R2": (["April", "June"], True)}
    (late,) = [
        one
        for one in overdue_visits(coverage(plan.program, 2025, today=TODAY), TODAY)
        if one.route.code == "R1"
    ]
    assert late.cover.away == (plan.ann,)
    assert not list(due_reminders(plan.program, TODAY))
    evening = tonight_for(plan.ann, NOW)
    assert (evening.routes, [one.route for one in evening.later]) == ((), [plan.near])
    name_substitute(
        coordinator, assignment_id=plan.of_ann.pk, window="April", observer_id=plan.bo.person_id
    )
    assert cover(plan) == ["Bo"]
    assert {due.member for due in due_reminders(plan.program, TODAY)} == {plan.bo}
    assert [event.first for event in events_of(plan.bo, "https://x.example")] == [
        dt.date(2025, 4, 1)
    ]
    (own,) = tonight_for(plan.bo, NOW).routes
    assert (own.route, own.part.words) == (plan.near, "You fill in for Ann.")
    (later,) = tonight_for(plan.ann, NOW).later
    assert later.part.words == "Bo fills in for you in this window."
    Membership.objects.filter(pk=plan.bo.pk).update(active=False)
    assert cover(plan) == []


def test_tonight_in_another_window(plan, coordinator):
    assign(
        coordinator,
        route_id=plan.far.pk,
        observer_id=plan.bo.person_id,
        season_year=2025,
        windows=["June"],
    )
    (later,) = tonight_for(plan.bo, NOW).later
    assert later.part.words == "Your windows: June."
    assert cover(plan, "April", plan.far) == []


# --- Assignments ------------------------------------------------------------------


def test_windows_add_up_and_are_taken_away_one_by_one(plan, coordinator):
    def given(*windows):
        return assign(
            coordinator,
            route_id=plan.far.pk,
            observer_id=plan.bo.person_id,
            season_year=2025,
            windows=windows,
        )

    assert given("June").windows == ["June"]
    assert given("April").windows == ["April", "June"]
    assert given().windows == []
    assert given("June").windows == []
    assert unassign(coordinator, given().pk, "June").windows == ["April"]
    unassign(coordinator, given("April").pk, "April")
    assert not Assignment.objects.filter(route=plan.far).exists()
    with pytest.raises(ValidationError, match="no window “May” in 2025"):
        given("May")


def test_two_coordinators_at_once(plan, coordinator):
    """The second is told who was assigned meanwhile; the database holds one row each."""
    facts = assigned_facts(plan.far, 2025)
    seen = Seen(facts=facts, at=NOW)
    assign(
        coordinator,
        route_id=plan.far.pk,
        observer_id=plan.bo.person_id,
        season_year=2025,
        seen=seen,
    )
    second = make_member(plan.program, Role.COORDINATOR)
    with pytest.raises(EditConflict, match="Observers of R2, 2025"):
        assign(
            second,
            route_id=plan.far.pk,
            observer_id=plan.ann.person_id,
            season_year=2025,
            seen=seen,
        )
    given = Assignment.objects.get(route=plan.far)
    assert given.observer == plan.bo.person
    with pytest.raises(EditConflict, match="Observers of R2, 2025"):
        name_substitute(
            second,
            assignment_id=given.pk,
            window="June",
            observer_id=plan.ann.person_id,
            seen=seen,
        )
    name_substitute(
        coordinator, assignment_id=plan.of_ann.pk, window="April", observer_id=plan.bo.person_id
    )
    with pytest.raises(IntegrityError), transaction.atomic():
        Substitute.objects.create(assignment=plan.of_ann, window="April", person=coordinator.person)


def test_substitutes_are_checked_and_told(plan, coordinator):
    def named(window="April", who=plan.bo):
        return name_substitute(
            coordinator,
            assignment_id=plan.of_ann.pk,
            window=window,
            observer_id=who.person_id,
            site_url="https://frogs.example.org/",
        )

    with pytest.raises(ValidationError, match="does not survey R1 in “May”"):
        named("May")
    with pytest.raises(ValidationError, match="surveys this route already"):
        named(who=plan.ann)
    with pytest.raises(Http404):
        named(who=make_member(make_program()))
    substitute = named()
    assert named() == substitute
    to_ann, to_bo = send_mail_of("planning.mail_substitute")
    assert "in place of Ann, April: 1 April 2025 to 30 April 2025" in to_bo
    assert "Bo surveys R1 Heron Slough in your place" in to_ann
    assert "https://frogs.example.org/" in to_ann
    mail.outbox.clear()
    drop_substitute(coordinator, substitute.pk, site_url=SITE)
    assert cover(plan) == ["Ann"]
    to_ann, to_bo = send_mail_of("planning.mail_no_substitute")
    assert "You no longer need to survey R1 Heron Slough in place of Ann" in to_bo
    assert "Bo will not survey R1 Heron Slough in your place" in to_ann
    # Bo goes after all: neither mail would be true.
    named()
    mail.outbox.clear()
    assert send_mail_of("planning.mail_no_substitute") == []


def own_substitute(plan, member=None, window="April", who=None):
    return name_own_substitute(
        member or plan.ann,
        assignment_id=plan.of_ann.pk,
        window=window,
        observer_id=(who or plan.bo).person_id,
        site_url=SITE,
    )


def test_an_observer_names_a_substitute_who_may_say_no(plan, coordinator):
    for window, words in (("May", "Choose one of your windows"), ("March", "Choose one")):
        with pytest.raises(ValidationError, match=words):
            own_substitute(plan, window=window)
    with pytest.raises(ValidationError, match="surveys this route already"):
        own_substitute(plan, who=plan.ann)
    for stranger in (plan.bo, coordinator, make_member(make_program(), Role.COORDINATOR)):
        with pytest.raises(Http404):
            own_substitute(plan, stranger)
    with pytest.raises(Http404):
        own_substitute(plan, who=make_member(make_program()))
    with pytest.raises(ValidationError, match="cannot enter visits"):
        own_substitute(plan, who=make_member(plan.program, Role.PARTNER))
    substitute = own_substitute(plan)
    assert own_substitute(plan) == substitute
    assert cover(plan) == ["Bo"]
    told = {text.split(":")[0]: text for text in send_mail_of("planning.mail_substitute")}
    assert set(told) == {plan.bo.person.email, coordinator.person.email}
    assert "in place of Ann, April: 1 April 2025" in told[plan.bo.person.email]
    assert "Bo surveys R1 Heron Slough in place of Ann" in told[coordinator.person.email]
    # Nobody else can undo it, but either side.
    with pytest.raises(Http404):
        drop_own_substitute(make_member(plan.program), substitute.pk)
    mail.outbox.clear()
    drop_own_substitute(plan.bo, substitute.pk, site_url=SITE)
    assert cover(plan) == ["Ann"]
    told = {text.split(":")[0]: text for text in send_mail_of("planning.mail_no_substitute")}
    assert set(told) == {plan.ann.person.email, coordinator.person.email}
    assert "If you cannot go, say so" in told[plan.ann.person.email]
    drop_own_substitute(plan.ann, own_substitute(plan).pk)
    assert cover(plan) == ["Ann"]


def test_a_window_that_is_over_needs_no_substitute(plan, monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW + dt.timedelta(days=11))
    with pytest.raises(ValidationError, match="“April” is over"):
        own_substitute(plan)
    assert own_substitute(plan, window="June")


def test_substitutes_are_not_named_without_end(plan):
    others = [plan.bo, make_member(plan.program)]
    for number in range(MOST_NAMED):
        own_substitute(plan, who=others[number % 2])
    with pytest.raises(ValidationError, match="named many substitutes today"):
        own_substitute(plan, who=others[0])


def test_mail_of_the_plan_is_stopped_by_its_link(plan, coordinator):
    own_substitute(plan)
    send_mail_of("planning.mail_substitute")
    to_bo = next(letter for letter in mail.outbox if letter.to == [plan.bo.person.email])
    link = to_bo.extra_headers["List-Unsubscribe"].strip("<>")
    assert link in to_bo.body
    stop(find_stop_link(link.rsplit("/", 1)[1]))
    mail.outbox.clear()
    send_mail_of("planning.mail_substitute")
    assert [letter.to for letter in mail.outbox] == [[coordinator.person.email]]


# --- Availability -----------------------------------------------------------------


def test_what_is_wrong_with_nights_is_said(plan):
    def add(first, last, note=""):
        return availability.add_absence(plan.ann, first=first, last=last, note=note)

    add(TODAY, MAY, " Away for work. ")
    assert Absence.objects.get().note == "Away for work."
    for first, last, said in (
        (MAY, TODAY, "before the first"),
        (dt.date(2025, 4, 1), dt.date(2025, 4, 2), "are over"),
        (MAY, dt.date(2026, 6, 1), "at most a year"),
        (MAY, dt.date(2025, 5, 9), "from 20 April 2025 to 2 May 2025"),
    ):
        with pytest.raises(ValidationError, match=said):
            add(first, last)
    with pytest.raises(IntegrityError), transaction.atomic():
        Absence.objects.create(member=plan.ann, first=MAY, last=MAY)
    with pytest.raises(Http404):
        availability.remove_absence(plan.bo, Absence.objects.get().pk)
    assert own_data(plan.ann.person)["memberships"][0]["cannot_go"][0]["note"] == "Away for work."


def test_an_erased_person_leaves_no_plans(plan, coordinator):
    availability.add_absence(plan.ann, first=TODAY, last=MAY, note="Hospital.")
    availability.offer_help(plan.ann, season_year=2025, note="By car.")
    asked = requests.ask_for_route(plan.ann, route_id=plan.far.pk, note="My address is …")
    erase(coordinator, plan.ann.pk)
    asked.refresh_from_db()
    assert (Absence.objects.count(), HelpOffer.objects.count(), asked.note) == (0, 0, "")


def test_who_fits_best_comes_first(plan, coordinator):
    """The distance against GeographicLib (Karney 2013, doi:10.1007/s00190-012-0578-z)."""
    line = Geodesic.WGS84.Inverse(43.0731, -89.4012 + 0.0125, 43.0731, -89.28)["s12"]
    assert meters_to_route(plan.program, plan.far.pk)[plan.ann.person_id] == pytest.approx(
        line, abs=0.01
    )

    def order():
        windows = due_windows(plan.far, 2025)[:1]
        season = SeasonPlan(plan.program, 2025, TODAY)
        found = candidates(plan.program, plan.far, windows, season, TODAY)
        return [one.member for one in found if one.member != coordinator]

    assert order() == [plan.ann, plan.bo]
    Membership.objects.filter(pk=plan.bo.pk).update(trained_on=TODAY)
    assert order() == [plan.bo, plan.ann]
    availability.offer_help(plan.ann, season_year=2025)
    assert order() == [plan.ann, plan.bo]
    availability.add_absence(plan.ann, first=TODAY, last=MAY)
    assert order() == [plan.bo, plan.ann]
    Membership.objects.filter(pk=plan.ann.pk).update(active=False)
    assert order() == [plan.bo]


# --- Free routes ------------------------------------------------------------------


def test_a_visit_or_somebody_to_go_ends_the_freedom(plan, coordinator):
    make_accepted_visit(plan.far, plan.bo.person, night=dt.date(2025, 4, 10), window="April")
    assert free(plan) == {"R2": (["June"], True)}
    assign(coordinator, route_id=plan.far.pk, observer_id=plan.bo.person_id, season_year=2025)
    assert free(plan) == {}
    Membership.objects.filter(pk=plan.bo.pk).update(active=False)
    assert free(plan) == {"R2": (["June"], True)}


def test_taking_a_route_where_the_program_allows_it(plan, coordinator):
    with pytest.raises(ValidationError, match="you ask for a route"):
        requests.take_route(plan.bo, route_id=plan.far.pk)
    requests.let_take_routes(coordinator, True)
    plan.bo.program.refresh_from_db()
    taken = requests.take_route(plan.bo, route_id=plan.far.pk, window="April")
    assert taken.windows == ["April"]
    plan.ann.program.refresh_from_db()
    for window in ("April", ""):
        with pytest.raises(ValidationError, match="no longer free then"):
            requests.take_route(plan.ann, route_id=plan.far.pk, window=window)
    requests.take_route(plan.ann, route_id=plan.far.pk, window="June")
    assert (cover(plan, "April", plan.far), cover(plan, "June", plan.far)) == (["Bo"], ["Ann"])


def test_asking_for_a_route_and_the_answers(plan, coordinator):
    def ask(who=plan.bo, **facts):
        return requests.ask_for_route(
            who, route_id=plan.far.pk, site_url="https://frogs.example.org", **facts
        )

    asked = ask(note="I live next door.")
    assert ask() == asked
    with pytest.raises(IntegrityError), transaction.atomic():
        RouteRequest.objects.create(
            program=plan.program, route=plan.far, member=plan.bo, season_year=2025
        )
    other = ask(plan.ann, window="June")
    (told,) = [text for text in send_mail_of("planning.mail_asked") if "Bo asks" in text]
    assert told.startswith(coordinator.person.email)
    assert "I live next door." in told
    with pytest.raises(ValidationError, match="Write a few words"):
        requests.decline_request(coordinator, asked.pk, answer=" ")
    requests.accept_request(coordinator, asked.pk, answer="Gladly.", site_url="https://x.example")
    assert cover(plan, "June", plan.far) == ["Bo"]
    with pytest.raises(ValidationError, match="answered already: accepted"):
        requests.decline_request(coordinator, asked.pk, answer="No.")
    with pytest.raises(ValidationError, match="no longer free then"):
        requests.accept_request(coordinator, other.pk)
    requests.decline_request(coordinator, other.pk, answer="Bo was first.")
    mail.outbox.clear()
    texts = send_mail_of("planning.mail_answer")
    assert any("gave you R2 Alder Fen for the 2025 season" in text for text in texts)
    assert any("cannot give you" in text and "Bo was first." in text for text in texts)


def test_withdrawing_is_for_whoever_asked(plan):
    asked = requests.ask_for_route(plan.bo, route_id=plan.far.pk)
    with pytest.raises(Http404):
        requests.withdraw_request(plan.ann, asked.pk)
    assert requests.withdraw_request(plan.bo, asked.pk).state == RequestState.WITHDRAWN
    with pytest.raises(ValidationError, match="answered already"):
        requests.withdraw_request(plan.bo, asked.pk)


def test_coordinators_are_not_mailed_without_end(plan, coordinator):
    """To ask and to withdraw, over and over."""
    for _ in range(requests.MOST_ASKED):
        asked = requests.ask_for_route(plan.bo, route_id=plan.far.pk, site_url=SITE)
        requests.withdraw_request(plan.bo, asked.pk)
    with pytest.raises(ValidationError, match="Ask again tomorrow"):
        requests.ask_for_route(plan.bo, route_id=plan.far.pk)
    assert requests.ask_for_route(plan.ann, route_id=plan.far.pk, site_url=SITE)
    RouteRequest.objects.filter(member=plan.bo).update(
        asked_at=timezone.now() - dt.timedelta(days=1, seconds=1)
    )
    assert requests.ask_for_route(plan.bo, route_id=plan.far.pk, site_url=SITE)


def test_who_coordinates_no_more_is_not_told_of_requests(plan, coordinator):
    other = make_member(plan.program, Role.COORDINATOR)
    requests.ask_for_route(plan.bo, route_id=plan.far.pk, site_url=SITE)
    other.role = Role.OBSERVER
    other.save()
    texts = send_mail_of("planning.mail_asked")
    assert [text.split(":")[0] for text in texts] == [coordinator.person.email]


def test_answers_keep_quiet_hours(plan, coordinator, monkeypatch):
    night = dt.datetime(2025, 4, 21, 3, tzinfo=dt.UTC)  # 22:00 in Chicago
    monkeypatch.setattr(timezone, "now", lambda: night)
    requests.ask_for_route(plan.bo, route_id=plan.far.pk)
    (job,) = ProcrastinateJob.objects.filter(task_name="planning.mail_asked")
    assert job.scheduled_at == dt.datetime(2025, 4, 21, 14, tzinfo=dt.UTC)


# --- Who may, and whose -----------------------------------------------------------


def test_every_verb_asks_for_its_right_and_stays_in_the_program(plan, coordinator, partner):
    asked = requests.ask_for_route(plan.bo, route_id=plan.far.pk)
    substitute = name_substitute(
        coordinator, assignment_id=plan.of_ann.pk, window="June", observer_id=plan.bo.person_id
    )
    managing = (
        lambda m: name_substitute(
            m, assignment_id=plan.of_ann.pk, window="April", observer_id=plan.bo.person_id
        ),
        lambda m: drop_substitute(m, substitute.pk),
        lambda m: requests.accept_request(m, asked.pk),
        lambda m: requests.decline_request(m, asked.pk, answer="No."),
    )
    stranger = make_member(make_program(), Role.COORDINATOR)
    for verb in managing:
        with pytest.raises(PermissionDenied):
            verb(plan.ann)
        with pytest.raises(Http404):
            verb(stranger)
    with pytest.raises(PermissionDenied):
        requests.let_take_routes(plan.ann, True)
    surveying = (
        lambda m: availability.add_absence(m, first=TODAY, last=MAY),
        lambda m: availability.remove_absence(m, 0),
        lambda m: availability.offer_help(m, season_year=2025),
        lambda m: availability.withdraw_offer(m, 2025),
        lambda m: requests.take_route(m, route_id=plan.far.pk),
        lambda m: requests.ask_for_route(m, route_id=plan.far.pk),
        lambda m: requests.withdraw_request(m, asked.pk),
    )
    for verb in surveying:
        with pytest.raises(PermissionDenied):
            verb(partner)
    with pytest.raises(Http404):
        requests.ask_for_route(plan.bo, route_id=make_route(make_program()).pk)
    # A neighbor's absences and offers are none of this program's.
    availability.add_absence(stranger, first=TODAY, last=MAY)
    assert SeasonPlan(plan.program, 2025, TODAY).away == {}
