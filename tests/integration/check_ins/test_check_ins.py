"""Return times: set by the phone, answered with one tap, mailed once when late."""

import datetime as dt
import hashlib
import uuid

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from accounts.erasing import erase
from surveys.check_ins import contacts, verbs
from surveys.check_ins.links import find_by_link, link_of
from surveys.check_ins.mailing import GRACE, mail_overdue
from surveys.check_ins.tasks import forget, queue_overdue
from surveys.exports.own_data import own_data
from surveys.guide.pages import guide_pages
from surveys.models import CheckIn, CheckInContact
from tests.support.builders import make_check_in, make_member, make_program, make_route
from tests.support.mail import delivered

pytestmark = pytest.mark.django_db
SITE = "https://frogs.example.org/"
MINUTE = dt.timedelta(minutes=1)


@pytest.fixture
def route(program):
    return make_route(program)


@pytest.fixture
def late(observer, route):
    """Back a quarter of an hour ago, and nobody has said so."""
    ago = timezone.now() - GRACE - MINUTE
    return make_check_in(
        observer, route, back_by=ago, begun_at=ago - 60 * MINUTE, heard_at=ago, car="green van"
    )


def ask(member, email="kit@example.org", name="Kit Reed"):
    return contacts.add_address(member, name=name, email=email, site_url=SITE)


def test_nobody_but_a_person_who_said_yes_is_mailed_more_than_the_question(observer, route):
    contact = ask(observer)
    (question,) = delivered()
    assert question.to == ["kit@example.org"]
    assert "not a rescue service" in question.body
    link = next(word for word in question.body.split() if word.startswith(SITE))
    assert find_by_link(link.rsplit("/", 1)[1]) == contact
    set_at = {"route": route, "back_by": timezone.now() + 30 * MINUTE}
    with pytest.raises(ValidationError, match="said yes"):
        verbs.set_check_in(observer, uuid.uuid4(), contact_id=contact.pk, **set_at)
    path = link.removeprefix(SITE.rstrip("/"))
    client = Client()
    assert "Yes, email me" in client.get(path).content.decode()
    assert not contacts.usable_contacts(observer).exists()
    assert client.post(path, {"yes": "1"}, follow=True).status_code == 200
    assert contacts.usable_contacts(observer).get() == contact
    client.post(path, {"no": "1"})
    contact.refresh_from_db()
    assert (contact.email, contact.name, contact.confirmed_at is None) == ("", "", False)
    assert not contacts.usable_contacts(observer).exists()
    CheckInContact.objects.update(confirmed_at=None)
    client.post(path, {"yes": "1"})
    contact.refresh_from_db()
    assert contact.confirmed_at is None
    with pytest.raises(ValidationError, match="does not want"):
        ask(observer, "KIT@example.org ")
    # What is left of the address cannot be found by guessing it.
    assert contact.address_key != hashlib.sha256(b"kit@example.org").hexdigest()
    assert client.get(path + "x").status_code == 404
    assert delivered() == []


def test_the_site_cannot_be_made_to_mail_strangers_without_end(program, observer):
    for number in range(contacts.MOST_ASKED):
        contacts.remove(observer, ask(observer, f"kit{number}@example.org").pk)
    with pytest.raises(ValidationError, match="no more of these emails"):
        ask(observer, "other@example.org")
    assert len(delivered()) <= contacts.MOST_ASKED
    for _ in range(contacts.MOST_ASKED_AT_ADDRESS):
        ask(make_member(program), "wren@example.org")
    with pytest.raises(ValidationError, match="no more of these emails"):
        ask(make_member(program), "wren@example.org")
    for wrong in ("", "nobody", "a@b", observer.person.email):
        with pytest.raises(ValidationError):
            ask(make_member(program) if wrong != observer.person.email else observer, wrong)
    elsewhere = make_member(make_program())
    for person in (elsewhere.person_id, observer.person_id, 0):
        with pytest.raises(ValidationError, match="member of the program"):
            contacts.add_member(observer, person, site_url=SITE)
    with pytest.raises(PermissionDenied):
        ask(make_member(program, "partner"))


