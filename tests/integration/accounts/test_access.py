"""Which role may do what, what a token opens, and how a request comes by its member."""

from http.cookies import Morsel

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.test import RequestFactory

from accounts.access import (
    LAST_PROGRAM,
    PERMISSIONS,
    TOKEN_PERMISSIONS,
    Permission,
    last_membership,
    may,
    may_have_exact_places,
    membership_of,
    needs,
    require,
)
from accounts.models import AccessToken, Membership, Role, Scope
from surveys.models import Program
from tests.support.builders import (
    make_member,
    make_program,
)

pytestmark = pytest.mark.django_db

ALL = {
    "enter visits",
    "review visits",
    "set up the program",
    "publish",
    "read seasons, with observers",
    "read trends and publications",
    "read the records of accepted visits",
}
READ = {"read trends and publications", "read the records of accepted visits"}


@pytest.mark.parametrize(
    ("role", "allowed"),
    [
        (Role.OBSERVER, READ | {"enter visits", "read seasons, with observers"}),
        (Role.COORDINATOR, ALL),
        (Role.PARTNER, READ),
    ],
)
def test_what_a_role_may_do(program, role, allowed):
    member = make_member(program, role)
    assert {permission.value for permission in Permission} == ALL
    assert {p.value for p in Permission if may(member, p)} == allowed


def test_every_role_and_scope_has_its_row():
    assert set(PERMISSIONS) == set(Role.values)
    assert set(TOKEN_PERMISSIONS) == set(Scope.values)


@pytest.mark.parametrize(
    ("scope", "opened"),
    [(Scope.RESULTS, {"read trends and publications"}), (Scope.RECORDS, READ), (Scope.EXACT, READ)],
)
def test_what_a_token_opens_at_most(scope, opened):
    assert TOKEN_PERMISSIONS[scope] == opened


@pytest.mark.parametrize("role", Role)
def test_a_member_who_left_may_do_nothing(program, role):
    member = make_member(program, role, active=False)
    assert not any(may(member, permission) for permission in Permission)


@pytest.mark.parametrize(
    ("role", "called"), [(Role.OBSERVER, "observer"), (Role.PARTNER, "partner")]
)
def test_a_refusal_says_which_role_does_not_allow_what_and_whom_to_ask(program, role, called):
    member = make_member(program, role)
    require(member, Permission.READ_RESULTS)
    with pytest.raises(PermissionDenied) as refused:
        require(member, Permission.PUBLISH)
    assert str(refused.value) == (
        f"Your role here ({called}) does not allow you to publish. "
        "Ask a coordinator of the program."
    )


# exact_places of the membership, scope of the token (None: signed in) → may have them.
@pytest.mark.parametrize(
    ("role", "exact_places", "active", "scope", "allowed"),
    [
        (Role.COORDINATOR, False, True, None, True),
        (Role.COORDINATOR, False, True, Scope.EXACT, True),
        (Role.COORDINATOR, False, True, Scope.RECORDS, False),
        (Role.COORDINATOR, False, True, Scope.RESULTS, False),
        (Role.COORDINATOR, False, False, None, False),
        (Role.OBSERVER, False, True, None, False),
        (Role.OBSERVER, True, True, None, True),
        (Role.OBSERVER, True, False, None, False),
        (Role.OBSERVER, False, True, Scope.EXACT, False),
        (Role.PARTNER, False, True, None, False),
        (Role.PARTNER, True, True, None, True),
        (Role.PARTNER, True, True, Scope.EXACT, True),
        (Role.PARTNER, True, True, Scope.RECORDS, False),
        (Role.PARTNER, True, False, Scope.EXACT, False),
        (Role.PARTNER, False, True, Scope.EXACT, False),
    ],
)
def test_who_may_have_exact_places(program, role, exact_places, active, scope, allowed):
    member = make_member(program, role, exact_places=exact_places, active=active)
    token = scope and AccessToken(membership=member, scope=scope)
    assert may_have_exact_places(member, token) is allowed


