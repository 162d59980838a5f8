"""What a form says of an entry that is missing or that it cannot take, and how to fix it.

Django's own sentences ("This field is required.", "Select a valid choice.") do not say what to do.
The page shows the name of the field beside each sentence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

_NO_FILE = _("No file is chosen. Choose one.")
_NUL = "null_characters_not_allowed"
_CANNOT_BE_SAVED = _("This contains a character that cannot be saved. Type it again.")
# By kind of field and code of the error; a kind comes after those that it is derived from.
_MESSAGES: tuple[tuple[type[forms.Field], Mapping[str, str]], ...] = (
    (forms.Field, {"required": _("This is missing. Fill it in.")}),
    (
        forms.CharField,
        {
            "max_length": _("This has %(show_value)d characters. Shorten it to %(limit_value)d."),
            "min_length": _("This has %(show_value)d characters. Write %(limit_value)d or more."),
            _NUL: _CANNOT_BE_SAVED,
        },
    ),
    (
        forms.EmailField,
        {"invalid": _("This is not a full email address. Write it like name@example.org.")},
    ),
    (
        forms.IntegerField,
        {
            "invalid": _("This is not a whole number. Write it in digits, such as 12."),
            "min_value": _("This is too low. Write %(limit_value)s or more."),
            "max_value": _("This is too high. Write %(limit_value)s or less."),
        },
    ),
    (forms.FloatField, {"invalid": _("This is not a number. Write it in digits, such as 12.5.")}),
    (
        forms.DecimalField,
        {
            "invalid": _("This is not a number. Write it in digits, such as 12.5."),
            "max_digits": _("This has too many digits. Write it with %(max)s or fewer."),
            "max_decimal_places": _("Round this to %(max)s digits after the decimal point."),
            "max_whole_digits": _(
                "This is too high. Write it with %(max)s or fewer digits before the decimal point."
            ),
        },
    ),
    (
        forms.DateTimeField,
        {"invalid": _("This is not a date and time. Write it like 2025-04-15 21:14.")},
    ),
    (forms.JSONField, {"invalid": _("This answer did not arrive. Try again.")}),
    (forms.BooleanField, {"required": _("Check this box to continue.")}),
    (
        forms.ChoiceField,
        {
            "required": _("No answer is chosen. Choose one."),
            "invalid_choice": _("“%(value)s” is not one of the choices. Choose one from the list."),
        },
    ),
    (
        forms.MultipleChoiceField,
        {
            "required": _("Nothing is checked. Check at least one box."),
            "invalid_list": _("These answers did not arrive. Choose them again."),
        },
    ),
    (
        forms.FileField,
        {
            "required": _NO_FILE,
            "missing": _NO_FILE,
            "invalid": _("The file did not arrive. Choose it again."),
            "empty": _("The file is empty. Choose another one."),
            "max_length": _("The name of the file is too long. Shorten it to %(max)d characters."),
        },
    ),
)


class HelpfulErrors:
    """For forms: gives every field the sentences above in place of Django's. A sentence that the
    field brings itself stays."""

    def full_clean(self) -> None:
        for field in self.fields.values():
            for one in _with_parts(field):
                _replace_stock_messages(one)
        super().full_clean()

    def add_error(self, field: str | None, error: ValidationError | str) -> None:
        """A field whose choices are rows says this without a look at its messages."""
        if getattr(error, "code", None) == _NUL:
            error = ValidationError(_CANNOT_BE_SAVED, code=_NUL)
        super().add_error(field, error)


class Form(HelpfulErrors, forms.Form):
    """The form that all forms of this site are derived from."""


def _with_parts(field: forms.Field) -> Iterator[forms.Field]:
    yield field
    if isinstance(field, forms.MultiValueField):
        for part in field.fields:
            yield from _with_parts(part)


def _replace_stock_messages(field: forms.Field) -> None:
    ours: dict[str, str] = {}
    for kind, messages in _MESSAGES:
        if isinstance(field, kind):
            ours |= messages
    for code, message in ours.items():
        if _is_stock(field, code):
            field.error_messages[code] = message


def _is_stock(field: forms.Field, code: str) -> bool:
    """Whether Django wrote the message: the field and its own classes have none for the code."""
    for kind in type(field).__mro__:
        messages = vars(kind).get("default_error_messages", {})
        if code in messages:
            is_django = kind.__module__.startswith("django.")
            return is_django and field.error_messages.get(code) is messages[code]
    return code not in field.error_messages
