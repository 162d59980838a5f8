"""Forms of django-allauth, stricter here or in the words of this site."""

from allauth.account.forms import (
    ChangePasswordForm,
    LoginForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SetPasswordForm,
)
from django import forms
from django.http import HttpRequest

from accounts.mailing import queue_reset_link
from surveys.language import gettext


class SignInForm(LoginForm):
    """Offers to stay signed in, which a phone in the field needs."""

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["remember"].initial = True


class _NewPassword(forms.Form):
    """A new password, typed twice."""

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        labels = {
            "oldpassword": gettext("Current password"),
            "password1": gettext("New password"),
            "password2": gettext("Repeat the new password"),
        }
        for name, field in self.fields.items():
            field.label = labels[name]
            field.widget.attrs.pop("placeholder", None)


class NewPasswordForm(_NewPassword, ChangePasswordForm):
    """In place of the old one."""


class FirstPasswordForm(_NewPassword, SetPasswordForm):
    """For someone who has none."""


class ForgottenPasswordForm(_NewPassword, ResetPasswordKeyForm):
    """By the link that was mailed."""


class ResetForm(ResetPasswordForm):
    """Sends the link to confirmed addresses only, and looks for none while somebody waits."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"]

    def save(self, request: HttpRequest, **_: object) -> str:
        email = self.cleaned_data["email"]
        queue_reset_link(email, site_url=request.build_absolute_uri("/"))
        return email