class TestMembershipOf:
    def test_the_one_in_the_program_that_is_named(self, program, django_assert_num_queries):
        make_member(program)
        member = make_member(program)
        Membership.objects.create(person=member.person, program=make_program(), role=Role.PARTNER)
        make_member(program)
        with django_assert_num_queries(1):
            found = membership_of(member.person, program.slug)
            assert (found.program.slug, found.person.email) == (
                program.slug,
                member.person.email,
            )
        assert found == member

    @pytest.mark.parametrize("case", ["no such program", "another's", "left"])
    def test_outsiders_learn_nothing(self, program, case):
        member = make_member(program, active=case != "left")
        slug = {
            "no such program": "no-such",
            "another's": make_program().slug,
            "left": program.slug,
        }
        with pytest.raises(Http404) as missing:
            membership_of(member.person, slug[case])
        assert str(missing.value) == ("There is no such program, or you are not a member of it.")


class TestLastMembership:
    def request(self, person, slug):
        request = RequestFactory().get("/guide/")
        request.user = person
        if slug is not None:
            request.COOKIES[LAST_PROGRAM] = slug
        return request

    def test_the_program_that_was_open_last(self, program, django_assert_num_queries):
        make_member(program)
        member = make_member(program)
        Membership.objects.create(person=member.person, program=make_program(), role=Role.PARTNER)
        make_member(program)
        request = self.request(member.person, program.slug)
        with django_assert_num_queries(1):
            found = last_membership(request)
            assert found.program.slug == program.slug
        assert found == member

    def test_none_was_open(self, observer, django_assert_num_queries):
        with django_assert_num_queries(0):
            assert last_membership(self.request(observer.person, None)) is None

    def test_signed_out(self, program, observer, django_assert_num_queries):
        with django_assert_num_queries(0):
            assert last_membership(self.request(AnonymousUser(), program.slug)) is None

    def test_a_member_who_left(self, program):
        member = make_member(program, active=False)
        assert last_membership(self.request(member.person, program.slug)) is None

    def test_a_program_of_others(self, observer):
        assert last_membership(self.request(observer.person, make_program().slug)) is None


class TestNeeds:
    @staticmethod
    @needs(Permission.SURVEY)
    def view(request, *, number):
        """A page."""
        return HttpResponse(f"{request.membership.program.slug} {number}")

    def answer(self, member: Membership, program: Program, cookie: str | None = None):
        request = RequestFactory().get("/")
        request.user = member.person
        if cookie is not None:
            request.COOKIES[LAST_PROGRAM] = cookie
        return self.view(request, program=program.slug, number=7)

    def test_the_view_knows_its_member_and_its_own_arguments(self, observer, program):
        answer = self.answer(observer, program)
        assert answer.content.decode() == f"{program.slug} 7"

    def test_the_view_keeps_its_name_and_says_what_it_needs(self):
        assert self.view.__name__ == "view"
        assert self.view.permission == Permission.SURVEY

    def test_a_role_without_the_permission(self, partner, program):
        with pytest.raises(PermissionDenied, match="enter visits"):
            self.answer(partner, program)

    def test_outsiders(self, program):
        with pytest.raises(Http404):
            self.answer(make_member(make_program()), program)

    @pytest.mark.parametrize("before", [None, "another"])
    def test_the_program_is_remembered_out_of_reach_of_scripts(self, observer, program, before):
        cookie: Morsel = self.answer(observer, program, before).cookies["program"]
        assert cookie.value == program.slug
        assert (cookie["samesite"], cookie["httponly"]) == ("Lax", True)

    @pytest.mark.parametrize("secure", [True, False])
    def test_what_is_remembered_over_https_stays_there(self, observer, program, secure):
        request = RequestFactory().get("/", secure=secure)
        request.user = observer.person
        answer = self.view(request, program=program.slug, number=7)
        assert bool(answer.cookies["program"]["secure"]) == secure

    def test_what_is_remembered_already_is_not_sent_again(self, observer, program):
        assert not self.answer(observer, program, program.slug).cookies
