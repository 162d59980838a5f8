"""Forms of django-allauth that are stricter here."""

from allauth.account.forms import LoginForm, ResetPasswordForm
from django.http import HttpRequest

from accounts.mailing import queue_reset_link


class SignInForm(LoginForm):
    """Offers to stay signed in, which a phone in the field needs."""

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["remember"].initial = True


class ResetForm(ResetPasswordForm):
    """Sends the link to confirmed addresses only, and looks for none while somebody waits."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"]

    def save(self, request: HttpRequest, **_: object) -> str:
        email = self.cleaned_data["email"]
        queue_reset_link(email, site_url=request.build_absolute_uri("/"))
        return email
