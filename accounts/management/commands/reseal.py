"""After the secret key was replaced: what the old one sealed is sealed with the new one."""

from allauth.mfa.models import Authenticator
from cryptography.fernet import InvalidToken
from django.core.management.base import BaseCommand
from django.db import transaction

from accounts.second_factor import reseal_authenticator


class Command(BaseCommand):
    help = (
        "Seal second steps with the newest secret key. Call it once DUSKPOOL_SECRET_KEY is new "
        "and DUSKPOOL_OLD_SECRET_KEYS names the old one."
    )

    def handle(self, *args: object, **options: object) -> None:
        lost = []
        with transaction.atomic():
            rows = Authenticator.objects.select_for_update(of=("self",)).select_related("user")
            for row in rows.order_by("pk"):
                try:
                    reseal_authenticator(row)
                except InvalidToken:
                    lost.append(row)
        self.stdout.write(f"{len(rows) - len(lost)} sealed with the newest key.")
        for row in lost:
            self.stdout.write(
                f"{row.user.email}: {row.type} was sealed with a key that is not named. Its owner "
                "has to set it up again: manage.py reset_second_factor"
            )
