"""Django's own sentences about entries of forms: neither what is missing nor what to do."""

import html
import re
from functools import cache
from inspect import getmembers, isclass

from django.core import validators
from django.db.models import fields as model_fields
from django.forms import fields, formsets
from django.forms import models as form_models


@cache
def _pattern() -> re.Pattern[str]:
    sentences = set()
    for module in (fields, form_models, model_fields, formsets):
        for _, kind in getmembers(module, isclass):
            sentences |= set(map(str, vars(kind).get("default_error_messages", {}).values()))
    for _, kind in getmembers(validators, isclass):
        message = vars(kind).get("message", "")
        sentences |= {str(message)} if isinstance(message, str) or message else set()
    # What they are filled with may be anything; parts of two words could stand anywhere.
    parts = {part for text in sentences for part in re.split(r"%\(\w+\)[sd]|[“”]", text)}
    long = sorted(part.strip() for part in parts if len(part.split()) > 2)
    return re.compile("|".join(map(re.escape, long)))


def stock_sentence(page: str) -> str:
    """One of Django's sentences that the page shows; blank where there is none."""
    found = _pattern().search(html.unescape(page))
    return found[0] if found else ""
