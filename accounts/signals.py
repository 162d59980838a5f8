"""What follows when django-allauth has changed an account."""

from allauth.account.models import EmailAddress
from allauth.account.signals import password_reset
from django.dispatch import receiver

from accounts.models import Person


@receiver(password_reset)
def drop_unconfirmed_address(user: Person, **_: object) -> None:
    """Who sets a new password may be throwing somebody out: an address that they asked for goes."""
    EmailAddress.objects.filter(user=user, verified=False).delete()
