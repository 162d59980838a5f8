"""Setting a call-identification test, and answering one of its questions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said_of
from surveys.learning.call_tests import Terms
from surveys.models import Species
from surveys.web.recordings.heard_forms import HeardForm

_VALID_MONTHS = (6, 12, 24, 36)


class TestForm(Form):
    __test__ = False

    species = forms.MultipleChoiceField(
        label=gettext_lazy("Species"), widget=forms.CheckboxSelectMultiple
    )
    questions = forms.IntegerField(
        label=gettext_lazy("Number of questions"),
        min_value=1,
        max_value=200,
        initial=24,
        help_text=gettext_lazy(
            "Each is ten seconds long. With fewer than two for each species, the scores by species "
            "say little."
        ),
    )
    pass_overall = forms.IntegerField(
        label=gettext_lazy("Overall passing score, in percent"),
        min_value=0,
        max_value=100,
        initial=80,
        help_text=gettext_lazy("Of the calls that were there or that were named."),
    )
    pass_species = forms.IntegerField(
        label=gettext_lazy("Passing score for each species, in percent"),
        min_value=0,
        max_value=100,
        initial=50,
    )
    valid_months = forms.TypedChoiceField(
        label=gettext_lazy("Valid for"),
        coerce=int,
        choices=lambda: [
            (months, said_of("{number} month", "{number} months", months))
            for months in _VALID_MONTHS
        ],
        initial=12,
    )
    tries_allowed = forms.IntegerField(
        label=gettext_lazy("Tries for each person"), min_value=1, max_value=100, initial=3
    )

    def __init__(self, *data: Any, species: Sequence[Species], **options: Any) -> None:
        super().__init__(*data, **options)
        self.fields["species"].choices = [(one.code, one.name) for one in species]

    @property
    def terms(self) -> Terms:
        return Terms(**self.cleaned_data)


class QuestionForm(HeardForm):
    """A field for each species of the test, by its code, then a box for none of them."""

    number = forms.IntegerField(widget=forms.HiddenInput)
    nothing = forms.BooleanField(
        label=gettext_lazy("I listened to all of it, and none of these species calls"),
        required=False,
    )

    def __init__(self, *data: Any, species: Sequence[Species], number: int) -> None:
        super().__init__(*data, species=species, initial={"number": number})

    @property
    def named(self) -> dict[str, int | None]:
        return {code: int(index) for code, index in self.chosen.items()}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.named and not cleaned.get("nothing"):
            raise forms.ValidationError(
                gettext("Choose what you heard, or check the box below the species.")
            )
        if self.named and cleaned.get("nothing"):
            raise forms.ValidationError(
                gettext("These answers contradict each other. Keep the species or the box only.")
            )
        return cleaned
