"""History by database trigger: every insert, update and delete leaves a row.

New rows are recorded a statement at a time: one by one, those of an archive took ten times as long.
Changed rows are compared one by one, so that not even a new primary key goes unrecorded.
"""

from collections.abc import Callable

import pghistory
import pgtrigger
from django.db import models


def tracked_with(**fields: models.Field) -> Callable[[type[models.Model]], type[models.Model]]:
    """Like `tracked`, with these fields of the history in place of copies of the model's own."""

    def decorate(model: type[models.Model]) -> type[models.Model]:
        return pghistory.track(
            pghistory.InsertEvent(level=pgtrigger.Statement),
            pghistory.UpdateEvent(),
            pghistory.DeleteEvent(),
            attrs=fields,
        )(model)

    return decorate


def tracked(model: type[models.Model]) -> type[models.Model]:
    """Class decorator. A tracker cannot be shared, so each model gets its own."""
    return tracked_with()(model)
