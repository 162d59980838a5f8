"""Lets in somebody who has lost phone, key and recovery codes."""

from argparse import ArgumentParser

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.mail import EmailMessage
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from accounts.mailing import queue_letter
from accounts.models import Person
from surveys.language import gettext


class Command(BaseCommand):
    help = (
        "Remove the second step at sign-in from an account, sign it out everywhere and mail its "
        "owner. Make sure first that it is the owner who asks, not by email alone."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")

    @transaction.atomic
    def handle(self, *args: object, **options: str) -> None:
        person = Person.objects.filter(email__iexact=options["email"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in with {options['email']}.")
        removed, _ = Authenticator.objects.filter(user=person).delete()
        for session in UserSession.objects.filter(user=person):
            session.end()
        if removed:
            letter = EmailMessage(
                subject=gettext("Duskpool: your second step at sign-in was removed"),
                body=gettext(
                    "Whoever runs this server removed the second step from your account. Set up a "
                    "new one when you sign in. If you did not ask for this, tell your coordinator."
                ),
                to=[person.email],
            )
            queue_letter(letter, is_sent=True)
        self.stdout.write(f"{person.email}: {removed} removed. The next sign-in asks for set-up.")
