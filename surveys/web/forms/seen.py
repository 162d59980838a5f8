"""Forms that are posted back with the facts of their row at the time they were opened."""

import datetime as dt

from django.core import signing
from django.http import QueryDict
from django.utils import timezone

from accounts.edit_conflicts import (
    EditConflict,
    Facts,
    Seen,
)
from accounts.form_errors import Form

FIELD = "seen"
_SALT = "facts that a form was made from"


def pack_facts(facts: Facts) -> str:
    """The facts and the current time as signed text for a hidden field."""
    payload = {"facts": dict(facts), "at": timezone.now().isoformat()}
    return signing.dumps(payload, salt=_SALT, compress=True)


def unpack_facts(text: str) -> Seen:
    """The reverse of `pack_facts`; without facts when the text is missing or was tampered with."""
    try:
        payload = signing.loads(text, salt=_SALT)
        return Seen(facts=payload["facts"], at=dt.datetime.fromisoformat(payload["at"]))
    except (signing.BadSignature, KeyError, TypeError, ValueError):
        return Seen(facts=None)


class SeenForm(Form):
    """A form for a row that somebody else may save first.

    The view calls `show` with the facts of the row. The template renders `seen_text` in a
    hidden field; when posted, it becomes `seen`. After a conflict, `conflict` holds what others
    changed, and `seen_text` the current facts, so that saving again overwrites their change.
    """

    seen: Seen | None = None
    seen_text = ""
    conflict: EditConflict | None = None

    def show(self, facts: Facts) -> None:
        if isinstance(self.data, QueryDict) and self.is_bound:
            self.seen_text = self.data.get(FIELD, "")
            self.seen = unpack_facts(self.seen_text)
        else:
            self.seen_text = pack_facts(facts)

    def show_conflict(self, refusal: EditConflict) -> None:
        self.conflict = refusal
        self.seen_text = pack_facts(refusal.now)
