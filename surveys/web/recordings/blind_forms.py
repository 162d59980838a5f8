"""What somebody hears in a recording without its sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import gettext
from surveys.models import Species
from surveys.web.recordings.heard_forms import INDEXES, HeardForm

NOT_SURE = "?"


class BlindAnswerForm(HeardForm):
    """A field for each species of the checklist, by its code, then the note and two buttons."""

    indexes = (*INDEXES, (NOT_SURE, NOT_SURE))
    note = forms.CharField(label=gettext_lazy("Note"), required=False, max_length=300)
    nothing = forms.BooleanField(
        label=gettext_lazy("I listened to all of it, and none of these species is calling"),
        required=False,
    )
    unusable = forms.BooleanField(
        label=gettext_lazy("I cannot tell what is calling: noise, wind or a poor recording"),
        required=False,
    )

    def __init__(self, *args: Any, species: Sequence[Species], **options: Any) -> None:
        super().__init__(*args, species=species, **options)
        self.order_fields([*map(self.name_of, self.codes), "nothing", "unusable", "note"])

    @property
    def heard(self) -> dict[str, int | None]:
        """Of a valid form: the index by code, None where not sure."""
        return {
            code: None if index == NOT_SURE else int(index) for code, index in self.chosen.items()
        }

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        chosen = [bool(self.heard), cleaned.get("nothing"), cleaned.get("unusable")]
        if not any(chosen):
            raise forms.ValidationError(
                gettext("Choose what you heard, or check one of the two boxes below the species.")
            )
        if sum(map(bool, chosen)) > 1:
            raise forms.ValidationError(
                gettext("These answers contradict each other. Keep the species or one box only.")
            )
        return cleaned
