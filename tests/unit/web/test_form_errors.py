"""Forms say what is missing or wrong and how to fix it, in our words and not in Django's."""

import pytest
from django import forms
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import get_resolver
from django.utils.module_loading import import_string

from accounts.form_errors import Form, HelpfulErrors
from surveys.models import Species
from surveys.web.forms.fields import DateField, MonthDayField
from tests.support.stock_sentences import stock_sentence

ANSWERS = [("a", "A"), ("b", "B")]
FIELDS = {
    "text": lambda: forms.CharField(max_length=4, min_length=2),
    "email": forms.EmailField,
    "whole": lambda: forms.IntegerField(min_value=2, max_value=9),
    "number": lambda: forms.DecimalField(max_digits=4, decimal_places=2, min_value=0),
    "float": forms.FloatField,
    "check": forms.BooleanField,
    "choice": lambda: forms.ChoiceField(choices=ANSWERS),
    "choices": lambda: forms.MultipleChoiceField(choices=ANSWERS),
    "row": lambda: forms.ModelChoiceField(Species.objects.none()),
    "rows": lambda: forms.ModelMultipleChoiceField(Species.objects.none()),
    "file": lambda: forms.FileField(max_length=6),
    "json": forms.JSONField,
    "moment": forms.DateTimeField,
    "date": DateField,
    "month_day": MonthDayField,
}


def message(kind, **data):
    """The only message of a form with one field."""
    form = type("One", (Form,), {kind: FIELDS[kind]()})
    files = {kind: data.pop("file")} if "file" in data else {}
    (messages,) = form({kind: data["typed"]} if "typed" in data else {}, files).errors.values()
    (only,) = messages
    return only


@pytest.mark.parametrize("kind", FIELDS)
def test_a_field_that_is_left_empty(kind):
    assert stock_sentence(message(kind)) == ""


@pytest.mark.parametrize(
    ("kind", "typed", "words"),
    [
        ("text", "too long", "This has 8 characters. Shorten it to 4."),
        ("text", "x", "This has 1 characters. Write 2 or more."),
        ("text", "a\x00b", "contains a character that cannot be saved"),
        ("row", "a\x00b", "contains a character that cannot be saved"),
        ("rows", ["a\x00b"], "contains a character that cannot be saved"),
        ("email", "nell@", "Write it like name@example.org."),
        ("whole", "two", "This is not a whole number. Write it in digits, such as 12."),
        ("whole", "1", "This is too low. Write 2 or more."),
        ("whole", "10", "This is too high. Write 9 or less."),
        ("number", "x", "This is not a number. Write it in digits, such as 12.5."),
        ("number", "1.234", "Round this to 2 digits after the decimal point."),
        ("number", "123", "This is too high. Write it with 2 or fewer digits before"),
        ("float", "x", "This is not a number."),
        ("choice", "c", "“c” is not one of the choices. Choose one from the list."),
        ("choices", ["a", "c"], "“c” is not one of the choices."),
        ("json", "{", "This answer did not arrive."),
        ("moment", "soon", "This is not a date and time."),
        ("date", "soon", "“soon” is not a date."),
    ],
)
def test_an_entry_that_cannot_be_taken(kind, typed, words):
    found = message(kind, typed=typed)
    assert words in found
    assert stock_sentence(found) == ""


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (SimpleUploadedFile("a.csv", b""), "The file is empty. Choose another one."),
        (SimpleUploadedFile("too-long.csv", b"x"), "Shorten it to 6 characters."),
    ],
)
def test_a_file_that_cannot_be_taken(file, words):
    assert words in message("file", file=file)


def test_a_sentence_of_the_field_itself_stays():
    form = type("One", (Form,), {"why": forms.CharField(error_messages={"required": "Say why."})})
    assert form({}).errors["why"] == ["Say why."]
    assert message("date") == "Give a date."


def test_the_form_of_django_is_recognized():
    """So that the tests above can fail."""
    form = type("Stock", (forms.Form,), {kind: make() for kind, make in FIELDS.items()})
    for kind, (only,) in form({}).errors.items():
        assert stock_sentence(only) or kind in ("date", "month_day"), only


def test_every_form_of_this_site_says_it():
    get_resolver().url_patterns  # noqa: B018 - reading it imports every form
    named = [*settings.ACCOUNT_FORMS.values(), *settings.MFA_FORMS.values()]
    ours = {*map(import_string, named), *of_this_site(forms.BaseForm)}
    assert len(ours) > 40
    assert [form for form in ours if not issubclass(form, HelpfulErrors)] == []


def of_this_site(kind):
    for form in kind.__subclasses__():
        if form.__module__.startswith(("accounts.", "surveys.")):
            yield form
        yield from of_this_site(form)
