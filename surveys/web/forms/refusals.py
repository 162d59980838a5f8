"""Shows the errors that a verb raises beside the fields of a form."""

from collections.abc import Callable
from typing import TypeVar

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from accounts.edit_conflicts import EditConflict

T = TypeVar("T")


def add_refusal(form: forms.Form, refusal: ValidationError) -> None:
    """Add each message to its field; messages for fields the form lacks go to the top."""
    if not hasattr(refusal, "error_dict"):
        form.add_error(None, refusal)
        return
    for name, messages in refusal.message_dict.items():
        is_field = name in form.fields and name != NON_FIELD_ERRORS
        form.add_error(name if is_field else None, messages)


def run_verb(form: forms.Form, verb: Callable[..., T], *args: object, **facts: object) -> T | None:
    """The result of the verb, or None when it raised an error, which is added to the form."""
    try:
        return verb(*args, **facts)
    except EditConflict as refusal:
        form.show_conflict(refusal)
        form.add_error(None, refusal)
        return None
    except ValidationError as refusal:
        add_refusal(form, refusal)
        return None
