"""Access tokens: hashed, ending, bound to one program, never opening more than their scope."""

import datetime as dt
import hashlib

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from accounts.models import (
    AccessToken,
    Membership,
    Person,
    RequestCount,
    Role,
    Scope,
)
from accounts.people import (
    change_role,
    deactivate,
    reactivate,
    set_exact_places,
    set_named,
    set_training,
)
from accounts.tokens import (
    MAX_TOKENS,
    make_token,
    revoke_token,
    tokens_of,
)
from surveys.models import ExactDownload
from tests.support.builders import (
    PASSWORD,
    make_accepted_visit,
    make_checklist,
    make_member,
    make_route,
)


@pytest.fixture
def program(program, observer):
    (peeper,) = make_checklist(program)
    make_accepted_visit(make_route(program), observer.person, heard={1: {peeper: 2}})
    return program


def secret_of(member: Membership, scope: Scope = Scope.RECORDS) -> str:
    return make_token(member, name="report", scope=scope, days=30).secret


def ask(secret: str, path: str, program, method: str = "GET", **data: object):
    return Client().generic(
        method,
        f"/api/v1/{program.slug}/{path}",
        headers={"Authorization": f"Bearer {secret}"},
        **data,
    )


def test_only_a_hash_is_stored(partner):
    new_token = make_token(partner, name="report", scope=Scope.RECORDS, days=30)
    row = AccessToken.objects.get()
    assert row.digest == hashlib.sha512(new_token.secret.encode()).hexdigest()
    assert new_token.secret not in str(AccessToken.objects.values().get())
    assert dt.timedelta(days=29) < row.expiry - timezone.now() <= dt.timedelta(days=30)


# Scope × address: what a partner's token opens.
@pytest.mark.parametrize(
    ("scope", "path", "status"),
    [
        (Scope.RESULTS, "trends/", 200),
        (Scope.RESULTS, "publications/", 200),
        (Scope.RESULTS, "records/calls/", 403),
        (Scope.RESULTS, "records/stopped-counting/", 403),
        (Scope.RESULTS, "records/calls/export/", 403),
        (Scope.RESULTS, "records/stops/", 403),
        (Scope.RESULTS, "records/routes/", 403),
        (Scope.RESULTS, "seasons/coverage/?season_year=2024", 403),
        (Scope.RECORDS, "trends/", 200),
        (Scope.RECORDS, "records/visits/", 200),
        (Scope.RECORDS, "records/stopped-counting/", 200),
        (Scope.RECORDS, "records/periods/", 200),
        (Scope.RECORDS, "records/calls/", 200),
        (Scope.RECORDS, "records/calls/export/", 200),
        (Scope.RECORDS, "records/routes/", 200),
        (Scope.RECORDS, "records/stops/", 200),
        (Scope.RECORDS, "seasons/coverage/?season_year=2024", 200),
        (Scope.RECORDS, "records/stops/geojson/", 200),
        (Scope.RECORDS, "visits/", 403),
        (Scope.RECORDS, "routes/", 403),
        (Scope.RECORDS, "seasons/route-years/", 403),
    ],
)
def test_a_token_opens_its_scope(program, partner, scope, path, status):
    assert ask(secret_of(partner, scope), path, program).status_code == status


@pytest.mark.parametrize("role", [Role.OBSERVER, Role.COORDINATOR])
@pytest.mark.parametrize("path", ["visits/", "routes/", "seasons/route-years/"])
def test_token_of_a_coordinator_opens_no_unpublished_data(program, role, path):
    assert ask(secret_of(make_member(program, role)), path, program).status_code == 403


def test_a_token_changes_nothing(program, coordinator):
    answer = ask(
        secret_of(coordinator, Scope.EXACT),
        "publications/",
        program,
        "POST",
        data='{"season_year": 2024}',
        content_type="application/json",
    )
    assert answer.status_code == 403
    assert "This token opens" in answer.json()["detail"]


def test_token_is_valid_in_one_program_only(program, partner):
    other = make_member(
        type(program).objects.create(name="Other", slug="other", time_zone="UTC"),
        Role.PARTNER,
        person=partner.person,
    )
    assert ask(secret_of(partner), "trends/", other.program).status_code == 404
    assert ask(secret_of(other), "trends/", other.program).status_code == 200


def test_former_member_has_no_access(program, partner):
    secret = secret_of(partner)
    partner.active = False
    partner.save()
    assert ask(secret, "trends/", program).status_code == 401


