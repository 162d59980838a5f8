"""A migration leaves people working: it holds no large table for long, and takes nothing away that
the server still running from before asks for.

squawk reads the SQL of every migration after the released ones. Small tables, those of programs,
routes and protocols, may be indexed and checked as they are: that takes milliseconds.
"""

import json
import re
import subprocess
import sysconfig
from pathlib import Path
from unittest.mock import patch

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connection
from django.db.migrations import RunPython, RunSQL, SeparateDatabaseAndState
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.migration import Migration
from django.db.migrations.operations.base import Operation

pytestmark = pytest.mark.django_db

SQUAWK = Path(sysconfig.get_path("scripts")) / "squawk"
# The last migrations of the release before; they ran before anybody had to wait for them.
RELEASED = {"surveys": 17, "accounts": 7}
# What a whole table is read or written for while nobody else may write to it (or read it).
LOCKING = frozenset(
    {
        "column-with-check",
        "require-concurrent-index-creation",
        "require-concurrent-index-deletion",
        "constraint-missing-not-valid",
        "adding-foreign-key-constraint",
        "adding-not-nullable-field",
        "adding-serial-primary-key-field",
        "adding-field-with-default",
        "disallowed-unique-constraint",
        "ban-concurrent-index-creation-in-transaction",
    }
)
# What the server that still runs from before stumbles over; of any table.
BREAKING = frozenset(
    {
        "changing-column-type",
        "adding-required-field",
        "ban-drop-column",
        "ban-drop-table",
        "renaming-column",
        "renaming-table",
        "ban-truncate-cascade",
    }
)
TABLE = re.compile(r'(?:TABLE|ON)\s+(?:ONLY\s+)?"?(\w+)')
# Tables that grow with every night, and those that hold their history.
LARGE = (
    "CallHistory",
    "CallIndex",
    "Confirmation",
    "ListeningPeriod",
    "Photo",
    "Recording",
    "RecordingPiece",
    "ReviewStep",
    "Sighting",
    "StoredFinding",
    "Submission",
    "Visit",
)
# (app, migration, rule): why it may be all the same, such as "read by nobody since 0019".
ACCEPTED: dict[tuple[str, str, str], str] = {
    ("surveys", "0056_call_history", "ban-drop-table"): "written by nobody since 0055, never read",
}


def large_tables() -> set[str]:
    models = [apps.get_model("surveys", name) for name in LARGE]
    events = [one for one in apps.get_models() if one.__name__.removesuffix("Event") in LARGE]
    return {model._meta.db_table for model in [*models, *events]}


def new_migrations() -> list[Migration]:
    graph = MigrationLoader(None).graph
    keys = [
        (app, name)
        for app, name in graph.nodes
        if app in RELEASED and int(name.partition("_")[0]) > RELEASED[app]
    ]
    return [graph.nodes[key] for key in sorted(keys)]


def sql_of(migration: Migration, tmp_path: Path) -> str:
    out = tmp_path / "migration.sql"
    # An index that is made concurrently refuses the transaction of a test; nothing is run here.
    transaction = connection.in_atomic_block and migration.atomic
    with out.open("w") as file, patch.object(connection, "in_atomic_block", transaction):
        call_command("sqlmigrate", migration.app_label, migration.name, stdout=file, no_color=True)
    return out.read_text()


