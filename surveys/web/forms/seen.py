"""Forms that come back with what their row said when they were opened."""

import datetime as dt

from django import forms
from django.core import signing
from django.http import QueryDict
from django.utils import timezone

from accounts.edit_conflicts import (
    EditConflict,
    Facts,
    Seen,
)

FIELD = "seen"
_SALT = "facts that a form was made from"


def packed(facts: Facts) -> str:
    """The facts and this moment, as a text that goes out with the form and comes back."""
    told = {"facts": dict(facts), "at": timezone.now().isoformat()}
    return signing.dumps(told, salt=_SALT, compress=True)


def unpacked(text: str) -> Seen:
    """What `packed` was given; no facts when the text is not whole."""
    try:
        told = signing.loads(text, salt=_SALT)
        return Seen(facts=told["facts"], at=dt.datetime.fromisoformat(told["at"]))
    except (signing.BadSignature, KeyError, TypeError, ValueError):
        return Seen(facts=None)


class SeenForm(forms.Form):
    """A form about a row that somebody else may save first.

    The view calls `show` with the facts of the row; the template writes `seen_text` into a
    hidden field, and what comes back is `seen`. `meanwhile` says what others changed: then
    `seen_text` is what holds now, so that saving again is saving on top of it.
    """

    seen: Seen | None = None
    seen_text = ""
    meanwhile: EditConflict | None = None

    def show(self, facts: Facts) -> None:
        if isinstance(self.data, QueryDict) and self.is_bound:
            self.seen_text = self.data.get(FIELD, "")
            self.seen = unpacked(self.seen_text)
        else:
            self.seen_text = packed(facts)

    def changed_meanwhile(self, refusal: EditConflict) -> None:
        self.meanwhile = refusal
        self.seen_text = packed(refusal.now)