def test_inactive_account_has_no_access(program, partner):
    secret = secret_of(partner)
    partner.person.is_active = False
    partner.person.save()
    assert ask(secret, "trends/", program).status_code == 401


def test_expired_token_is_still_listed_for_its_owner(program, partner):
    secret = secret_of(partner)
    AccessToken.objects.update(expiry=timezone.now() - dt.timedelta(seconds=1))
    answer = ask(secret, "trends/", program)
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert "has expired" in answer.json()["detail"]
    assert tokens_of(partner).count() == 1


def test_revoked_token_is_refused(program, partner):
    new_token = make_token(partner, name="report", scope=Scope.RECORDS, days=30)
    revoke_token(partner, new_token.token.handle)
    assert ask(new_token.secret, "trends/", program).status_code == 401


@pytest.mark.parametrize("secret", ["", "x", "two words", "é", "0" * 64, "%00"])
def test_invalid_token_is_refused_with_a_message(program, secret):
    answer = ask(secret, "trends/", program)
    assert answer.status_code == 401
    assert "oken" in answer.json()["detail"]


def test_token_takes_precedence_over_a_session(program, coordinator, partner, client_for):
    answer = client_for(coordinator).get(
        f"/api/v1/{program.slug}/visits/",
        headers={"Authorization": f"Bearer {secret_of(partner)}"},
    )
    assert answer.status_code == 403


def test_last_use_is_recorded_to_the_hour(program, partner):
    secret = secret_of(partner)
    ask(secret, "trends/", program)
    first = AccessToken.objects.get().last_used_at
    assert first is not None
    ask(secret, "trends/", program)
    assert AccessToken.objects.get().last_used_at == first


# Right × scope × what was asked for.
@pytest.mark.parametrize("path", ["records/calls/", "records/calls/export/", "records/stops/"])
@pytest.mark.parametrize("right", [True, False])
@pytest.mark.parametrize("scope", [Scope.RECORDS, Scope.EXACT])
def test_exact_places_need_the_right_and_the_scope(program, partner, path, right, scope):
    partner.exact_places = True
    partner.save()
    secret = secret_of(partner, scope)
    partner.exact_places = right
    partner.save()
    answer = ask(secret, f"{path}?places=exact", program)
    allowed = right and scope == Scope.EXACT
    ended = scope == Scope.EXACT and not right
    assert answer.status_code == (200 if allowed else 401 if ended else 403)
    body = answer.getvalue() if answer.streaming else answer.content
    assert (b"43.0731" in body) == allowed
    logged = [
        (download.person, download.by_token, download.path)
        for download in ExactDownload.objects.all()
    ]
    address = f"/api/v1/{program.slug}/{path}?places=exact"
    assert logged == ([(partner.person, "report", address)] if allowed else [])


def test_downloads_of_shared_places_are_not_logged(program, coordinator):
    answer = ask(secret_of(coordinator, Scope.EXACT), "records/calls/", program)
    assert b"43.0731" not in answer.content
    assert not ExactDownload.objects.exists()


def test_download_is_logged_before_the_first_byte(program, coordinator):
    answer = ask(secret_of(coordinator, Scope.EXACT), "records/calls/export/?places=exact", program)
    assert ExactDownload.objects.count() == 1
    # To its end: else the collector ends it in the middle of anything, even of another request.
    assert b"".join(answer.streaming_content).startswith(b"period,visit")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"scope": "everything"}, "scope"),
        ({"scope": Scope.EXACT}, "scope"),
        ({"days": 36500}, "days"),
        ({"name": "  "}, "name"),
    ],
)
def test_invalid_token_settings_are_refused(partner, changes, field):
    with pytest.raises(ValidationError) as refusal:
        make_token(partner, **{"name": "report", "scope": Scope.RECORDS, "days": 30, **changes})
    assert field in refusal.value.message_dict


def test_number_of_tokens_is_limited(partner):
    for _ in range(MAX_TOKENS):
        secret_of(partner)
    with pytest.raises(ValidationError, match="Revoke one"):
        secret_of(partner)


