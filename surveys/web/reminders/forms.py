"""The form of a kind of reminder."""

from django import forms
from django.forms import model_to_dict
from django.utils.translation import gettext_lazy

from surveys.models import ReminderSetting
from surveys.web.forms.seen import SeenForm


class ReminderForm(SeenForm):
    active = forms.BooleanField(label=gettext_lazy("Send this reminder"), required=False)
    subject = forms.CharField(
        label=gettext_lazy("Subject"),
        max_length=150,
        required=False,
        help_text=gettext_lazy("Leave empty for the standard one."),
    )
    text = forms.CharField(
        label=gettext_lazy("Text"),
        max_length=5000,
        required=False,
        help_text=gettext_lazy("Leave empty for the standard one."),
        widget=forms.Textarea(attrs={"rows": 12}),
    )

    def __init__(self, *args: object, setting: ReminderSetting, **options: object) -> None:
        super().__init__(*args, initial=model_to_dict(setting, fields=self.base_fields), **options)
