"""People without an account: credited, renamed, merged, joined, erased."""

import datetime as dt
import json
import re

import pytest
from allauth.account.models import EmailAddress
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.urls import reverse
from django.utils import timezone

from accounts import erasing, invitations, people
from accounts.models import Invitation, Membership, Person, Role
from accounts.past_observers import (
    add_past_observers,
    hand_over,
    merge,
    past_observers_of,
    rename,
)
from surveys.models import ReviewStep, Step, Visit
from surveys.visits import verbs
from surveys.visits.exceptions import NoAccount
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_person,
    make_program,
    make_route,
)

pytestmark = pytest.mark.django_db
SITE = "https://example.org/"
NIGHT = dt.date(2012, 4, 15)


@pytest.fixture
def past(program, coordinator):
    """Wren surveyed two nights, Linden one; neither has an account."""
    found = add_past_observers(coordinator, ["Wren Oakley", "Linden Harrow"])
    route = make_route(program)
    for number, name in enumerate(["Wren Oakley", "Wren Oakley", "Linden Harrow"]):
        make_accepted_visit(
            route, found[name], night=NIGHT + dt.timedelta(days=number), source="import"
        )
    return {name: person.memberships.get() for name, person in found.items()}


def credited():
    return sorted(Visit.objects.values_list("observer__name", flat=True))


def test_they_can_do_nothing_and_are_listed_apart(client, program, coordinator, past):
    wren = past["Wren Oakley"].person
    assert (wren.has_account, wren.is_active, wren.has_usable_password()) == (False, False, False)
    client.force_login(wren)
    assert client.get(reverse("web:people", args=[program.slug])).status_code == 302
    listed = [(m.person.name, m.visit_count) for m in past_observers_of(coordinator)]
    assert listed == [("Linden Harrow", 1), ("Wren Oakley", 2)]
    assert wren not in [m.person for m in people.people_of(coordinator)]
    with pytest.raises(ValidationError, match="no account"):
        people.reactivate(coordinator, past["Wren Oakley"].pk)
    with pytest.raises(Http404):
        people.change_person(
            coordinator,
            past["Wren Oakley"].pk,
            role=Role.COORDINATOR,
            trained_on=None,
            trained_until=None,
            exact_places=True,
        )


def test_a_visit_is_not_sent_back_to_nobody(coordinator, past):
    visit = Visit.objects.filter(observer=past["Wren Oakley"].person).first()
    visit = verbs.reopen(coordinator, visit.pk, note="Again.", revision=visit.revision)
    with pytest.raises(NoAccount):
        verbs.send_back(coordinator, visit.pk, note="Please check.", revision=visit.revision)


def test_two_spellings_of_one_person(coordinator, past):
    rename(coordinator, past["Linden Harrow"].pk, "  W.  Oakley ")
    assert credited() == ["W. Oakley", "Wren Oakley", "Wren Oakley"]
    linden, wren = (past[name].person for name in ("Linden Harrow", "Wren Oakley"))
    shared = make_accepted_visit(
        Visit.objects.first().route, coordinator.person, night=NIGHT + dt.timedelta(days=9)
    )
    Visit.objects.filter(pk=shared.pk).update(second_member=linden)
    own = Visit.objects.filter(observer=wren).first()
    Visit.objects.filter(pk=own.pk).update(second_member=linden)
    assert merge(coordinator, past["Linden Harrow"].pk, into=past["Wren Oakley"].pk) == 1
    shared.refresh_from_db()
    own.refresh_from_db()
    assert (shared.second_member, own.second_member) == (wren, None)
    shared.delete()
    assert credited() == ["Wren Oakley"] * 3
    assert not Person.objects.filter(name="W. Oakley").exists()
    moved = Visit.objects.get(night=NIGHT + dt.timedelta(days=2))
    assert moved.steps.latest("pk").note == "Observer: Wren Oakley, before W. Oakley."
    for name in ("", " ", "x" * 121):
        with pytest.raises(ValidationError):
            rename(coordinator, past["Wren Oakley"].pk, name)
    with pytest.raises(ValidationError):
        merge(coordinator, past["Wren Oakley"].pk, into=past["Wren Oakley"].pk)


def test_visits_of_files_are_handed_over_and_no_others(program, coordinator, observer, past):
    route = program.routes.first()
    for number, source in enumerate(("import", "phone")):
        make_accepted_visit(
            route,
            coordinator.person,
            night=dt.date(2013, 4, 15) + dt.timedelta(days=number),
            source=source,
        )
    mine = Membership.objects.get(pk=coordinator.pk)
    assert hand_over(coordinator, mine.pk, into=past["Linden Harrow"].pk) == 1
    left = Visit.objects.get(observer=coordinator.person)
    assert left.source == "phone"
    # A member with an account is not merged away.
    with pytest.raises(ValidationError, match="has an account"):
        merge(coordinator, observer.pk, into=coordinator.pk)


