"""Look whether every stored file that a row names is there."""

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError
from django.db.models import FileField

SHOWN = 20


class Command(BaseCommand):
    help = (
        "Name the photos and recordings that rows of the database name and that are not there. "
        "Ends with 1 if there are any."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--listed-in",
            type=Path,
            metavar="FILE",
            help="look in a list of names, as `tar --list` writes it, and not in the storage",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        listed = options["listed_in"]
        names = None if listed is None else _listed(listed)
        checked, missing = 0, []
        for name in _named():
            checked += 1
            if name not in names if names is not None else not default_storage.exists(name):
                missing.append(name)
        for name in missing[:SHOWN]:
            self.stdout.write(name)
        self.stdout.write(f"{len(missing)} of {checked} files are missing.")
        if missing:
            raise CommandError("Bring them back from an older backup, or ask who uploaded them.")


def _listed(file: Path) -> set[str]:
    return {line.removeprefix("./") for line in file.read_text("utf-8").splitlines()}


def _named() -> Iterator[str]:
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            # The history names files that were deleted on purpose.
            if isinstance(field, FileField) and not hasattr(model, "pgh_tracked_model"):
                names = model._default_manager.exclude(**{field.name: ""})
                yield from names.values_list(field.name, flat=True).iterator()
