"""Where to report a weakness of this site: /.well-known/security.txt, as RFC 9116 has it."""

import datetime as dt

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core import checks
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

# "recommended to be less than a year into the future", RFC 9116, section 2.5.5
_FURTHEST = dt.timedelta(days=366)


@login_not_required
@require_safe
def security_txt(request: HttpRequest) -> HttpResponse:
    """Whom to write to and until when that holds; 404 where nobody was named."""
    if not settings.SECURITY_CONTACTS:
        raise Http404
    expires = settings.SECURITY_EXPIRES.astimezone(dt.UTC)
    fields = [
        *(("Contact", _as_uri(contact)) for contact in settings.SECURITY_CONTACTS),
        ("Expires", f"{expires:%Y-%m-%dT%H:%M:%SZ}"),
        ("Preferred-Languages", "en"),
    ]
    if request.is_secure():
        fields.append(("Canonical", request.build_absolute_uri(request.path)))
    text = "".join(f"{name}: {value}\r\n" for name, value in fields)
    return HttpResponse(text, content_type="text/plain; charset=utf-8")


def _as_uri(contact: str) -> str:
    return contact if ":" in contact else f"mailto:{contact}"


def check_expires(**options: object) -> list[checks.CheckMessage]:
    """A file past its day tells readers not to trust it."""
    if not settings.SECURITY_CONTACTS:
        return []
    left = settings.SECURITY_EXPIRES - dt.datetime.now(dt.UTC)
    if dt.timedelta(0) < left < _FURTHEST:
        return []
    day = settings.SECURITY_EXPIRES.date()
    words = "is past" if left < dt.timedelta(0) else "is more than a year away"
    return [
        checks.Warning(
            f"DUSKPOOL_SECURITY_EXPIRES, {day}, {words}: security.txt is not trusted then.",
            hint="See that the contact is still right, then set a day within the next year.",
            id="duskpool.W001",
        )
    ]
