"""What is said of a finding: a message, and what the observer can do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from surveys.language import Plural
from surveys.language import gettext_noop as _


@dataclass(frozen=True)
class Sentence:
    """Marked texts with places for the parameters of the finding. `remedy` is said sentence by
    sentence, so that those that many findings share are translated once."""

    message: str | Plural
    remedy: tuple[str, ...] = ()


Sentences = Mapping[str, Sentence]

LEAVE_IT = _("If it is right, leave it as is. The coordinator will decide whether it counts.")


def key_of(code: str, variant: str = "") -> str:
    """Where the tables have the sentence of a finding: `unknown-stop`, `unknown-stop.no-stops`."""
    return f"{code}.{variant}" if variant else code
