"""Operations on many models. Django renders the models anew after each operation, with all that they
are related to, which for forty tables one by one takes longer than to make them."""

import pgtrigger.migrations
from django.db.migrations.operations.base import Operation


class CreateModels(Operation):
    """The operations `CreateModel` of models that may refer to each other."""

    def __init__(self, operations):
        self.operations = operations

    def state_forwards(self, app_label, state):
        state.clear_delayed_apps_cache()
        state.__dict__.pop("apps", None)
        for operation in self.operations:
            operation.state_forwards(app_label, state)

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        for operation in self.operations:
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        for operation in reversed(self.operations):
            operation.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self):
        return f"Create {len(self.operations)} models"


class AddTriggers(Operation):
    """The triggers that the options of the app's models name."""

    def state_forwards(self, app_label, state):
        pass

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        for operation in _triggers(app_label, to_state):
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        for operation in _triggers(app_label, from_state):
            operation.database_backwards(app_label, schema_editor, to_state, from_state)

    def describe(self):
        return "Add the triggers of all models"


def _triggers(app_label, state):
    return [
        pgtrigger.migrations.AddTrigger(model.name, trigger)
        for (label, _), model in state.models.items()
        if label == app_label
        for trigger in model.options.get("triggers", [])
    ]