def test_who_did_not_answer_is_not_asked_again(program, observer):
    """Taken off the list and put on again, however much later; their first link works."""
    first = ask(observer)
    link = link_of(first)
    contacts.remove(observer, first.pk)
    CheckInContact.objects.update(asked_at=timezone.now() - dt.timedelta(days=40))
    CheckInContact.objects.update(removed_at=timezone.now() - dt.timedelta(days=40))
    assert len(delivered()) == 0
    forget(0)
    again = ask(observer, name="Kit")
    assert (again.pk, again.name, again.email) == (first.pk, "Kit", "kit@example.org")
    assert delivered() == []
    Client().post(link.removeprefix(SITE.rstrip("/")), {"yes": "1"})
    assert contacts.usable_contacts(observer).get() == first
    contacts.remove(observer, first.pk)
    CheckInContact.objects.update(asked_at=timezone.now())
    with pytest.raises(ValidationError, match="asked today"):
        ask(observer)
    CheckInContact.objects.update(removed_at=timezone.now() - dt.timedelta(days=2))
    CheckInContact.objects.update(asked_at=timezone.now() - dt.timedelta(days=2))
    forget(0)
    assert not CheckInContact.objects.exists()


def test_a_no_holds_in_every_program_of_the_observer(observer):
    contacts.decline(ask(observer))
    elsewhere = make_member(make_program(), person=observer.person)
    with pytest.raises(ValidationError, match="does not want"):
        ask(elsewhere)


def test_a_member_who_said_no_is_not_put_on_the_list_again(observer):
    chosen = make_member(observer.program)
    contacts.decline(contacts.add_member(observer, chosen.person_id, site_url=SITE))
    elsewhere = make_member(make_program(), person=observer.person)
    make_member(elsewhere.program, person=chosen.person)
    for member in (observer, elsewhere):
        with pytest.raises(ValidationError, match="does not want"):
            contacts.add_member(member, chosen.person_id, site_url=SITE)


def test_a_no_outlives_a_change_of_the_secret_key(observer, settings):
    contact = ask(observer)
    link = link_of(contact)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "the next one"
    with pytest.raises(ValidationError, match="on your list already"):
        ask(observer)
    assert Client().post(link.removeprefix(SITE.rstrip("/")), {"no": "1"}).status_code == 302
    with pytest.raises(ValidationError, match="does not want"):
        ask(observer)


@pytest.mark.parametrize("name", ["You won: https://x.example/", "www.x.example", "a@b.example",
                                  "x.example"])  # fmt: skip
def test_a_stranger_is_not_mailed_a_link_as_a_name(observer, name):
    with pytest.raises(ValidationError, match="name only"):
        ask(observer, name=name)
    observer.person.name = name
    with pytest.raises(ValidationError, match="Your own name"):
        ask(observer, name="Dr. J.R. Reed-St. John Jr.")
    observer.person.name = "Ann"
    assert ask(observer, name="Dr. J.R. Reed-St. John Jr.")


def test_a_late_one_is_mailed_once_and_again_when_back(observer, late, program):
    program.emergency_number, program.emergency_contact = "911", "Desk, 555-0100"
    program.save()
    now = timezone.now()
    assert queue_overdue(now) == 1
    assert queue_overdue(now + MINUTE) == 0
    (letter,) = delivered()
    assert letter.to == [late.contact.email]
    first = late.route.stops.order_by("number").first()
    said = [observer.person.name, str(late.route), "green van", f"{first.place.y:.5f}", "911",
            "cannot call for help", "not a rescue service", "Desk, 555-0100", SITE]  # fmt: skip
    assert [words for words in said if words not in letter.body] == []
    others = late.route.stops.exclude(pk=first.pk)
    assert others.exists()
    places = [f"{stop.place.y:.5f}, {stop.place.x:.5f}" for stop in (first, *others)]
    assert [place in letter.body for place in places] == [True, *(False for _ in others)]
    mail_overdue(check_in_id=str(late.pk))
    assert delivered() == []
    verbs.say_back(observer, late.pk)
    verbs.say_back(observer, late.pk)
    (letter,) = delivered()
    assert letter.subject == f"{observer.person.name} is back"
    assert f"{first.place.y:.5f}" not in letter.body


