"""The security log: written by the database, for the coordinators of one program, never changed."""

import re

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authentication_failed
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.failed_sign_ins import note_failed_sign_in
from accounts.invitations import accept_as_new_person, invite
from accounts.models import Membership, Person, Role, Scope, SecurityAct
from accounts.people import change_role, deactivate, reactivate, set_exact_places
from accounts.security_log import Act, details_of, security_acts
from accounts.tokens import make_token, revoke_token
from tests.support.builders import PASSWORD, make_member, make_program

pytestmark = pytest.mark.django_db
NEW = "another-quiet-evening"


@pytest.fixture
def told(coordinator):
    """The acts since the last call, first one first, with their details."""
    seen = set(SecurityAct.objects.values_list("pk", flat=True))

    def since(member=coordinator):
        acts = [act for act in security_acts(member) if act.pk not in seen]
        seen.update(act.pk for act in acts)
        return [(act.act, details_of(act)) for act in reversed(acts)]

    return since


def sign_in(person, password=PASSWORD):
    client = Client()
    client.post("/accounts/login/", {"login": person.email, "password": password})
    return client


def test_signing_in_and_a_new_password_say_who_did_it(observer, coordinator, told):
    client = sign_in(observer.person)
    new = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    client.post("/accounts/password/change/", new)
    assert {act.by for act in security_acts(coordinator)[:2]} == {observer.person}
    assert told() == [(Act.SIGNED_IN, ""), (Act.PASSWORD, "")]
    Person.objects.filter(pk=observer.person_id).update(last_login=None)
    assert told() == []


def test_a_password_that_is_hashed_anew_is_told_apart(observer, told, settings):
    settings.PASSWORD_HASHERS = [
        "django.contrib.auth.hashers.PBKDF2PasswordHasher",
        *settings.PASSWORD_HASHERS,
    ]
    observer.person.check_password(PASSWORD)
    assert told() == [(Act.PASSWORD, "or the server hashed the old one again")]


def test_rights_and_membership(observer, coordinator, told):
    change_role(coordinator, observer.pk, Role.PARTNER)
    set_exact_places(coordinator, observer.pk, True)
    set_exact_places(coordinator, observer.pk, False)
    deactivate(coordinator, observer.pk)
    reactivate(coordinator, observer.pk)
    assert told() == [
        (Act.ROLE, "Observer → Partner"),
        (Act.EXACT_GIVEN, ""),
        (Act.EXACT_TAKEN, ""),
        (Act.LEFT, "Partner"),
        (Act.RETURNED, "Partner"),
    ]


def test_who_changed_a_role_on_the_screen_is_named(program, observer, coordinator, client_for):
    path = reverse("web:people_deactivate", args=[program.slug, observer.pk])
    client_for(coordinator).post(path)
    assert security_acts(coordinator)[0].by == coordinator.person
    assert security_acts(coordinator)[0].person == observer.person


def test_tokens_whoever_ends_them(observer, coordinator, told):
    token = make_token(observer, name="report", scope=Scope.RECORDS, days=30).token
    revoke_token(observer, token.handle)
    make_token(observer, name="other", scope=Scope.RESULTS, days=30)
    deactivate(coordinator, observer.pk)
    records = f"“report”: {Scope.RECORDS.label}"
    results = f"“other”: {Scope.RESULTS.label}"
    acts = told()
    assert acts[:3] == [
        (Act.TOKEN_MADE, records),
        (Act.TOKEN_ENDED, records),
        (Act.TOKEN_MADE, results),
    ]
    assert sorted(acts[3:]) == [(Act.LEFT, "Observer"), (Act.TOKEN_ENDED, results)]


def test_addresses_second_steps_and_closed_accounts(observer, told):
    person = observer.person
    before = person.email
    Person.objects.filter(pk=person.pk).update(email="new@example.org")
    Authenticator.objects.create(user=person, type="totp", data={"secret": "sealed"})
    Authenticator.objects.all().delete()
    for is_active in (False, True):
        Person.objects.filter(pk=person.pk).update(is_active=is_active)
    assert told() == [
        (Act.ADDRESS, f"{before} → new@example.org"),
        (Act.STEP_ADDED, "Authenticator app"),
        (Act.STEP_REMOVED, "Authenticator app"),
        (Act.CLOSED, ""),
        (Act.OPENED, ""),
    ]


def test_joining_by_invitation(coordinator, told):
    issued = invite(
        coordinator, email="new@example.org", name="", role=Role.PARTNER, site_url="http://x/"
    )
    accept_as_new_person(issued.link.rsplit("/", 1)[1], name="Nell Brook", password=PASSWORD)
    assert told() == [(Act.JOINED, "Partner")]
    make_member(coordinator.program, exact_places=True)
    assert told() == [(Act.JOINED, "Observer"), (Act.EXACT_GIVEN, "")]


