"""Load the species catalog."""

from typing import Any

from django.core.management.base import BaseCommand

from surveys.demo.catalog import load_species


class Command(BaseCommand):
    help = "Add the species of fixtures/species.json that the catalog lacks. Safe to repeat."

    def handle(self, *args: Any, **options: Any) -> None:
        loaded = load_species()
        self.stdout.write(f"Species: {loaded.added} added, {loaded.kept} were there already.")
