"""Print who can sign in to the demo."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from surveys.demo.signins import NotLoadedError, sign_in_lines


class Command(BaseCommand):
    help = "Print three sign-ins of the demo: observer, coordinator and partner."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            lines = list(sign_in_lines())
        except NotLoadedError as error:
            raise CommandError("The demo is not loaded. Run: manage.py load_demo") from error
        self.stdout.write("\n".join(lines))
