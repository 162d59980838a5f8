"""A passkey's answer that no passkey gives is refused, never a server error."""

import json

import pytest
from allauth.core import context
from django.test import Client, RequestFactory
from django.urls import reverse

from accounts.passkey_forms import AddForm, AuthenticateForm, LoginForm, ReauthenticateForm

pytestmark = pytest.mark.django_db

GOOD_SHAPE = {
    "id": "YQ",
    "rawId": "YQ",
    "type": "public-key",
    "response": {"clientDataJSON": "e30", "authenticatorData": "YQ", "signature": "YQ"},
}
ANSWERS = [
    "",
    "no JSON",
    "1",
    "[]",
    '"text"',
    "{}",
    '{"response": []}',
    '{"response": {"userHandle": 5}}',
    json.dumps(GOOD_SHAPE),
    json.dumps(GOOD_SHAPE | {"response": {**GOOD_SHAPE["response"], "userHandle": "____"}}),
    json.dumps(GOOD_SHAPE | {"response": {**GOOD_SHAPE["response"], "userHandle": "AAAA"}}),
    json.dumps({name: [[]] for name in GOOD_SHAPE}),
    json.dumps(GOOD_SHAPE | {"rawId": "\ud800"}),
    "9" * 5_000,
    "[" * 60_000,
    '{"response": ' * 60_000,
]


@pytest.mark.parametrize("answer", ANSWERS, ids=[str(place) for place in range(len(ANSWERS))])
def test_odd_answers(observer, answer):
    request = RequestFactory().get("/")
    request.session, request.user = Client().session, observer.person
    with context.request_context(request):
        for form in (
            LoginForm({"credential": answer}),
            AuthenticateForm({"credential": answer}, user=observer.person),
            ReauthenticateForm({"credential": answer}, user=observer.person),
            AddForm({"credential": answer}, user=observer.person),
        ):
            assert not form.is_valid()
            assert form.as_div()


@pytest.mark.parametrize("answer", ["[" * 60_000, "9" * 5_000, "{}"], ids=len)
def test_signing_in_with_one(client, answer):
    client.raise_request_exception = False
    response = client.post(reverse("mfa_login_webauthn"), {"credential": answer})
    assert response.status_code in (200, 302)
