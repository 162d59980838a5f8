"""Forms of django-allauth that take what a passkey answered, for answers that no passkey gives."""

from typing import Any

from allauth.mfa.adapter import get_adapter
from allauth.mfa.models import Authenticator
from allauth.mfa.webauthn.forms import (
    AddWebAuthnForm,
    AuthenticateWebAuthnForm,
    EditWebAuthnForm,
    LoginWebAuthnForm,
    ReauthenticateWebAuthnForm,
)
from django import forms
from django.core.exceptions import ValidationError
from django.forms.fields import InvalidJSONInput

from accounts.form_errors import Form, HelpfulErrors

# What the libraries raise for JSON that is nested too deep, has numbers without end, or has
# another shape than an answer of a passkey.
_ODD = (ValueError, TypeError, AttributeError, LookupError, RecursionError)


class CredentialField(forms.JSONField):
    def __init__(self) -> None:
        super().__init__(required=True, widget=forms.HiddenInput)

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except (ValueError, RecursionError):
            raise ValidationError(self.error_messages["invalid"], code="invalid") from None

    def bound_data(self, data: Any, initial: Any) -> Any:
        try:
            return super().bound_data(data, initial)
        except (ValueError, RecursionError):
            return InvalidJSONInput(data)


class _Checked(Form):
    credential = CredentialField()

    def clean_credential(self) -> Authenticator:
        try:
            return super().clean_credential()
        except _ODD:
            raise get_adapter().validation_error("incorrect_code") from None


class LoginForm(_Checked, LoginWebAuthnForm):
    pass


class AuthenticateForm(_Checked, AuthenticateWebAuthnForm):
    pass


class ReauthenticateForm(_Checked, ReauthenticateWebAuthnForm):
    pass


class AddForm(HelpfulErrors, AddWebAuthnForm):
    credential = CredentialField()

    def clean(self) -> dict[str, Any]:
        try:
            return super().clean()
        except _ODD:
            raise get_adapter().validation_error("incorrect_code") from None


class NameForm(HelpfulErrors, EditWebAuthnForm):
    """Another name for a passkey."""
