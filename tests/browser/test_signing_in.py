"""The second step at sign-in, in a browser with a passkey of its own, and how its screens read."""

import pytest
from playwright.sync_api import Page, expect

from accounts.models import Role
from tests.browser.conftest import faults_of, fill_sign_in, sign_in
from tests.support.builders import PASSWORD, make_member

pytestmark = pytest.mark.django_db(transaction=True)


def give_passkeys(page: Page) -> None:
    """An authenticator in the browser, by the WebAuthn domain of the DevTools protocol."""
    devtools = page.context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    devtools.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )


def test_a_coordinator_sets_up_a_passkey_and_signs_in_with_it(
    program, open_context, settings, live_server
):
    settings.SECOND_FACTOR_REQUIRED = True
    member = make_member(program, Role.COORDINATOR)
    page = open_context().new_page()
    give_passkeys(page)
    sign_in(page, member.person.email)
    expect(page.get_by_role("heading", name="Second step at sign-in")).to_be_visible()
    page.get_by_role("link", name="Add a passkey").click()
    page.locator("input[type=password]").fill(PASSWORD)
    page.get_by_role("button", name="Continue").click()
    page.get_by_label("Sign in without the password").check()
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    assert page.locator("main li code").count() == 10
    page.get_by_role("link", name="I saved them").click()
    page.wait_for_url(f"**/{program.slug}/desk/")

    page.context.clear_cookies()
    page.goto("/accounts/login/")
    page.get_by_label("Email", exact=False).first.fill(member.person.email)
    page.get_by_label("Show the password").check()
    typed = page.get_by_label("Password", exact=True)
    expect(typed).to_have_attribute("type", "text")
    typed.fill(PASSWORD)
    page.get_by_label("Show the password").uncheck()
    expect(typed).to_have_attribute("type", "password")
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url(f"**/{program.slug}/desk/")

    page.context.clear_cookies()
    page.goto("/accounts/login/")
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url(f"**/{program.slug}/desk/")


def test_screens_of_the_account_are_accessible(program, open_context):
    page = open_context().new_page()
    assert faults_of(page, ["/accounts/login/", "/accounts/login/code/"]) == {}
    member = make_member(program)
    page.goto("/accounts/second-step/totp/activate/")
    fill_sign_in(page, member.person.email)
    page.locator("input[type=password]").fill(PASSWORD)
    page.get_by_role("button", name="Continue").click()
    expect(page.get_by_role("heading", name="Set up an authenticator app")).to_be_visible()
    pages = [
        "/accounts/second-step/",
        "/accounts/second-step/totp/activate/",
        "/accounts/second-step/webauthn/",
        "/accounts/second-step/webauthn/add/",
        "/accounts/devices/",
        "/accounts/reauthenticate/",
        "/accounts/password/change/",
    ]
    assert faults_of(page, pages) == {}
    page.goto("/accounts/password/change/")
    assert said_of_a_new_password(page) == {
        "heron reed": "Too short.",
        "heronreed7heronreed7": "It repeats itself. Use more different letters.",
        "abababcdabca": "It repeats itself. Use more different letters.",
        "heron reed 7": "Long enough if it is not a common password. Add one more word.",
        "heron reed lantern 7": "A good length. Common passwords are refused.",
        "": "",
    }
    # Only the field for a new one says so, and only once.
    assert page.locator("[data-strength-of]").count() == 1


def said_of_a_new_password(page: Page) -> dict[str, str]:
    """While it is typed, below the field."""
    field, words = page.get_by_label("New password", exact=True), page.locator(".strength p")
    told = {}
    for password in ("heron reed", "heronreed7heronreed7", "abababcdabca", "heron reed 7",
                     "heron reed lantern 7", ""):  # fmt: skip
        field.fill(password)
        told[password] = words.text_content()
    return told