def test_who_joins_gets_their_visits(coordinator, past, program):
    wren = past["Wren Oakley"].person
    issued = invitations.invite_past_observer(
        coordinator, past["Wren Oakley"].pk, email="Wren@example.org", site_url=SITE
    )
    token = issued.link.rsplit("/", 1)[-1]
    joined = invitations.accept_as_new_person(
        token, name="Wren Oakley-Moss", password="quiet-water-at-dusk"
    )
    assert joined.person == wren
    assert (joined.active, joined.role) == (True, Role.OBSERVER)
    assert Membership.objects.filter(person=wren).count() == 1
    wren.refresh_from_db()
    assert (wren.email, wren.is_active) == ("wren@example.org", True)
    assert EmailAddress.objects.get(user=wren).verified
    assert wren.check_password("quiet-water-at-dusk")
    assert credited() == ["Linden Harrow", "Wren Oakley-Moss", "Wren Oakley-Moss"]
    assert [m.person.name for m in past_observers_of(coordinator)] == ["Linden Harrow"]


def test_who_has_an_account_already_gets_them_too(coordinator, past, program):
    known = make_member(make_program()).person
    issued = invitations.invite_past_observer(
        coordinator, past["Wren Oakley"].pk, email=known.email, site_url=SITE
    )
    invitations.accept_as(known, issued.link.rsplit("/", 1)[-1])
    assert credited() == sorted(["Linden Harrow", known.name, known.name])
    assert not Person.objects.filter(name="Wren Oakley").exists()
    assert Invitation.objects.get().person is None


def test_an_invitation_to_somebody_merged_meanwhile_still_opens(coordinator, past):
    issued = invitations.invite_past_observer(
        coordinator, past["Linden Harrow"].pk, email="linden@example.org", site_url=SITE
    )
    merge(coordinator, past["Linden Harrow"].pk, into=past["Wren Oakley"].pk)
    joined = invitations.accept_as_new_person(
        issued.link.rsplit("/", 1)[-1], name="Linden", password="quiet-water-at-dusk"
    )
    assert not joined.person.visits.exists()


def test_an_erased_person_is_a_number(program, coordinator, past, client):
    member = make_member(program)
    person, email = member.person, member.person.email
    invitations.issue(
        make_program(), email=email, name="", role="observer", site_url=SITE, invited_by=None
    )
    make_accepted_visit(program.routes.first(), person, night=dt.date(2020, 4, 15))
    name = erasing.erase(coordinator, member.pk)
    person.refresh_from_db()
    assert person.name == name == f"Observer {person.pk}"
    assert (person.email, person.is_active, person.has_usable_password()) == (None, False, False)
    assert not EmailAddress.objects.filter(user=person).exists()
    assert not Invitation.objects.filter(email=email).exists()
    assert Visit.objects.filter(observer=person).count() == 1
    assert not client.login(email=email, password="quiet-water-at-dusk")


def test_who_was_erased_gets_no_name_again(program, coordinator, past, client_for):
    member = make_member(program)
    visit = make_accepted_visit(program.routes.first(), member.person, night=dt.date(2020, 4, 15))
    name = erasing.erase(coordinator, member.pk)
    client = client_for(coordinator)
    here = [program.slug, member.pk]
    page = client.get(reverse("web:people_person", args=here)).content.decode()
    assert "Erased on request." in page
    assert "Rename" not in page
    for view, typed in (
        ("rename", {"name": "Somebody"}),
        ("merge", {"into": past["Linden Harrow"].pk, "sure_merge": "on"}),
        ("hand_over", {"into": past["Linden Harrow"].pk}),
        ("claim", {"email": "somebody@example.org"}),
    ):
        answer = client.post(reverse(f"web:people_{view}", args=here), typed)
        assert answer.status_code == 422, view
        assert answer.context["refused"].message.startswith("This person was erased"), view
    visit.refresh_from_db()
    assert visit.observer.name == name


