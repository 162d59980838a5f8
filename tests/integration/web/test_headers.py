"""Headers of every answer, and what an address that opens something gives away."""

import pytest
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("path", ["/accounts/login/", "/nothing/here/", "/api/schema/"])
def test_the_browser_is_told_what_the_site_uses(path):
    policy = Client().get(path)["Permissions-Policy"]
    for used in ("geolocation", "microphone", "screen-wake-lock", "publickey-credentials-get"):
        assert f"{used}=(self)" in policy
    assert "camera=()" in policy


@pytest.mark.parametrize(
    "path",
    [
        reverse("web:people_invitation", args=["0" * 64]),
        reverse("account_confirm_email", args=["abc"]),
        reverse("account_reset_password_from_key", args=["1", "abc-def"]),
        reverse("web:published_by_link", args=["program", "abc"]),
    ],
)
def test_the_key_in_an_address_is_not_passed_on(path):
    assert Client().get(path)["Referrer-Policy"] == "strict-origin"


def test_other_pages_pass_their_address_on_within_the_site():
    assert Client().get("/accounts/login/")["Referrer-Policy"] == "same-origin"


@pytest.mark.parametrize(
    ("path", "attached"),
    [("/api/v1/nothing/visits/", True), ("/accounts/login/", False), ("/healthz", False)],
)
def test_what_the_api_answers_is_never_shown_as_a_page(path, attached):
    """OWASP ASVS 4.0.3, 14.4.2."""
    said = Client().get(path).headers.get("Content-Disposition")
    assert said == ('attachment; filename="api.json"' if attached else None)


def test_signing_out_empties_the_cache(observer, client_for):
    """A browser with a worker does not show this header to those who watch it from outside."""
    answer = client_for(observer).post(reverse("account_logout"))
    assert answer["Clear-Site-Data"] == '"cache"'
