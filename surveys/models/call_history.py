"""History of calls. With a row for each change, as other models have it, it took twice the room of
the calls: tests/benchmarks/test_bytes_of_a_visit.py."""

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models

from surveys.models.statement_triggers import after_statement

# Column of the history: column of the calls that it lists.
COLUMNS = {
    "calls": "id",
    "periods": "period_id",
    "species": "species_id",
    "indexes": '"index"',
    "not_sure": "not_sure",
    "distances": "distance",
    "counts_in_trends": "counts_in_trends",
}


class CallHistory(models.Model):
    """The calls of a visit that a statement added, changed or deleted: as they were after it, or,
    where it deleted them, before it.

    Written by triggers. The lists are as long as each other: what stands at a place of one belongs
    to the call at that place of `calls`.
    """

    # The names that the history of all other models has.
    pgh_created_at = models.DateTimeField()
    pgh_label = models.CharField(max_length=6)
    pgh_context = models.ForeignKey(
        "pghistory.Context",
        on_delete=models.DO_NOTHING,
        null=True,
        db_constraint=False,
        db_index=False,
        related_name="+",
    )
    visit = models.ForeignKey(
        "surveys.Visit",
        on_delete=models.DO_NOTHING,
        null=True,
        db_constraint=False,
        related_name="+",
    )
    calls = ArrayField(models.BigIntegerField())
    periods = ArrayField(models.UUIDField())
    species = ArrayField(models.BigIntegerField())
    indexes = ArrayField(models.SmallIntegerField(null=True))
    not_sure = ArrayField(models.BooleanField())
    distances = ArrayField(models.CharField(max_length=4))
    counts_in_trends = ArrayField(models.BooleanField())


_NOTE = """
WITH context AS (SELECT _pgh_attach_context() AS id)
INSERT INTO surveys_callhistory (pgh_created_at, pgh_label, pgh_context_id, visit_id, {lists})
SELECT now(), '{label}', context.id, period.visit_id, {listed}
FROM ({rows}) AS call
LEFT JOIN surveys_listeningperiod AS period ON period.id = call.period_id
CROSS JOIN context
GROUP BY context.id, period.visit_id;
RETURN NULL;
"""
_ROWS = {
    pgtrigger.Insert: "SELECT * FROM rows_after",
    # An update that leaves a call as it was is no change of it.
    pgtrigger.Update: "SELECT * FROM rows_after EXCEPT SELECT * FROM rows_before",
    pgtrigger.Delete: "SELECT * FROM rows_before",
}


def notes_calls() -> list[pgtrigger.Trigger]:
    """For the calls: each statement that changes them leaves a row for each visit."""
    lists = ", ".join(COLUMNS)
    listed = ", ".join(f"array_agg(call.{column} ORDER BY call.id)" for column in COLUMNS.values())
    return [
        after_statement(
            "history",
            operation,
            _NOTE.format(label=str(operation).lower(), rows=rows, lists=lists, listed=listed),
        )
        for operation, rows in _ROWS.items()
    ]
