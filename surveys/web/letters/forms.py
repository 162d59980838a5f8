"""Forms of a letter to a group: whom it is for, and what it says."""

import uuid
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.models import LetterGroup, Program
from surveys.reminders.groups import Reader
from surveys.reminders.letters import first_words
from surveys.reminders.texts import Words


class GroupForm(Form):
    """In the address, so that the desk can lead to a group."""

    group = forms.TypedChoiceField(
        label=gettext_lazy("Group"), choices=LetterGroup.choices, coerce=LetterGroup
    )
    region = forms.ChoiceField(label=gettext_lazy("Region of the routes"), required=False)

    def __init__(self, data: Any, program: Program) -> None:
        super().__init__(data)
        regions = program.routes.exclude(region="").order_by("region").values_list("region")
        names = [region for (region,) in regions.distinct()]
        self.fields["region"].choices = [("", gettext("All regions")), *((n, n) for n in names)]


def is_first(words: Words, group: LetterGroup) -> bool:
    """Whether these are the words with which a letter to the group begins."""
    first = first_words(group)
    return (words.subject.strip(), words.text.strip()) == (
        first.subject.strip(),
        first.text.strip(),
    )


class LetterForm(Form):
    key = forms.UUIDField(widget=forms.HiddenInput)
    chosen = forms.TypedMultipleChoiceField(
        label=gettext_lazy("Who gets it"),
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": gettext_lazy("Choose at least one person."),
            "invalid_choice": gettext_lazy(
                "Someone is no longer in this group. Check the list, then send the email."
            ),
        },
    )
    subject = forms.CharField(label=gettext_lazy("Subject"), max_length=150)
    text = forms.CharField(
        label=gettext_lazy("Text"),
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 12}),
    )

    def __init__(
        self,
        data: Any,
        group: LetterGroup,
        readers: Sequence[Reader],
        written: Words | None = None,
    ) -> None:
        """Begins with the words that were `written` for another group, if there are any."""
        words = written or first_words(group)
        initial = {
            "key": uuid.uuid4(),
            "chosen": [reader.member.pk for reader in readers],
            "subject": words.subject.strip(),
            "text": words.text,
        }
        super().__init__(data, initial=initial)
        self.fields["chosen"].choices = [
            (reader.member.pk, reader.member.person.name) for reader in readers
        ]

    @property
    def words(self) -> Words:
        return Words(subject=self.cleaned_data["subject"], text=self.cleaned_data["text"])
