"""Operations after which Django need not render the models anew, with all that they are related to:
for forty tables and a hundred triggers one by one that takes longer than to make them."""

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


class AddTrigger(pgtrigger.migrations.AddTrigger):
    """Nothing in rendered models depends on their triggers."""

    def state_forwards(self, app_label, state):
        options = state.models[app_label, self.model_name].options
        options["triggers"] = [*options.get("triggers", []), self.trigger]


class RemoveTrigger(pgtrigger.migrations.RemoveTrigger):
    """Nothing in rendered models depends on their triggers."""

    def state_forwards(self, app_label, state):
        options = state.models[app_label, self.model_name].options
        options["triggers"] = [one for one in options["triggers"] if one.name != self.name]


class ReplaceTrigger(AddTrigger):
    """A trigger in place of the one of the same name, in one transaction: no row is missed."""

    def state_forwards(self, app_label, state):
        RemoveTrigger(self.model_name, self.trigger.name).state_forwards(app_label, state)
        super().state_forwards(app_label, state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        options = to_state.models[app_label, self.model_name].options
        (before,) = (one for one in options["triggers"] if one.name == self.trigger.name)
        AddTrigger(self.model_name, before).database_forwards(
            app_label, schema_editor, from_state, to_state
        )

    def describe(self):
        return f"Replace trigger {self.trigger.name} on model {self.model_name}"


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
        AddTrigger(model.name, trigger)
        for (label, _), model in state.models.items()
        if label == app_label
        for trigger in model.options.get("triggers", [])
    ]
