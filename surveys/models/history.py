"""History by database trigger: every insert, update and delete leaves a row.

New rows are recorded a statement at a time: one by one, those of an archive took ten times as long.
Changed rows are compared one by one, so that not even a new primary key goes unrecorded.
"""

from collections.abc import Callable

import pghistory
import pghistory.trigger
import pgtrigger
from django.db import models


class _EventOfChangedKeys(pghistory.trigger.Event):
    """Of a JSON object, only what changed of it."""

    def __init__(self, *, column: str, **options: object) -> None:
        self.column = column
        super().__init__(**options)

    def get_func(self, model: type[models.Model]) -> pgtrigger.Func:
        whole = f'NEW."{self.column}"'
        func = super().get_func(model).func
        assert whole in func
        return pgtrigger.Func(
            func.replace(whole, f'surveys_changed_keys(OLD."{self.column}", {whole})')
        )


class UpdateOfKeysEvent(pghistory.UpdateEvent):
    """An update of which the history keeps, in a column with a JSON object, the keys that changed
    and their new values, null where a key was removed. Another label than that of whole rows."""

    def __init__(self, column: str) -> None:
        self.column = column
        super().__init__("change")

    def add_event_trigger(self, event_model: type[models.Model]) -> None:
        pgtrigger.register(
            _EventOfChangedKeys(
                column=self.column,
                event_model=event_model,
                label=self.label,
                name=self.trigger_name,
                row=self.row,
                operation=self.operation,
                condition=self.condition,
                level=self.level,
            )
        )(event_model.pgh_tracked_model)


def tracked_with(
    update: pghistory.UpdateEvent | None = None, **fields: models.Field
) -> Callable[[type[models.Model]], type[models.Model]]:
    """Like `tracked`, with these fields of the history in place of copies of the model's own."""

    def decorate(model: type[models.Model]) -> type[models.Model]:
        return pghistory.track(
            pghistory.InsertEvent(level=pgtrigger.Statement),
            update or pghistory.UpdateEvent(),
            pghistory.DeleteEvent(),
            attrs=fields,
        )(model)

    return decorate


def tracked(model: type[models.Model]) -> type[models.Model]:
    """Class decorator. A tracker cannot be shared, so each model gets its own."""
    return tracked_with()(model)