def test_who_is_back_before_the_mail_goes_out_is_not_told_of(observer, late):
    queue_overdue(timezone.now())
    verbs.say_back(observer, late.pk)
    assert delivered() == []


def test_a_phone_whose_clock_is_wrong_is_not_back_years_ago(observer, route):
    first_day = dt.datetime(1, 1, 1, tzinfo=dt.UTC)
    for back_by, kept_by in (
        (now := timezone.now(), now),
        (first_day, verbs.EARLIEST),
    ):
        kept = verbs.set_check_in(
            observer, uuid.uuid4(), route=route, back_by=back_by, contact_id=None, back_at=first_day
        )
        assert (kept.back_by, kept.back_at) == (kept_by, kept_by - verbs.LONGEST)


def test_an_evening_that_is_told_a_week_later_keeps_its_times(observer, route):
    back_by = timezone.now() - dt.timedelta(days=7)
    back_at = back_by - 30 * MINUTE
    kept = verbs.set_check_in(
        observer, uuid.uuid4(), route=route, back_by=back_by, contact_id=None, back_at=back_at
    )
    assert (kept.back_by, kept.back_at) == (back_by, back_at)


@pytest.mark.parametrize(
    ("back_ago", "begun_ago", "is_mailed"),
    [
        (GRACE - MINUTE, 60 * MINUTE, False),
        (GRACE + MINUTE, 60 * MINUTE, True),
        # Its start reached the site late: the phone has signal now, and says so on its screen.
        (GRACE + MINUTE, MINUTE, False),
        (GRACE + 30 * MINUTE, GRACE + MINUTE, True),
        (verbs.TOO_LATE + MINUTE, 9 * 60 * MINUTE, False),
        (-MINUTE, 60 * MINUTE, False),
    ],
)
def test_when_it_is_late(observer, route, back_ago, begun_ago, is_mailed):
    now = timezone.now()
    make_check_in(observer, route, back_by=now - back_ago, begun_at=now - begun_ago)
    assert queue_overdue(now) == is_mailed


def test_the_phone_may_send_the_same_again_and_change_the_time(observer, route):
    contact = contacts.add_member(observer, make_member(observer.program).person_id, site_url=SITE)
    client = Client()
    client.force_login(observer.person)
    key, by = uuid.uuid4(), timezone.now() + 60 * MINUTE
    url = reverse("api:check_in", kwargs={"program": observer.program.slug, "check_in_id": key})

    def put(**facts):
        body = {"route": route.code, "back_by": by.isoformat(), "contact": contact.pk, **facts}
        return client.put(url, body, content_type="application/json")

    assert [put().status_code for _ in range(2)] == [200, 200]
    later = by + 30 * MINUTE
    assert put(back_by=later.isoformat(), car="van").status_code == 200
    kept = CheckIn.objects.get()
    assert (kept.back_by, kept.car, kept.back_at) == (later, "van", None)
    assert put(back_by=(by + dt.timedelta(days=2)).isoformat()).status_code == 400
    assert put(route="R99").status_code == 400
    assert put(car="van", back_at=timezone.now().isoformat()).json()["back_at"]
    # What was held up on its way changes nothing.
    assert put(car="old").json()["back_at"]
    assert CheckIn.objects.get().car == "van"
    client.force_login(make_member(observer.program).person)
    assert put().status_code == 404