class TestRateLimit:
    @pytest.fixture(autouse=True)
    def limit(self, settings):
        settings.API_REQUESTS_AN_HOUR = 2

    def test_headers_state_the_remaining_requests_and_when_to_retry(self, program, partner):
        """Fields and parameters of draft-ietf-httpapi-ratelimit-headers-10, 3 and 4."""
        secret = secret_of(partner)
        left = [ask(secret, "trends/", program) for _ in range(3)]
        assert [answer.status_code for answer in left] == [200, 200, 429]
        assert {answer.headers["RateLimit-Policy"] for answer in left} == {'"hour";q=2;w=3600'}
        assert [answer.headers["RateLimit"].split(";t=")[0] for answer in left] == [
            '"hour";r=1',
            '"hour";r=0',
            '"hour";r=0',
        ]
        wait = int(left[2].headers["Retry-After"])
        assert 3590 <= wait <= 3600
        assert f"in {wait} seconds" in left[2].json()["detail"]

    def test_requests_are_counted_per_token(self, program, partner):
        first, second = secret_of(partner), secret_of(partner)
        for _ in range(3):
            last = ask(first, "trends/", program)
        assert last.status_code == 429
        assert ask(second, "trends/", program).status_code == 200

    def test_limit_resets_after_an_hour(self, program, partner):
        secret = secret_of(partner)
        for _ in range(3):
            ask(secret, "trends/", program)
        RequestCount.objects.update(begun_at=timezone.now() - dt.timedelta(hours=1, seconds=1))
        assert ask(secret, "trends/", program).status_code == 200

    def test_requests_of_signed_in_people_are_counted(self, program, partner, client_for):
        client = client_for(partner)
        path = f"/api/v1/{program.slug}/trends/"
        assert [client.get(path).status_code for _ in range(3)] == [200, 200, 429]


class TestEnd:
    """Tokens end with the password, the role and the membership they were made under, for good."""

    def opens(self, secret, program):
        return ask(secret, "trends/", program).status_code == 200

    @pytest.fixture(autouse=True)
    def others_keep_theirs(self, program):
        other = make_member(program, Role.PARTNER, exact_places=True)
        secrets = [secret_of(other, scope) for scope in (Scope.RECORDS, Scope.EXACT)]
        yield
        assert all(self.opens(secret, program) for secret in secrets)

    def test_a_new_password_ends_them(self, program, partner):
        secret = secret_of(partner)
        assert self.opens(secret, program)
        partner.person.set_password("another-quiet-evening")
        partner.person.save()
        assert not self.opens(secret, program)

    def test_a_password_that_is_only_hashed_anew_does_not(self, program, partner, settings):
        secret = secret_of(partner)
        before = partner.person.password
        settings.PASSWORD_HASHERS = [
            "django.contrib.auth.hashers.PBKDF2PasswordHasher",
            *settings.PASSWORD_HASHERS,
        ]
        assert partner.person.check_password(PASSWORD)
        partner.person.refresh_from_db()
        assert partner.person.password != before
        assert self.opens(secret, program)

    def test_another_role_ends_them_and_the_old_role_does_not_revive_them(
        self, program, coordinator, partner
    ):
        secret = secret_of(partner)
        change_role(coordinator, partner.pk, Role.OBSERVER)
        assert not self.opens(secret, program)
        change_role(coordinator, partner.pk, Role.PARTNER)
        assert not self.opens(secret, program)
        assert tokens_of(partner).count() == 0

    def test_leaving_ends_them_and_coming_back_does_not_revive_them(
        self, program, coordinator, partner
    ):
        secret = secret_of(partner)
        deactivate(coordinator, partner.pk)
        reactivate(coordinator, partner.pk)
        assert not self.opens(secret, program)
        assert self.opens(secret_of(partner), program)

    def test_a_closed_account_ends_them_and_opening_it_does_not_revive_them(self, program, partner):
        secret = secret_of(partner)
        for is_active in (False, True):
            Person.objects.filter(pk=partner.person_id).update(is_active=is_active)
        assert not self.opens(secret, program)

    def test_the_right_to_exact_places_takes_its_tokens_along(self, program, coordinator, partner):
        set_exact_places(coordinator, partner.pk, True)
        partner.refresh_from_db()
        exact, other = secret_of(partner, Scope.EXACT), secret_of(partner)
        set_exact_places(coordinator, partner.pk, False)
        set_exact_places(coordinator, partner.pk, True)
        assert not self.opens(exact, program)
        assert self.opens(other, program)

    def test_other_changes_leave_them(self, program, coordinator, partner):
        secret = secret_of(partner)
        set_named(partner.person, named=True)
        set_training(coordinator, partner.pk, trained_on=dt.date(2025, 1, 1), trained_until=None)
        assert self.opens(secret, program)
