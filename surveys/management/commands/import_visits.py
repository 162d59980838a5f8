"""Import a spreadsheet of past visits."""

from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError, CommandParser

from accounts.models import Membership
from surveys.importing.columns import MappingError
from surveys.importing.gathered import Answers
from surveys.importing.preview import Preview
from surveys.importing.problems import ImportRefusedError, UnreadableFileError
from surveys.importing.uploads import (
    Upload,
    commit_upload,
    open_upload,
    preview_upload,
    remember,
    store,
)
from surveys.visits.exceptions import NoRoomLeft

_ZERO, _MISSING = "zero", "missing"


class Command(BaseCommand):
    help = (
        "Check a CSV or XLSX file of past visits, and import all of it with --commit. "
        "Without --commit nothing is kept."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("program", help="The program's short name in addresses.")
        parser.add_argument("file", type=Path)
        parser.add_argument("--as", dest="email", required=True, help="A coordinator's email.")
        parser.add_argument(
            "--map",
            action="append",
            default=[],
            metavar="COLUMN=FIELD",
            help='What a column means, such as "Temp (F)=air_temperature:F", "Date=night:dmy", '
            '"Peepers=species:Pseudacris crucifer" or "Initials=ignore".',
        )
        parser.add_argument(
            "--blank",
            choices=[_ZERO, _MISSING],
            help="What an empty species cell means. Default: guessed from the file.",
        )
        parser.add_argument(
            "--unnamed",
            choices=[_ZERO, _MISSING],
            default=_MISSING,
            help="What silence means for checklist species that the file never names.",
        )
        parser.add_argument(
            "--leave-out-known",
            action="store_true",
            help="Skip visits that were already imported, instead of stopping.",
        )
        parser.add_argument("--commit", action="store_true", help="Import, if nothing is wrong.")

    def handle(self, *args: Any, **options: Any) -> None:
        member = _member(options["program"], options["email"])
        try:
            content = options["file"].read_bytes()
        except OSError as error:
            raise CommandError(f"{options['file']} could not be read: {error.strerror}.") from None
        try:
            row = store(member, file_name=options["file"].name, content=content, at_once=True)
        except (UnreadableFileError, NoRoomLeft, PermissionDenied) as error:
            raise CommandError(str(error)) from None
        kept = False
        try:
            kept = self._run(member, row.pk, options)
        finally:
            if not kept:
                row.delete()

    def _run(self, member: Membership, upload_id: Any, options: dict[str, Any]) -> bool:
        upload = open_upload(member, upload_id)
        blank = options["blank"]
        answers = Answers(
            blank_is_zero=upload.answers.blank_is_zero if blank is None else blank == _ZERO,
            unnamed_is_zero=options["unnamed"] == _ZERO,
        )
        try:
            remember(
                upload,
                [_pair(text) for text in options["map"]],
                answers,
                leave_out_known=options["leave_out_known"],
            )
        except MappingError as error:
            raise CommandError(str(error)) from None
        upload = open_upload(member, upload_id)
        seen = preview_upload(member, upload)
        self._show(upload, seen)
        if not options["commit"]:
            self.stdout.write("Nothing was imported. Add --commit to import.")
            return False
        try:
            done = commit_upload(member, upload)
        except ImportRefusedError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(
            f"Imported: {done.visits} visits, {done.periods} stops, {done.calls} calls. "
            "They wait in review."
        )
        return True

    def _show(self, upload: Upload, seen: Preview) -> None:
        for header, words in zip(seen.headers, seen.meanings, strict=True):
            self.stdout.write(f"  {header}: {words}")
        answer = "not heard" if upload.answers.blank_is_zero else "not recorded"
        self.stdout.write(f"An empty species cell means: {answer}.")
        for notice in seen.notices:
            self.stdout.write(notice)
        self.stdout.write(
            f"{seen.visits} visits ({seen.nights}), {seen.stops} stops listened to, "
            f"{seen.detections} detections, {seen.queries} queries for review."
        )
        for problem in seen.problems:
            self.stdout.write(f"! {problem}")
        hidden = seen.problem_count - len(seen.problems)
        if hidden:
            self.stdout.write(f"! and {hidden} more problems.")


def _member(program: str, email: str) -> Membership:
    member = (
        Membership.objects.select_related("program", "person")
        .filter(program__slug=program, person__email__iexact=email, active=True)
        .first()
    )
    if member is None:
        raise CommandError(f"{email} is not a member of a program “{program}”.")
    return member


def _pair(text: str) -> tuple[str, str]:
    header, sign, code = text.rpartition("=")
    if not sign or not header.strip():
        raise CommandError(f"“{text}” is not of the form COLUMN=FIELD.")
    return header, code
