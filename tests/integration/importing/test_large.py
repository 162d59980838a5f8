"""An archive costs as much memory as a few of its visits, and queries by hundreds of visits."""

import gc
import tracemalloc
from collections import Counter

import pytest
from django.db import connection

from surveys.importing import commit
from surveys.importing.preview import MOST_PROBLEMS
from surveys.importing.problems import Problem, ProblemKind, Problems
from surveys.importing.row_store import RowStore
from surveys.importing.table import MOST_DIFFERENT, DifferentCells, Row
from surveys.importing.undoing import undo_import
from surveys.importing.uploads import commit_upload, open_upload, preview_upload, store
from surveys.models import ImportPart, Visit, VisitState
from surveys.web.importing.fixing import groups_of, names_of
from tests.support.archives import STOPS, archive_csv, archive_rows, make_archive_program

ROUTES = 8
AT_ONCE = 10
# Rows that were put aside are held up to a bound.
MOST_MORE_MEMORY = 2


@pytest.fixture
def cost(coordinator, program, monkeypatch):
    """Imports so many rows; the highest memory of it, in bytes, and its statements by kind."""
    make_archive_program(program, routes=ROUTES)
    monkeypatch.setattr(commit, "_VISITS_AT_ONCE", AT_ONCE)

    def of(rows: int) -> tuple[int, Counter[str]]:
        content = archive_csv(rows, routes=ROUTES)
        upload = open_upload(coordinator, store(coordinator, file_name="a.csv", content=content).pk)
        statements: Counter[str] = Counter()

        def count(execute, sql, params, many, context):
            statements[sql.split()[0]] += 1
            return execute(sql, params, many, context)

        gc.collect()
        tracemalloc.start()
        try:
            with connection.execute_wrapper(count):
                done = commit_upload(coordinator, upload)
            highest = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert (done.visits, done.periods) == (rows // STOPS, rows)
        undo_import(coordinator, upload.row.pk, reason="Tried")
        return highest, statements

    return of


def test_four_times_the_rows_take_no_more_memory(cost):
    cost(1600)  # What is loaded once is there, and when the sun sets on these nights.
    few, statements_of_few = cost(400)
    many, statements_of_many = cost(1600)
    assert many < MOST_MORE_MEMORY * few
    batches = (1600 - 400) // STOPS // AT_ONCE
    # Visits and all that belongs to them are copied, which is no statement.
    assert statements_of_many["INSERT"] == statements_of_few["INSERT"]
    assert statements_of_many["VALUES"] - statements_of_few["VALUES"] == batches
    assert statements_of_many["SELECT"] <= statements_of_few["SELECT"] + 1
    assert not ImportPart.objects.exists(), "nothing goes through the rows again"
    assert set(Visit.objects.values_list("state", flat=True)) == {VisitState.SET_ASIDE}


def test_rows_of_a_visit_need_not_stand_together(coordinator, program):
    make_archive_program(program, routes=ROUTES)
    names, *rows = archive_rows(120, routes=ROUTES)
    by_stop = sorted(rows, key=lambda row: int(row[3]))
    found = []
    for ordered in (rows, by_stop):
        content = "\n".join(map(",".join, [names, *ordered])).encode()
        row = store(coordinator, file_name="a.csv", content=content)
        seen = preview_upload(coordinator, open_upload(coordinator, row.pk))
        assert not seen.problem_count
        found.append((seen.visits, seen.stops, seen.detections, dict(seen.species)))
    assert found[0] == found[1]
    assert found[0][:2] == (12, 120)


def test_a_file_wrong_in_every_row_is_counted_and_shown_in_part(coordinator, program):
    """A kind of which there are thousands hides no other."""
    make_archive_program(program, routes=ROUTES)
    names, *rows = archive_rows(400, routes=ROUTES)
    for number, row in enumerate(rows):
        row[6] = f"cold {number}"
    rows[-1][0] = "Nowhere"
    content = "\n".join(map(",".join, [names, *rows])).encode()
    row = store(coordinator, file_name="a.csv", content=content)
    seen = preview_upload(coordinator, open_upload(coordinator, row.pk))
    assert seen.problem_count == 400
    assert len(seen.problems) == MOST_PROBLEMS
    counts = {group.title: (group.count, len(group.items)) for group in _groups(seen, program)}
    assert counts == {
        "Cells that we cannot read: column “Air temp (F)”": (399, MOST_PROBLEMS - 1),
        "Routes that we do not know": (1, 1),
    }


def _groups(seen, program):
    return groups_of(seen, names_of(program))


def test_problems_are_told_once_and_kept_in_part():
    problems = Problems()
    for number in range(6_000):
        problems.add(_cell(f"x{number % 3000}", number))
    assert len(problems) == 3000, "a text twice is one problem, kept or not"
    assert len(problems.told()) == 1000
    assert problems.told()[0].all_rows == (0, 3000)
    same = Problems(_cell("x", number) for number in range(5_000))
    (told,) = same.told()
    assert (len(told.rows), told.row_count) == (1000, 5_000)


def _cell(written: str, row: int) -> Problem:
    return Problem(message="?", kind=ProblemKind.CELL, column="Temp", written=written, row=row)


def test_different_cells_are_bounded_but_an_empty_one_is_known():
    cells = DifferentCells(1)
    for number in range(MOST_DIFFERENT + 10):
        cells.add((str(number),))
    cells.add(("",))
    (column,) = cells.by_column
    assert column[:2] == ("0", "1")
    assert len(column) == MOST_DIFFERENT + 1
    assert "" in column


def test_rows_come_back_as_they_were_put_aside():
    rows = [
        Row(number=2, texts=("R1", "Étang\n“x”"), written=("", "y"), part="Stop 1 "),
        Row(number=3, texts=("", "z")),
    ]
    with RowStore() as stored:
        numbers = [stored.add(row) for row in rows]
        assert [stored[number] for number in reversed(numbers)] == rows[::-1]
