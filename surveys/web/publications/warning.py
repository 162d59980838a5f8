"""What is said to whoever just made places coarser."""

from django.contrib import messages
from django.urls import reverse
from django.utils.html import format_html

from accounts.access import ProgramRequest
from surveys.language import gettext, said_of
from surveys.publishing.withdrawing import too_exact


def warn_of_too_exact(request: ProgramRequest) -> None:
    """A message with a link, when publications now say more than is allowed."""
    program = request.membership.program
    program.refresh_from_db(fields=["place_sharing"])
    number = len(too_exact(program))
    if not number:
        return
    words = said_of(
        "{number} publication gives locations more exactly than is allowed now.",
        "{number} publications give locations more exactly than is allowed now.",
        number,
    )
    link = reverse("web:too_exact", args=[program.slug])
    text = format_html('{} <a href="{}">{}</a>', words, link, gettext("See which"))
    messages.warning(request, text)
