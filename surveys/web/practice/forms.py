"""An answer in practice: one species, several, or a call index."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import said
from surveys.models import Species
from surveys.sound.questions import Kind, Question
from surveys.web.calls.shown import CALLERS

_ASKED = {
    Kind.WHICH_ONE: gettext_lazy("Which species calls?"),
    Kind.WHICH_OF_THESE: gettext_lazy("Which of these call? Check each one that you hear."),
}


class PracticeForm(Form):
    """`named` has the species that were named, by code, each with an index where it was asked."""

    def __init__(
        self,
        *data: Any,
        question: Question,
        species: Mapping[str, Species],
        token: str,
        **options: Any,
    ) -> None:
        super().__init__(*data, **options)
        self.question = question
        self.fields["question"] = forms.CharField(widget=forms.HiddenInput, initial=token)
        self.fields["answer"] = self._answer_field(species)

    def _answer_field(self, species: Mapping[str, Species]) -> forms.Field:
        kind, codes = self.question.kind, self.question.choices
        if kind is Kind.WHICH_INDEX:
            label = said("What is the call index of {species}?", species=species[codes[0]].name)
            return forms.ChoiceField(label=label, choices=CALLERS, widget=forms.RadioSelect)
        choices = [(code, species[code].name) for code in codes]
        if kind is Kind.WHICH_OF_THESE:
            return forms.MultipleChoiceField(
                label=_ASKED[kind], choices=choices, widget=forms.CheckboxSelectMultiple
            )
        return forms.ChoiceField(label=_ASKED[kind], choices=choices, widget=forms.RadioSelect)

    @property
    def named(self) -> dict[str, int | None]:
        given = self.cleaned_data["answer"]
        if self.question.kind is Kind.WHICH_INDEX:
            return {self.question.choices[0]: int(given)}
        return dict.fromkeys(given if isinstance(given, list) else [given])