def test_each_program_reads_of_its_own_people_and_of_its_own_rights(observer, coordinator, told):
    elsewhere = make_member(make_program(), Role.COORDINATOR)
    both = make_member(elsewhere.program, person=observer.person)
    former = make_member(elsewhere.program, active=False)
    told(), told(elsewhere)
    sign_in(observer.person)
    sign_in(former.person)
    change_role(elsewhere, both.pk, Role.PARTNER)
    assert told() == [(Act.SIGNED_IN, "")]
    assert told(elsewhere) == [(Act.SIGNED_IN, ""), (Act.ROLE, "Observer → Partner")]


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.PARTNER])
def test_only_coordinators_read_it(program, role):
    with pytest.raises(PermissionDenied):
        security_acts(make_member(program, role))


def test_no_line_can_be_changed_or_removed(observer):
    for change in (
        lambda: SecurityAct.objects.update(act="joined"),
        lambda: SecurityAct.objects.filter(person=observer.person).delete(),
    ):
        with pytest.raises(DatabaseError, match="Cannot update or delete"), transaction.atomic():
            change()


def test_it_holds_no_password_and_no_secret(observer):
    secret = make_token(observer, name="report", scope=Scope.RECORDS, days=30).secret
    observer.person.set_password(NEW)
    observer.person.save()
    kept = str(list(SecurityAct.objects.values()))
    assert Membership.objects.get(pk=observer.pk).person.password not in kept
    assert secret not in kept


def test_the_page(program, observer, coordinator, client_for):
    change_role(coordinator, observer.pk, Role.PARTNER)
    shown = client_for(coordinator).get(reverse("web:security_log", args=[program.slug]))
    page = shown.content.decode()
    assert "Observer → Partner" in page
    assert observer.person.name in page


def tried(email, times=1, password="wrong-Pass-99"):
    """Sign-ins that fail, and what the worker does about them."""
    client = Client()
    for _ in range(times):
        client.post("/accounts/login/", {"login": email, "password": password})
    waiting = ProcrastinateJob.objects.filter(task_name="accounts.note_failed_sign_in")
    jobs = list(waiting.values_list("args", flat=True))
    for args in jobs:
        note_failed_sign_in(**args)
    waiting.delete()
    return jobs


def test_failed_sign_ins_are_a_line_in_ten_minutes(observer, told):
    cache.clear()
    jobs = tried(observer.person.email.upper(), times=7)
    assert len(jobs) == 1
    assert told() == [(Act.WRONG_PASSWORD, "")]
    kept = str([*SecurityAct.objects.values(), *jobs])
    assert "wrong-Pass-99" not in kept
    assert observer.person.email not in str(jobs)
    tried(observer.person.email)
    assert told() == []
    cache.clear()  # Ten minutes later.
    tried(observer.person.email)
    assert told() == [(Act.WRONG_PASSWORD, "")]


def test_an_address_that_nobody_has_takes_the_same_way_and_leaves_no_line(observer, told):
    """Nor does one that is typed and not confirmed."""
    EmailAddress.objects.create(user=observer.person, email="mistyped@example.org")
    statements = []
    for email in (observer.person.email, "nobody@example.org", "mistyped@example.org"):
        cache.clear()
        with CaptureQueriesContext(connection) as asked:
            jobs = tried_without_worker(email)
        assert jobs == 1
        statements.append([re.sub(r"'[^']*'|\d+", "?", one["sql"]) for one in asked])
    noting = [
        [sql for sql in one if "cache" in sql or "procrastinate" in sql] for one in statements
    ]
    assert noting[0] == noting[1] == noting[2]
    assert told() == []
    for email in ("nobody@example.org", "mistyped@example.org"):
        cache.clear()
        tried(email)
    assert told() == []


def tried_without_worker(email):
    Client().post("/accounts/login/", {"login": email, "password": "wrong"})
    waiting = ProcrastinateJob.objects.filter(task_name="accounts.note_failed_sign_in")
    number = waiting.count()
    waiting.delete()
    return number


def test_a_failed_second_step_is_a_line_of_its_own(observer, told):
    cache.clear()
    authentication_failed.send(sender=None, user=observer.person)
    (args,) = ProcrastinateJob.objects.filter(task_name="accounts.note_failed_sign_in").values_list(
        "args", flat=True
    )
    note_failed_sign_in(**args)
    assert told() == [(Act.WRONG_STEP, "")]


def test_each_program_of_whoever_was_tried_reads_of_it(observer, coordinator, told):
    elsewhere = make_member(make_program(), Role.COORDINATOR)
    make_member(elsewhere.program, person=observer.person)
    apart = make_member(make_program(), Role.COORDINATOR)
    told(), told(elsewhere), told(apart)
    cache.clear()
    tried(observer.person.email)
    assert told() == told(elsewhere) == [(Act.WRONG_PASSWORD, "")]
    assert told(apart) == []
