"""The second step at sign-in, as django-allauth has it. Who needs one says accounts/access.py."""

from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest
from django.utils.translation import gettext_lazy

from accounts.access import (
    SECOND_FACTOR_DUE,
    lacks_second_factor,
    needs_second_factor,
    second_factors,
)
from accounts.models import Membership, Person
from accounts.sealing import reseal, seal, unseal
from surveys.language import said

_PURPOSE = "second factor"
# What of an authenticator is sealed: the key of an app, the seed of recovery codes.
_SEALED = ("secret", "seed")


@receiver(user_logged_in)
def note_what_is_due(request: HttpRequest, user: Person, **_: object) -> None:
    memberships = Membership.objects.select_related("person").filter(person=user, active=True)
    if any(lacks_second_factor(membership) for membership in memberships):
        request.session[SECOND_FACTOR_DUE] = True


def reseal_authenticator(authenticator: Authenticator) -> None:
    """Seal it with the newest key. Raises cryptography.fernet.InvalidToken."""
    sealed = {name: text for name, text in authenticator.data.items() if name in _SEALED}
    if sealed:
        authenticator.data |= {name: reseal(text, _PURPOSE) for name, text in sealed.items()}
        authenticator.save(update_fields=["data"])


class SecondFactorAdapter(DefaultMFAAdapter):
    error_messages = DefaultMFAAdapter.error_messages | {
        "cannot_delete_authenticator": gettext_lazy(
            "Your role needs a second step at sign-in. Set up another before you remove this one."
        ),
        "cannot_generate_recovery_codes": gettext_lazy(
            "Recovery codes go with a second step. Set up an app or a passkey first."
        ),
        "incorrect_code": gettext_lazy("This code is wrong or too old. Enter the newest one."),
    }

    def encrypt(self, text: str) -> str:
        return seal(text, _PURPOSE)

    def decrypt(self, encrypted_text: str) -> str:
        return unseal(encrypted_text, _PURPOSE)

    def generate_authenticator_name(self, user: Person, type: str) -> str:  # noqa: A002
        """What a passkey is called until its owner names it."""
        there = Authenticator.objects.filter(user=user, type=type).count()
        return said("Passkey {number}", number=there + 1)

    def can_delete_authenticator(self, authenticator: Authenticator) -> bool:
        """The last second step of somebody who needs one stays."""
        person = authenticator.user
        if second_factors(person).exclude(pk=authenticator.pk).exists():
            return True
        memberships = Membership.objects.select_related("person").filter(person=person, active=True)
        return not any(needs_second_factor(membership) for membership in memberships)
