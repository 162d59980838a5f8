"""The faults that let a query see every program."""

import pytest

from tests.mutation.mutants import mutants_of
from tests.mutation.parts import ROOT, parts
from tests.mutation.scopes import SCOPES


def added(tmp_path, line):
    path = tmp_path / "module.py"
    path.write_text(f"def f(program, member, pk):\n    return {line}\n")
    return [
        mutant.diff.splitlines()[1].removeprefix("+ return ")
        for mutant in mutants_of(path, tmp_path, operators=SCOPES)
    ]


@pytest.mark.parametrize(
    ("line", "faults"),
    [
        ("Route.objects.filter(program=program, pk=pk)", ["Route.objects.filter(pk=pk)"]),
        (
            "Visit.objects.filter(route__program=member.program_id).exists()",
            ["Visit.objects.filter().exists()"],
        ),
        ("get_object_or_404(Route, program=program, pk=pk)", ["get_object_or_404(Route, pk=pk)"]),
        (
            "member.program.routes.filter(pk=pk)",
            ["type(member.program).routes.rel.related_model._default_manager.filter(pk=pk)"],
        ),
        (
            "get_object_or_404(program.routes, pk=pk)",
            ["get_object_or_404(type(program).routes.rel.related_model._default_manager, pk=pk)"],
        ),
        ("Route.objects.create(program=program)", []),
        ("program.routes.create(code='R')", []),
        ("program.name.upper()", []),
        ("ask(kind, program=program)", []),
    ],
)
def test_conditions_on_the_program_are_left_out(tmp_path, line, faults):
    assert added(tmp_path, line) == faults


def test_queries_of_ours_are_among_them():
    """So that a new way of writing such queries does not leave the part empty unnoticed."""
    assert parts()["scopes"].scopes
    functions = {
        m.function for m in mutants_of(ROOT / "accounts/people.py", ROOT, operators=SCOPES)
    }
    assert {"people_of", "person_of"} <= functions
