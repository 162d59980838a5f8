"""Forms of django-allauth, stricter here or in the words of this site."""

from allauth.account.forms import (
    AddEmailForm,
    ChangePasswordForm,
    ConfirmLoginCodeForm,
    LoginForm,
    ReauthenticateForm,
    RequestLoginCodeForm,
    ResetPasswordForm,
    ResetPasswordKeyForm,
    SetPasswordForm,
)
from allauth.mfa.base.forms import AuthenticateForm as CodeForm
from allauth.mfa.base.forms import ReauthenticateForm as CodeAgainForm
from allauth.mfa.totp.forms import ActivateTOTPForm
from django.conf import settings
from django.http import HttpRequest

from accounts.form_errors import Form, HelpfulErrors
from accounts.mailed_codes import code_of
from accounts.mailing import queue_reset_link
from surveys.language import gettext


class SignInForm(HelpfulErrors, LoginForm):
    """Offers to stay signed in, which a phone in the field needs."""

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["remember"].initial = True


class _NewPassword(Form):
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
        self.fields["password1"].widget.attrs["minlength"] = settings.PASSWORD_LENGTHS[0]


class NewPasswordForm(_NewPassword, ChangePasswordForm):
    """In place of the old one."""


class FirstPasswordForm(_NewPassword, SetPasswordForm):
    """For someone who has none."""


class ForgottenPasswordForm(_NewPassword, ResetPasswordKeyForm):
    """By the link that was mailed."""


class ResetForm(HelpfulErrors, ResetPasswordForm):
    """Sends the link to confirmed addresses only, and looks for none while somebody waits."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"]

    def save(self, request: HttpRequest, **_: object) -> str:
        email = self.cleaned_data["email"]
        queue_reset_link(email, site_url=request.build_absolute_uri("/"))
        return email


class AddressForm(HelpfulErrors, AddEmailForm):
    """Another address."""


class PasswordAgainForm(HelpfulErrors, ReauthenticateForm):
    """Before a change that needs a recent sign-in."""


class AskForCodeForm(HelpfulErrors, RequestLoginCodeForm):
    """The address that a sign-in code is mailed to."""


class SignInCodeForm(HelpfulErrors, ConfirmLoginCodeForm):
    """The code that was mailed. `code` is the ticket of the session; without one no code fits."""

    def __init__(self, *args: object, code: str = "", **options: object) -> None:
        super().__init__(*args, code=code_of(code) if code else "", **options)


class SecondStepForm(HelpfulErrors, CodeForm):
    """A code of the authenticator app, or a recovery code."""


class SecondStepAgainForm(HelpfulErrors, CodeAgainForm):
    """The same before a change that needs a recent sign-in."""


class AuthenticatorAppForm(HelpfulErrors, ActivateTOTPForm):
    """The first code of a new authenticator app."""
