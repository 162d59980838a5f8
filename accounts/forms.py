"""Forms of django-allauth that are stricter here."""

from allauth.account.forms import ResetPasswordForm
from allauth.account.models import EmailAddress


class ResetForm(ResetPasswordForm):
    """Sends the link to confirmed addresses only, whatever else an account holds."""

    def clean_email(self) -> str:
        email = super().clean_email().lower()
        confirmed = EmailAddress.objects.select_related("user").filter(
            email=email, verified=True, user__is_active=True
        )
        self.users = [address.user for address in confirmed]
        return email
