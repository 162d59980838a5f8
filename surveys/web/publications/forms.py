"""The publish form."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said, said_of
from surveys.publishing.publish import Preview
from surveys.publishing.upcoming import Upcoming, check_reason


class WithdrawForm(Form):
    reason = forms.CharField(
        label=gettext_lazy("Why it is withdrawn"),
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text=gettext_lazy(
            "People who cited it will see this instead. Do not name an exact location."
        ),
        error_messages={"required": gettext_lazy("Say why. People who cited it need to know.")},
    )
    sure = forms.BooleanField(
        label=gettext_lazy("Delete its files permanently"),
        error_messages={"required": gettext_lazy("Check this box to withdraw it.")},
    )


class PublishForm(Form):
    """`seen` is the checksum of the table on the screen; `without_open` appears only while
    visits wait, `reason` only for a correction. `without_gone` is there where visits drop out,
    `as_it_is` after a reason that does not fit what changes."""

    seen = forms.CharField(widget=forms.HiddenInput)
    without_open = forms.BooleanField(
        label=gettext_lazy("Publish without the visits that are still in review")
    )
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text=gettext_lazy(
            "Readers of the earlier version see this, such as: two visits from 2023 came in late."
        ),
    )
    without_gone = forms.BooleanField()
    as_it_is = forms.BooleanField(
        label=gettext_lazy("Publish with the reason as it is"),
        required=False,
        widget=forms.HiddenInput,
    )

    def __init__(
        self,
        *args: Any,
        preview: Preview,
        open_count: int,
        changes: Upcoming | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.changes = changes
        if changes and changes.visits.went:
            self.fields["without_gone"].label = said_of(
                "Publish without the {number} visit that drops out",
                "Publish without the {number} visits that drop out",
                len(changes.visits.went),
            )
            self.fields["without_gone"].error_messages["required"] = gettext(
                "Check this box if they are to drop out, and say why in the reason."
            )
        else:
            del self.fields["without_gone"]
        if open_count:
            self.fields["without_open"].label = said_of(
                "Publish without the {number} visit that is still in review",
                "Publish without the {number} visits that are still in review",
                open_count,
            )
            self.fields["without_open"].error_messages["required"] = gettext(
                "Check this box to publish without them, or review them first."
            )
        else:
            del self.fields["without_open"]
        if preview.previous:
            self.fields["reason"].label = said(
                "Why does this version replace version {version}?", version=preview.previous.version
            )
            self.fields["reason"].error_messages["required"] = gettext(
                "Say why. Readers of the earlier version need to know."
            )
        else:
            del self.fields["reason"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if self.changes and cleaned.get("reason") and not cleaned.get("as_it_is"):
            try:
                check_reason(cleaned["reason"], self.changes)
            except forms.ValidationError as doubt:
                self.fields["as_it_is"].widget = forms.CheckboxInput()
                self.add_error("reason", doubt)
        return cleaned
