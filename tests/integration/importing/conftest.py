"""A program with two routes, and a short way from a text to an import."""

import datetime as dt
import io
from dataclasses import dataclass

import pytest
from openpyxl import Workbook

from accounts.models import Membership
from surveys.importing.gathered import Answers
from surveys.importing.preview import Preview
from surveys.importing.uploads import Upload, open_upload, preview_upload, remember, store
from surveys.models import Program
from tests.support.builders import make_checklist, make_route, make_species, make_version

PEEPER, WOOD_FROG, ORNATE = (
    "Pseudacris crucifer",
    "Lithobates sylvaticus",
    "Pseudacris ornata",
)


@pytest.fixture
def program(program: Program) -> Program:
    version = make_version(
        program,
        windows=[
            {"name": "Winter", "opens_month": 12, "closes_month": 3},
            {"name": "Spring", "opens_month": 4, "opens_day": 1, "closes_month": 6},
        ],
        season_begins_month=10,
    )
    for code, name in (("R1", "Heron Slough"), ("R2", "Alder Fen")):
        make_route(program, version=version, code=code, name=name)
    make_checklist(program, PEEPER, WOOD_FROG)
    peeper = make_species(PEEPER)
    peeper.common_name, peeper.synonyms = "Spring peeper", ["Hyla crucifer"]
    peeper.save()
    make_species(ORNATE)
    return program


@dataclass(frozen=True, kw_only=True)
class Tried:
    upload: Upload
    preview: Preview

    @property
    def problems(self) -> list[str]:
        return [str(problem) for problem in self.preview.problems]


@pytest.fixture
def attempt(coordinator: Membership):
    """Store, map and preview a file: CSV text or bytes."""

    def run(
        content: str | bytes,
        *explicit: tuple[str, str],
        answers: Answers | None = None,
        leave_out_known: bool = False,
        name: str = "visits.csv",
    ) -> Tried:
        data = content.encode() if isinstance(content, str) else content
        row = store(coordinator, file_name=name, content=data)
        upload = open_upload(coordinator, row.pk)
        remember(upload, explicit, answers or upload.answers, leave_out_known=leave_out_known)
        upload = open_upload(coordinator, row.pk)
        return Tried(upload=upload, preview=preview_upload(coordinator, upload))

    return run


def workbook(rows: list[list[object]]) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def wide(*rows: str, header: str = "Route,Date,Stop,Start time,End time,Temp (F)") -> str:
    """Rows under the usual header, with one column for each checklist species."""
    return "\n".join([f"{header},Spring peeper,Lithobates sylvaticus", *rows]) + "\n"


def night(text: str) -> dt.date:
    return dt.date.fromisoformat(text)
