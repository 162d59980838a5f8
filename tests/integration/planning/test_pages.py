"""The pages of the plan: what they show, what a refusal says, and that nothing typed is lost."""

import datetime as dt

import pytest
from django.core import mail
from django.urls import reverse
from lxml import html

from accounts.models import Membership
from surveys.models import Absence, Assignment, HelpOffer, RouteRequest, Substitute
from surveys.planning import availability, requests
from tests.support.season_plan import TODAY

pytestmark = pytest.mark.django_db


def url(plan, name, *args, **query):
    return reverse(f"web:{name}", args=[plan.program.slug, *args], query=query or None)


def text_of(response) -> str:
    assert response.status_code == 200
    return " ".join(html.fromstring(response.content).xpath("//main")[0].text_content().split())


def test_an_observer_plans_the_season(plan, client_for):
    """Absence, offer and request by the forms; a coordinator's page shows them."""
    client = client_for(plan.bo)
    refused = client.post(
        url(plan, "absence_add"), {"first": "2025-05-02", "last": "2025-04-25", "note": "By train"}
    )
    page = text_of(refused)
    assert "The last night is before the first." in page
    assert b'value="By train"' in refused.content
    saved = client.post(
        url(plan, "absence_add"), {"first": "2025-05-02", "last": "2025-05-04"}, follow=True
    )
    assert "2 May 2025 – 4 May 2025" in text_of(saved)
    client.post(url(plan, "help_offer"), {"region": "", "note": "Fridays"})
    assert HelpOffer.objects.get().note == "Fridays"
    page = text_of(client.get(url(plan, "my_season")))
    assert "You have offered to fill in where someone is missing." in page
    page = text_of(client.get(url(plan, "free_routes")))
    assert "R2 Alder Fen" in page
    assert "R1 Heron Slough" not in page
    (sign,) = client.get(url(plan, "free_routes")).context["map"]["features"]
    assert sign["properties"]["title"] == "R2 Alder Fen"
    asked = client.post(
        url(plan, "free_route", plan.far.pk),
        {"window": "June", "note": "I live there."},
        follow=True,
    )
    assert "R2 Alder Fen, June, 2025: Asked" in text_of(asked)
    client.post(url(plan, "route_request_withdraw", RouteRequest.objects.get().pk))
    client.post(url(plan, "absence_delete", Absence.objects.get().pk))
    client.post(url(plan, "help_offer"), {"withdraw": "yes"})
    assert (Absence.objects.count(), HelpOffer.objects.count()) == (0, 0)


def test_taking_and_coming_too_late(plan, coordinator, client_for):
    client_for(coordinator).post(url(plan, "program_taking"), {"take": "yes"})
    late = client_for(plan.ann)
    page = client_for(plan.bo).post(
        url(plan, "free_route", plan.far.pk), {"window": "*"}, follow=True
    )
    assert "R2 Alder Fen is yours." in page.content.decode()
    page = late.post(url(plan, "free_route", plan.far.pk), {"window": "*"}, follow=True)
    assert "R2 Alder Fen is no longer free." in page.content.decode()
    assert Assignment.objects.get(route=plan.far).observer == plan.bo.person


def test_the_plan_names_gaps_tests_and_who_left(plan, coordinator, client_for):
    Membership.objects.filter(pk=plan.ann.pk).update(trained_on=TODAY, active=False)
    Membership.objects.filter(pk=plan.bo.pk).update(trained_on=TODAY)
    Assignment.objects.create(
        route=plan.far, observer=plan.bo.person, season_year=2025, windows=["June"]
    )
    client = client_for(coordinator)
    page = text_of(client.get(url(plan, "program_assignments")))
    assert "3 upcoming windows have no one assigned." in page
    assert "Ann left" in page
    assert "Bo test valid" in page
    assert "Bo (test valid)" in page
    gaps = client.get(url(plan, "program_assignments", show="gaps"))
    assert gaps.content.decode().count("plan__gap") == 3
    desk = text_of(client.get(url(plan, "desk")))
    assert "No observer" in desk
    for route in (plan.near, plan.far):
        for one in (plan.bo, plan.ann):
            Assignment.objects.filter(route=route, observer=one.person).delete()
        Assignment.objects.create(route=route, observer=plan.bo.person, season_year=2025)
    covered = text_of(client.get(url(plan, "program_assignments", show="gaps")))
    assert "No gaps: someone is assigned in every window that is still ahead." in covered
    assert "All routes" in covered
    assert "There are no routes yet" not in covered


def test_coordinators_see_on_which_nights_observers_cannot_go(plan, coordinator, client_for):
    """Also where enough nights of the window are left."""
    first, last = dt.date(2025, 6, 1), dt.date(2025, 6, 12)
    availability.add_absence(plan.ann, first=first, last=last, note="Harvest")
    availability.add_absence(plan.ann, first=TODAY, last=dt.date(2025, 4, 24))
    client = client_for(coordinator)
    page = text_of(client.get(url(plan, "program_assignments")))
    assert "Ann from 1 June 2025 to 12 June 2025 Harvest" in page
    # Each in the cell of its window.
    assert page.count("cannot go 1 June to 12 June") == 1
    assert page.count("cannot go 20 April to 24 April") == 1
    address = url(plan, "program_route_plan", plan.far.pk, season=2025, window="June")
    assert text_of(client.get(address)).count("cannot go 1 June to 12 June") == 1
    address = url(plan, "program_route_plan", plan.far.pk, season=2025, window="April")
    assert text_of(client.get(address)).count("cannot go") == 1
    Membership.objects.filter(pk=plan.ann.pk).update(active=False)
    assert "Harvest" not in text_of(client.get(url(plan, "program_assignments")))


