"""Bringing what a verb refuses to the field of the form that it concerns."""

from collections.abc import Callable
from typing import TypeVar

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from accounts.edit_conflicts import EditConflict

T = TypeVar("T")


def put_on_form(form: forms.Form, refusal: ValidationError) -> None:
    """Each message goes to its field; messages of fields the form lacks go on top."""
    if not hasattr(refusal, "error_dict"):
        form.add_error(None, refusal)
        return
    for name, messages in refusal.message_dict.items():
        known = name in form.fields and name != NON_FIELD_ERRORS
        form.add_error(name if known else None, messages)


def tried(form: forms.Form, verb: Callable[..., T], *args: object, **facts: object) -> T | None:
    """The verb's answer, or None when it refused: the form then says why."""
    try:
        return verb(*args, **facts)
    except EditConflict as refusal:
        form.changed_meanwhile(refusal)
        form.add_error(None, refusal)
        return None
    except ValidationError as refusal:
        put_on_form(form, refusal)
        return None
