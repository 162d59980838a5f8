"""How django-allauth behaves here."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Nobody signs up on their own: a coordinator invites them."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