def choices_for(client, address, member):
    """The forms by which a candidate may be chosen."""
    page = html.fromstring(client.get(address).content)
    return page.xpath(f"//form[.//input[@name='observer'][@value='{member.person_id}']]")


def test_a_window_is_given_and_a_substitute_named(plan, coordinator, client_for):
    client = client_for(coordinator)
    address = url(plan, "program_route_plan", plan.far.pk, season=2025, window="June")
    shown = client.get(address)
    assert "no test on record" in text_of(shown)
    (form,) = [
        one
        for one in html.fromstring(shown.content).xpath("//form")
        if one.xpath(f".//input[@name='observer'][@value='{plan.bo.person_id}']")
    ]
    facts = dict(form.form_values())
    given = client.post(address, facts, follow=True)
    assert "Bo surveys R2 in 2025: June." in given.content.decode()
    # Who has the route then is not offered it again; for the rest of the season they are.
    assert not choices_for(client, address, plan.bo)
    assert choices_for(client, address, plan.ann)
    season = url(plan, "program_route_plan", plan.far.pk, season=2025)
    assert choices_for(client, season, plan.bo)
    # The page that was open before no longer shows what is.
    again = client.post(address, facts | {"observer": plan.ann.person_id})
    assert "Observers of R2, 2025" in text_of(again)
    assert not Assignment.objects.filter(route=plan.far, observer=plan.ann.person).exists()
    address = (
        url(plan, "program_route_plan", plan.near.pk, season=2025, window="June")
        + f"&for={plan.of_ann.pk}"
    )
    shown = html.fromstring(client.get(address).content)
    assert "Choose who will fill in for Ann in June." in shown.text_content()
    (form,) = [
        one
        for one in shown.xpath("//form")
        if one.xpath(f".//input[@name='observer'][@value='{plan.bo.person_id}']")
    ]
    named = client.post(address, dict(form.form_values()), follow=True)
    assert "Bo fills in for Ann in June. Both get an email." in named.content.decode()
    dropped = client.post(
        url(plan, "program_substitute_drop", Substitute.objects.get().pk), follow=True
    )
    assert "Ann is going again in June." in dropped.content.decode()
    client.post(url(plan, "program_unassign", plan.of_ann.pk), {"window": "June"})
    assert Assignment.objects.get(pk=plan.of_ann.pk).windows == ["April"]


def test_an_observer_names_a_substitute(plan, client_for):
    ann, bo = client_for(plan.ann), client_for(plan.bo)
    (link, _) = html.fromstring(ann.get(url(plan, "my_season")).content).xpath(
        "//a[contains(., 'Name a substitute')]/@href"
    )
    assert "R1 Heron Slough, April: 1 April 2025 – 30 April 2025" in text_of(ann.get(link))
    assert "Choose who will fill in for you." in text_of(ann.post(link, {"observer": ""}))
    assert "Ann" not in html.fromstring(ann.get(link).content).xpath("//select//option/text()")
    named = ann.post(link, {"observer": plan.bo.person_id}, follow=True)
    assert "Bo fills in for you in April." in named.content.decode()
    assert "I can go after all" in text_of(named)
    page = text_of(bo.get(url(plan, "my_season")))
    assert "You fill in for Ann." in page
    assert "I cannot go" in page
    assert "Name a substitute" not in page
    dropped = bo.post(url(plan, "own_substitute_drop", Substitute.objects.get().pk), follow=True)
    assert "You are no longer going to R1 in April." in dropped.content.decode()
    ann.post(link, {"observer": plan.bo.person_id})
    back = ann.post(url(plan, "own_substitute_drop", Substitute.objects.get().pk), follow=True)
    assert "You are going to R1 in April after all." in back.content.decode()
    over = ann.get(url(plan, "own_substitute", plan.of_ann.pk), {"window": "May"}, follow=True)
    assert "Choose one of your windows." in over.content.decode()


def test_answering_a_request(plan, coordinator, client_for):
    asked = requests.ask_for_route(plan.bo, route_id=plan.far.pk, note="I live there.")
    client = client_for(coordinator)
    desk = text_of(client.get(url(plan, "desk")))
    assert "R2 Alder Fen whole season 20 Apr 2025 Bo" in desk
    page = text_of(client.get(url(plan, "program_assignments")))
    assert "I live there." in page
    refused = client.post(url(plan, "program_request_answer", asked.pk), {"decline": "yes"})
    assert "Write a few words to the observer" in text_of(refused)
    client.post(url(plan, "program_request_answer", asked.pk), {"answer": "Gladly."})
    assert Assignment.objects.get(route=plan.far).observer == plan.bo.person
    page = text_of(client_for(plan.bo).get(url(plan, "my_season")))
    assert "R2 Alder Fen, whole season, 2025: Accepted" in page
    assert "Gladly." in page
    assert mail.outbox == []  # The worker sends it.


def test_without_routes_no_page_says_that_all_have_someone(coordinator, client_for):
    page = text_of(client_for(coordinator).get(f"/{coordinator.program.slug}/free-routes/"))
    assert "There are no routes yet" in page
    assert "Every route has someone" not in page