def test_a_return_time_that_another_person_set_is_not_taken(observer, route, client):
    """The phone was lent, or its observer signed out, while the request was on its way. Who says
    that they are back needs no contact."""
    client.force_login(observer.person)
    place = {"program": observer.program.slug, "check_in_id": uuid.uuid4()}
    now = timezone.now().isoformat()
    body = {"route": route.code, "back_by": now, "back_at": now}

    def put(person):
        sent = {**body, "observer": person}
        return client.put(reverse("api:check_in", kwargs=place), sent, "application/json")

    refused = put(make_member(observer.program).person_id)
    assert refused.status_code == 404
    assert "Someone else set this return time." in refused.json()["detail"]
    assert not CheckIn.objects.exists()
    assert put(observer.person_id).status_code == 200


def test_setting_out_again_says_that_one_is_back(observer, route, late):
    queue_overdue(timezone.now())
    delivered()
    wanted = {"route": route, "back_by": timezone.now() + 60 * MINUTE}
    verbs.set_check_in(observer, uuid.uuid4(), contact_id=late.contact_id, **wanted)
    late.refresh_from_db()
    assert late.back_at is not None
    assert [letter.subject for letter in delivered()] == [f"{observer.person.name} is back"]
    for _ in range(verbs.MOST_A_DAY - 2):
        verbs.set_check_in(observer, uuid.uuid4(), contact_id=late.contact_id, **wanted)
    with pytest.raises(ValidationError, match="a day"):
        verbs.set_check_in(observer, uuid.uuid4(), contact_id=late.contact_id, **wanted)


def test_a_contact_who_left_or_said_no_is_not_mailed(program, observer, route, late):
    member = make_member(program)
    contact = contacts.add_member(observer, member.person_id, site_url=SITE)
    CheckIn.objects.update(contact=contact)
    member.active = False
    member.save()
    queue_overdue(timezone.now())
    assert delivered() == []
    CheckIn.objects.update(contact=late.contact, overdue_at=None)
    contacts.decline(find_by_link(link_of(late.contact).rsplit("/", 1)[1]))
    queue_overdue(timezone.now())
    assert delivered() == []


def test_pages_of_the_observer(observer, route):
    open_one = make_check_in(observer, route)
    client = Client()
    client.force_login(observer.person)
    at = {"program": observer.program.slug}
    assert "We are back" in client.get(reverse("web:tonight", kwargs=at)).content.decode()
    page = reverse("web:check_in", kwargs=at)
    asked = client.post(page, {"name": "Wren Oakley", "email": "wren@example.org"}, follow=True)
    assert "asked, no answer yet" in asked.content.decode()
    wrong = client.post(page, {"name": "Wren Oakley", "email": "wren"}).content.decode()
    assert 'value="wren"' in wrong
    assert "Choose a member" in client.post(page, {"member": "0"}).content.decode()
    client.post(reverse("web:check_in_back", kwargs=at | {"check_in": open_one.pk}))
    open_one.refresh_from_db()
    assert open_one.back_at is not None
    contact = CheckInContact.objects.get(email="wren@example.org")
    client.post(reverse("web:check_in_contact_remove", kwargs=at | {"contact": contact.pk}))
    assert not CheckInContact.objects.filter(email="wren@example.org").exists()
    with pytest.raises(Http404):
        contacts.remove(make_member(observer.program), open_one.contact_id)


def test_nothing_is_kept_that_is_old_or_of_a_person_erased(coordinator, observer, route, late):
    assert own_data(observer.person)["return_times"][0]["car"] == "green van"
    queue_overdue(timezone.now())
    ask(observer, "wren@example.org")
    ask(make_member(observer.program), observer.person.email)
    erase(coordinator, observer.pk)
    assert not CheckIn.objects.exists()
    assert not CheckInContact.objects.exists()
    assert delivered() == []
    other = make_member(observer.program)
    old = make_check_in(other, route, back_by=timezone.now() - dt.timedelta(days=31))
    make_check_in(other, route)
    forget(0)
    assert not CheckIn.objects.filter(pk=old.pk).exists()
    assert CheckIn.objects.count() == 1


def test_what_the_guide_promises():
    text = next(page.html for page in guide_pages() if page.slug == "how-to-survey")
    assert f"{int(GRACE.total_seconds() // 60)} minutes after the time" in text
    assert "deleted after 30 days" in text