def faults_in(sql: str) -> list[str]:
    """Rule and statement of all that may not be."""
    run = subprocess.run(
        [SQUAWK, "--reporter=json", "--pg-version=15"],
        input=sql,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    large = large_tables()
    faults = []
    for found in json.loads(run.stdout):
        rule, statement = found["rule_name"], statement_at(sql, found["line"])
        assert rule != "syntax-error", statement
        if rule in BREAKING or (rule in LOCKING and locks(rule, statement, large)):
            faults.append(f"{rule}: {statement}")
    return faults + checked_columns(sql, large)


def checked_columns(sql: str, large: set[str]) -> list[str]:
    """New columns with a CHECK, as `PositiveIntegerField` makes them: every row is looked at under
    a lock that keeps readers out. squawk has no rule for it."""
    statements = [" ".join(one.split()) for one in sql.split(";")]
    return [
        f"column-with-check: {one}"
        for one in statements
        if re.search(r"ADD COLUMN .*\bCHECK\b", one) and locks("column-with-check", one, large)
    ]


def statement_at(sql: str, line: int) -> str:
    lines = sql.splitlines()
    first = last = line
    while first > 0 and not lines[first - 1].rstrip().endswith(";"):
        first -= 1
    while last < len(lines) - 1 and not lines[last].rstrip().endswith(";"):
        last += 1
    return " ".join(one for one in lines[first : last + 1] if not one.startswith("--"))


def locks(rule: str, statement: str, large: set[str]) -> bool:
    """Whether it holds a large table. A new column without a value has no rows to look at, so
    PostgreSQL skips looking (ALTER TABLE, transformFKConstraints; from memory)."""
    if rule == "adding-foreign-key-constraint" and "ADD COLUMN" in statement:
        return "DEFAULT" in statement
    table = TABLE.search(statement)
    return table is None or table[1] in large


def changes_tables(operation: Operation) -> bool:
    return not isinstance(operation, (RunPython, RunSQL, SeparateDatabaseAndState))


@pytest.mark.parametrize("migration", new_migrations(), ids=str)
def test_a_new_migration_leaves_people_working(migration, tmp_path):
    faults = faults_in(sql_of(migration, tmp_path))
    accepted = {rule for app, name, rule in ACCEPTED
                if (app, name) == (migration.app_label, migration.name)}  # fmt: skip
    assert [fault for fault in faults if fault.partition(":")[0] not in accepted] == []
    # A lock that a change of a table takes is held until the transaction ends.
    kinds = {changes_tables(operation) for operation in migration.operations}
    runs_code = any(isinstance(operation, RunPython) for operation in migration.operations)
    assert not (runs_code and kinds == {True, False}), (
        "Rows are changed in a migration of their own."
    )


def test_what_is_accepted_is_there():
    names = {(one.app_label, one.name) for one in new_migrations()}
    assert {(app, name) for app, name, _ in ACCEPTED} <= names
    assert all(ACCEPTED.values())


@pytest.mark.parametrize(
    ("statement", "rule"),
    [
        ("CREATE INDEX a ON surveys_callindex (index)", "require-concurrent-index-creation"),
        ("CREATE INDEX a ON surveys_visitevent (night)", "require-concurrent-index-creation"),
        ("CREATE INDEX a ON surveys_protocol (name)", None),
        ("CREATE TABLE new (a int); CREATE INDEX a ON new (a)", None),
        ("BEGIN; CREATE INDEX CONCURRENTLY a ON surveys_visit (night); COMMIT",
         "ban-concurrent-index-creation-in-transaction"),
        ("CREATE INDEX CONCURRENTLY a ON surveys_visit (night)", None),
        ("ALTER TABLE surveys_visit ADD CONSTRAINT a CHECK (revision > 0)",
         "constraint-missing-not-valid"),
        ("ALTER TABLE surveys_visit ADD CONSTRAINT a CHECK (revision > 0) NOT VALID", None),
        ("ALTER TABLE surveys_visit VALIDATE CONSTRAINT a", None),
        ("ALTER TABLE surveys_visit ADD COLUMN a integer DEFAULT 0 NOT NULL", None),
        ("ALTER TABLE surveys_visit ADD COLUMN a float DEFAULT random() NOT NULL",
         "adding-field-with-default"),
        ('ALTER TABLE "surveys_visit" ADD COLUMN "a" smallint DEFAULT 0 NOT NULL CHECK ("a" >= 0)',
         "column-with-check"),
        ("ALTER TABLE surveys_protocol ADD COLUMN a smallint CHECK (a >= 0)", None),
        ("ALTER TABLE surveys_visit ALTER COLUMN notes SET NOT NULL",
         "adding-not-nullable-field"),
        ("ALTER TABLE surveys_visit ADD COLUMN a bigint NULL REFERENCES surveys_route(id)", None),
        ("ALTER TABLE surveys_visit ADD FOREIGN KEY (route_id) REFERENCES surveys_route(id)",
         "adding-foreign-key-constraint"),
        ("ALTER TABLE surveys_visit ADD CONSTRAINT a UNIQUE (night)",
         "disallowed-unique-constraint"),
        ("ALTER TABLE surveys_protocol ADD COLUMN a integer NOT NULL", "adding-required-field"),
        ("ALTER TABLE surveys_protocol ALTER COLUMN name TYPE text", "changing-column-type"),
        ("ALTER TABLE surveys_protocol DROP COLUMN name", "ban-drop-column"),
        ("ALTER TABLE surveys_protocol RENAME COLUMN name TO title", "renaming-column"),
        ("DROP TABLE surveys_protocol", "ban-drop-table"),
    ],
)  # fmt: skip
def test_what_the_linter_refuses(statement, rule):
    """What holds a table is PostgreSQL's documentation, ALTER TABLE and CREATE INDEX; squawk is
    the judge, and this holds its rules to what we count on."""
    found = {fault.partition(":")[0] for fault in faults_in(f"{statement};\n")}
    assert rule in found if rule else not found
