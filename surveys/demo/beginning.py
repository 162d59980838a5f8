"""The history of a demo program begins with its set-up, so that a change of it tells from what."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow

from surveys.models import Program
from surveys.programs.history_kinds import KINDS


def begin_history(program: Program) -> None:
    """Write what the triggers would have written of each thing that the history tells of."""
    for kind in KINDS:
        scope = "pk" if kind.scope == "pgh_obj_id" else kind.scope
        fields = [field.attname for field in kind.model._meta.concrete_fields]
        kind.events.objects.bulk_create(
            kind.events(
                pgh_obj_id=row.pk,
                pgh_label="insert",
                **{name: getattr(row, name) for name in fields},
            )
            for row in kind.model.objects.filter(**{scope: program.pk}).order_by("pk")
        )
        # As the triggers write it: when the transaction began.
        kind.events.objects.filter(**{kind.scope: program.pk}).update(
            pgh_created_at=TransactionNow()
        )
