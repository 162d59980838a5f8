"""History by database trigger: every insert, update and delete leaves a row."""

from collections.abc import Callable

import pghistory
from django.db import models


def tracked_with(**fields: models.Field) -> Callable[[type[models.Model]], type[models.Model]]:
    """Like `tracked`, with these fields of the history in place of copies of the model's own."""

    def decorate(model: type[models.Model]) -> type[models.Model]:
        return pghistory.track(
            pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent(), attrs=fields
        )(model)

    return decorate


def tracked(model: type[models.Model]) -> type[models.Model]:
    """Class decorator. A tracker cannot be shared, so each model gets its own."""
    return tracked_with()(model)
