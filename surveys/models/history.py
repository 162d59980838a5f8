"""History by database trigger: every insert, update and delete leaves a row."""

import pghistory
from django.db import models


def tracked(model: type[models.Model]) -> type[models.Model]:
    """Class decorator. A tracker cannot be shared, so each model gets its own."""
    return pghistory.track(
        pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent()
    )(model)
