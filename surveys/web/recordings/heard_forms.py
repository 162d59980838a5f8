"""What somebody hears, species by species."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.models import Species

INDEXES: tuple[tuple[str, Any], ...] = (
    ("", gettext_lazy("Not heard")),
    ("1", "1"),
    ("2", "2"),
    ("3", "3"),
)


class HeardForm(Form):
    """A field for each species, by its code; `recordings/heard_fields.html` shows them."""

    indexes: ClassVar[tuple[tuple[str, Any], ...]] = INDEXES

    def __init__(self, *args: Any, species: Sequence[Species], **options: Any) -> None:
        super().__init__(*args, **options)
        self.codes = [one.code for one in species]
        for one in species:
            self.fields[self.name_of(one.code)] = forms.ChoiceField(
                label=one.name,
                choices=self.indexes,
                required=False,
                widget=forms.RadioSelect,
                initial="",
            )

    @staticmethod
    def name_of(code: str) -> str:
        return f"heard-{code}"

    def species_fields(self) -> Iterator[forms.BoundField]:
        return (self[self.name_of(code)] for code in self.codes)

    @property
    def chosen(self) -> dict[str, str]:
        """Of a valid form: what was chosen by code, without the species that were not heard."""
        given = {code: self.cleaned_data.get(self.name_of(code)) for code in self.codes}
        return {code: index for code, index in given.items() if index}
