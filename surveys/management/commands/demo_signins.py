"""Print who can sign in to the demo."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.models import Membership
from surveys.demo.truths import read_people


class Command(BaseCommand):
    help = "Print three sign-ins of the demo: observer, coordinator and partner."

    def handle(self, *args: Any, **options: Any) -> None:
        people = read_people()
        wanted = people.sign_ins
        for email in (wanted.observer, wanted.coordinator, wanted.partner):
            members = list(
                Membership.objects.select_related("person", "program")
                .filter(person__email=email, active=True)
                .order_by("program__name")
            )
            if not members:
                raise CommandError("The demo is not loaded. Run: manage.py load_demo")
            programs = " and ".join(member.program.name for member in members)
            role = members[0].get_role_display()
            self.stdout.write(f"{role:<12} {email:<26} {programs}")
        self.stdout.write(f"Password for all three: {people.password}")
        self.stdout.write("Places, people and numbers are invented; the recordings are synthetic.")
