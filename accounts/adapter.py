"""Settings of django-allauth that need code."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Closes sign-up: accounts are made by accepting a coordinator's invitation."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
