"""Write down how a backup, an off-site copy or a restore drill ended."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from surveys.models import OperationKind
from surveys.operations.records import record_operation


class Command(BaseCommand):
    help = (
        "Write down how an operation ended. Operators see it on the page System status, and are "
        "mailed when it failed or when the latest backup is too old."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=OperationKind.values)
        parser.add_argument("outcome", choices=["ok", "failed"])
        parser.add_argument("detail", nargs="?", default="", help="a sentence for operators")

    def handle(self, *args: Any, **options: Any) -> None:
        record_operation(
            OperationKind(options["kind"]),
            ok=options["outcome"] == "ok",
            detail=options["detail"],
        )
