"""What was heard on a route in a season year, added up, and which of it is out of date."""

from collections.abc import Iterable

import pgtrigger
from django.db import models

from surveys.models.program import Program
from surveys.models.statement_triggers import after_statement


class RouteYearCount(models.Model):
    """A species on a route in a season year: a part of the yearly table.

    Kept by `surveys/seasons/year_counts.py` from the view `counted_call`, and read only where no
    `StaleYearCount` says that something below it has changed.
    """

    pk = models.CompositePrimaryKey("program_id", "species_id", "season_year", "route_id")
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+", db_index=False)
    species = models.ForeignKey(
        "surveys.Species", on_delete=models.CASCADE, related_name="+", db_index=False
    )
    season_year = models.IntegerField()
    route = models.ForeignKey("surveys.Route", on_delete=models.CASCADE, related_name="+")
    stops = models.IntegerField()
    visits = models.IntegerField()
    periods = models.IntegerField()
    # Stops by the highest index of the year.
    stops_at_1 = models.IntegerField()
    stops_at_2 = models.IntegerField()
    stops_at_3 = models.IntegerField()
    first_night = models.DateField(null=True)
    last_night = models.DateField(null=True)


class StaleYearCount(models.Model):
    """Something changed from which counts were added up: of a route and season year, or, where
    these are null, of a whole program.

    Written by triggers, in the transaction of the change. A change adds a row of its own even where
    there is one: the counting that deletes the other may not have seen this change.
    """

    program = models.ForeignKey(
        Program, on_delete=models.DO_NOTHING, db_constraint=False, related_name="+"
    )
    # A route that was deleted may still be named here until it is counted.
    route = models.ForeignKey(
        "surveys.Route", on_delete=models.DO_NOTHING, db_constraint=False, related_name="+",
        null=True, db_index=False,
    )  # fmt: skip
    season_year = models.IntegerField(null=True)


_MARK = """
INSERT INTO surveys_staleyearcount (program_id, route_id, season_year)
SELECT DISTINCT {marked}
FROM {changed};
RETURN NULL;
"""
_ROUTE_YEAR = "route.program_id, visit.route_id, visit.season_year"
_WHOLE_PROGRAM = "{program}, NULL::bigint, NULL::int"
_BEFORE = "SELECT {columns} FROM rows_before"
_AFTER = "SELECT {columns} FROM rows_after"
# An update that leaves these columns as they were changes no count.
_ROWS = {
    pgtrigger.Insert: f"({_AFTER})",
    pgtrigger.Update: (f"(({_BEFORE} EXCEPT {_AFTER}) UNION ALL ({_AFTER} EXCEPT {_BEFORE}))"),
    pgtrigger.Delete: f"({_BEFORE})",
}


def _marking(
    marked: str,
    changed: str,
    columns: str,
    operations: Iterable[pgtrigger.Operation] = tuple(_ROWS),
) -> list[pgtrigger.Trigger]:
    """Triggers that mark what follows from changed rows.

    `columns` are those of the table that counts depend on, `changed` is a FROM clause with the
    changed rows as `{rows}`.
    """
    return [
        after_statement(
            "marks_year_counts",
            operation,
            _MARK.format(
                marked=marked,
                changed=changed.format(rows=_ROWS[operation].format(columns=columns)),
            ),
        )
        for operation in operations
    ]


def marks_by_visit() -> list[pgtrigger.Trigger]:
    """For visits. One that does not count, before and after, marks nothing; a new one has no
    periods yet, and they will mark it."""
    return _marking(
        _ROUTE_YEAR,
        "{rows} AS visit JOIN surveys_route AS route ON route.id = visit.route_id"
        " WHERE visit.counts_in_trends",
        "id, route_id, season_year, night, counts_in_trends",
        operations=(pgtrigger.Update, pgtrigger.Delete),
    )


def marks_by_period() -> list[pgtrigger.Trigger]:
    """For the listening periods of a visit that counts."""
    return _marking(
        _ROUTE_YEAR,
        "{rows} AS period JOIN surveys_visit AS visit ON visit.id = period.visit_id"
        " JOIN surveys_route AS route ON route.id = visit.route_id"
        " WHERE visit.counts_in_trends AND period.counts_in_trends",
        "visit_id, stop_id, counts_in_trends",
    )


def marks_by_call() -> list[pgtrigger.Trigger]:
    """For the calls of a period that counts: one that does not count makes its species missing."""
    return _marking(
        _ROUTE_YEAR,
        "{rows} AS call JOIN surveys_listeningperiod AS period ON period.id = call.period_id"
        " JOIN surveys_visit AS visit ON visit.id = period.visit_id"
        " JOIN surveys_route AS route ON route.id = visit.route_id"
        " WHERE visit.counts_in_trends AND period.counts_in_trends",
        'period_id, species_id, "index", not_sure, distance, counts_in_trends',
    )


def marks_by_checklist() -> list[pgtrigger.Trigger]:
    """For the checklist, from which zeros follow on all nights of the program."""
    return _marking(
        _WHOLE_PROGRAM.format(program="entry.program_id"),
        "{rows} AS entry",
        "program_id, species_id, listed_from, listed_until",
    )


def marks_by_joint_entry() -> list[pgtrigger.Trigger]:
    """For the members of joint entries, which belong to the catalog of all programs."""
    return _marking(
        _WHOLE_PROGRAM.format(program="program.id"),
        "surveys_program AS program WHERE EXISTS (SELECT FROM {rows} AS member)",
        "joint_id, member_id",
    )
