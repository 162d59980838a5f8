"""Settings of django-allauth that need code."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core import context as current
from allauth.core.internal import ratelimit
from django.contrib.sites.shortcuts import get_current_site
from django.http import HttpRequest
from django.utils.translation import gettext_lazy

from accounts.failed_sign_ins import queue_failed_sign_in
from accounts.mailed_codes import code_of, new_ticket
from accounts.mailing import queue_letter
from accounts.models import Person
from accounts.security_log import Act

_NO_ACCOUNT = "account/email/unknown_account"
_SIGN_IN_CODE = "account/email/login_code"
# How somebody confirms who they are, by the ids of django-allauth.
_WAYS = {
    "reauthenticate": gettext_lazy("Use your password"),
    "mfa_reauthenticate": gettext_lazy("Use the app or a recovery code"),
    "mfa_reauthenticate:webauthn": gettext_lazy("Use a passkey"),
}


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Closes sign-up: accounts are made by accepting a coordinator's invitation. Mail is left to
    the worker, so that no request waits for a mail server."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": gettext_lazy(
            "The email address or the password is wrong. Check both, or set a new password."
        ),
        "too_many_login_attempts": gettext_lazy(
            "Too many wrong passwords. Wait a few minutes, or set a new password."
        ),
        "incorrect_code": gettext_lazy(
            "This code is wrong or too old. Check it, or ask for a new one."
        ),
        "incorrect_password": gettext_lazy("This password is wrong. Check it, and try again."),
        "enter_current_password": gettext_lazy("This is not your current password. Check it."),
        "email_taken": gettext_lazy("Another account has this address. Use another address."),
        "duplicate_email": gettext_lazy("Your account has this address already."),
        "same_as_current": gettext_lazy("This is what you have now. Enter another one."),
        "invalid_password_reset": gettext_lazy("This link no longer works. Ask for a new one."),
        "rate_limited": gettext_lazy("Too many tries. Wait a few minutes, then try again."),
    }

    def get_reauthentication_methods(self, user: Person) -> list[dict[str, str]]:
        """Under the names that the other pages use."""
        return [
            {**way, "description": _WAYS.get(way["id"], way["description"])}
            for way in super().get_reauthentication_methods(user)
        ]

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def generate_login_code(self) -> str:
        """What the session keeps; the letter has the code that follows from it."""
        return new_ticket()

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Queue a letter. To an address without an account it is written and not sent."""
        if template_prefix == _SIGN_IN_CODE:
            context = context | {"code": code_of(context["code"])}
        request = current.request
        facts = {"request": request, "email": email, "current_site": get_current_site(request)}
        letter = self.render_mail(template_prefix, email, facts | context)
        queue_letter(letter, is_sent=template_prefix != _NO_ACCOUNT)

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Count a sign-in until it succeeds: by client address, by account from that address, and
        by account from anywhere."""
        super().pre_authenticate(request, **credentials)
        anywhere = ratelimit.consume(
            request,
            app="allauth.account",
            action="login_failed_anywhere",
            key=credentials.get("email", ""),
        )
        if not anywhere:
            self._rollback_login_failed_rl_usage()
            raise self.validation_error("too_many_login_attempts")
        self._login_failed_rl_usage.usage.extend(anywhere.usage)

    def authentication_failed(self, request: HttpRequest, **credentials: Any) -> None:
        super().authentication_failed(request, **credentials)
        queue_failed_sign_in(credentials.get("email", ""), Act.WRONG_PASSWORD)

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:
        """Wrong passwords typed elsewhere keep nobody out of their own account."""
        key = super()._get_login_attempts_cache_key(request, **credentials)
        return f"{ratelimit.get_ip(request)}:{key}"

    def _delete_login_attempts_cached_email(self, request: HttpRequest, **credentials: Any) -> None:
        """Whoever has set a new password may sign in at once."""
        super()._delete_login_attempts_cached_email(request, **credentials)
        ratelimit.clear(
            request,
            app="allauth.account",
            action="login_failed_anywhere",
            key=credentials["email"].lower(),
        )
