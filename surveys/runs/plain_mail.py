"""Plain-text mail to one person, as the tasks of the worker send it."""

from django.conf import settings
from django.core.mail import send_mail

from surveys.language import said


def mail_to(name: str, address: str, subject: str, *paragraphs: str) -> None:
    """Paragraphs after a greeting by name."""
    send_mail(
        subject=subject,
        message="\n\n".join([said("Hello {name},", name=name), *paragraphs]) + "\n",
        from_email=settings.DEFAULT_FROM_EMAIL,
        recipient_list=[address],
    )


def quoted(text: str) -> str:
    """Set apart from the lines around it: what somebody wrote, or an address to open."""
    return "\n".join(f"    {line}" for line in text.splitlines())