def test_the_history_of_visits_forgets_an_erased_person_and_who_was_merged_into_them(
    program, coordinator, past
):
    """Free text of a coordinator stays, as what others wrote does, and so do living people."""
    wren, linden = past["Wren Oakley"], past["Linden Harrow"]
    alder = make_member(program)
    make_member(program, person=make_person("Wren Oakley"))  # Somebody else of that name.
    add_past_observers(coordinator, ["L. Harrow"])
    between = program.memberships.get(person__name="L. Harrow")
    handed = wren.person.visits.first()
    wrote = "Observer: Wren Oakley said so."
    ReviewStep.objects.create(
        visit=handed,
        step=Step.CORRECTED,
        by=alder.person,
        at=timezone.now(),
        revision=1,
        note=wrote,
    )
    hand_over(coordinator, wren.pk, into=alder.pk)
    of_linden = linden.person.visits.get()
    merge(coordinator, linden.pk, into=between.pk)
    merge(coordinator, between.pk, into=wren.pk)
    number = erasing.erase(coordinator, wren.pk)

    def notes(visit):
        return [step.note for step in visit.steps.filter(step=Step.CORRECTED)]

    assert notes(of_linden) == [f"Observer: {number}, before {number}."] * 2
    assert notes(handed) == [wrote, f"Observer: {alder.person.name}, before {number}."]


def test_who_cannot_be_erased(program, coordinator):
    shared = make_member(program)
    make_member(make_program(), person=shared.person)
    with pytest.raises(ValidationError, match="another program"):
        erasing.erase(coordinator, shared.pk)
    with pytest.raises(ValidationError, match="yourself"):
        erasing.erase(coordinator, coordinator.pk)
    with pytest.raises(ValidationError, match="Coordinators"):
        erasing.erase(coordinator, make_member(program, Role.COORDINATOR).pk)


def test_only_coordinators_and_only_their_program(coordinator, observer, past):
    stranger = make_member(make_program(), Role.COORDINATOR)
    wren = past["Wren Oakley"].pk
    acts = (
        lambda member: rename(member, wren, "X"),
        lambda member: merge(member, wren, into=past["Linden Harrow"].pk),
        lambda member: hand_over(member, wren, into=past["Linden Harrow"].pk),
        lambda member: erasing.erase(member, wren),
        lambda member: invitations.invite_past_observer(
            member, wren, email="x@example.org", site_url=SITE
        ),
    )
    for act in acts:
        with pytest.raises(PermissionDenied):
            act(observer)
        with pytest.raises(Http404):
            act(stranger)
    with pytest.raises(PermissionDenied):
        add_past_observers(observer, ["X"])
    with pytest.raises(ValidationError):
        merge(coordinator, wren, into=stranger.pk)
    assert credited() == ["Linden Harrow", "Wren Oakley", "Wren Oakley"]


def test_on_the_screens(program, coordinator, past, client_for):
    client = client_for(coordinator)
    page = client.get(reverse("web:people", args=[program.slug])).content.decode()
    assert "Observers without an account" in page
    here = [program.slug, past["Wren Oakley"].pk]
    assert (
        "No account. 2 visits"
        in client.get(reverse("web:people_person", args=here)).content.decode()
    )

    def post(view, **data):
        url = reverse(f"web:{view}", args=here)
        return client.post(url, data, follow=True).content.decode()

    assert "Wren O. is saved." in post("people_rename", name="Wren O.")
    assert "on its way to wren@example.org" in post("people_claim", email="wren@example.org")
    # What is refused is said at its field, and what was typed is still there.
    for view, typed, field, sentence in (
        ("people_merge", {"into": "x"}, "into", "Choose another person"),
        ("people_erase", {}, "sure", "Check the box first"),
        ("people_rename", {"name": "n" * 121}, "name", "at most 120 characters"),
        ("people_claim", {"email": "wren@"}, "email", "valid email"),
    ):
        answer = client.post(reverse(f"web:{view}", args=here), typed)
        assert answer.status_code == 422
        assert (answer.context["refused"].field, answer.context["refused"].typed) == (
            field,
            typed.get(field, ""),
        )
        shown = answer.content.decode()
        assert f'id="{field}_error"' in shown
        assert sentence in shown
        assert f'aria-describedby="{field}_error"' in shown
    linden = past["Linden Harrow"].pk
    # Merging asks first, and what was chosen is still there.
    unsure = post("people_merge", into=linden)
    assert "Check the box first. Merging cannot be undone." in unsure
    assert re.search(rf'value="{linden}"\s+selected', unsure)
    assert "2 visits changed hands." in post("people_hand_over", into=linden)
    assert "The person is erased" in post("people_erase", sure="on")


def test_own_data_are_ones_own(client, client_for, program, coordinator, observer, past):
    route = program.routes.first()
    make_accepted_visit(route, observer.person, night=dt.date(2020, 4, 15))
    answer = client_for(observer).get(reverse("web:own_data"))
    assert "attachment" in answer["Content-Disposition"]
    data = json.loads(answer.content)
    assert data["email"] == observer.person.email
    assert [visit["night"] for visit in data["visits"]] == ["2020-04-15"]
    assert [m["program"] for m in data["memberships"]] == [program.name]
    assert client.get(reverse("web:own_data")).status_code == 302
