"""Load the species catalogue."""

from typing import Any

from django.core.management.base import BaseCommand

from surveys.demo.catalogue import load_species


class Command(BaseCommand):
    help = "Add the species of fixtures/species.json that the catalogue lacks. Safe to repeat."

    def handle(self, *args: Any, **options: Any) -> None:
        loaded = load_species()
        self.stdout.write(f"Species: {loaded.added} added, {loaded.kept} were there already.")
