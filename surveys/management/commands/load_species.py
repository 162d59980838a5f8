"""Load the species catalog."""

from typing import Any

from django.core.management.base import BaseCommand

from surveys.demo.catalog import load_species


class Command(BaseCommand):
    help = (
        "Bring the species catalog to what fixtures/species.json says: species, calls, calling "
        "seasons, look-alikes. Names stay as they are, checklists too. Safe to repeat."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        loaded = load_species()
        self.stdout.write(
            f"Species: {loaded.added} added, {loaded.updated} updated, {loaded.kept} unchanged."
        )
