"""Forms of django-allauth that are stricter here."""

from allauth.account.forms import ResetPasswordForm
from django.http import HttpRequest

from accounts.mailing import queue_reset_link


class ResetForm(ResetPasswordForm):
    """Sends the link to confirmed addresses only, and looks for none while somebody waits."""

    def clean_email(self) -> str:
        return self.cleaned_data["email"]

    def save(self, request: HttpRequest, **_: object) -> str:
        email = self.cleaned_data["email"]
        queue_reset_link(email, site_url=request.build_absolute_uri("/"))
        return email
