"""Joining links: made and printed by coordinators, opened by whoever has one."""

from io import BytesIO

import qrcode
from allauth.core.internal import ratelimit
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from qrcode.image.svg import SvgPathImage

from accounts import joining_links as verbs
from accounts.access import Permission, ProgramRequest, needs
from accounts.invitations import InvitationError
from accounts.models import JoiningLink
from surveys import dates
from surveys.language import gettext, said
from surveys.web.forms.refusals import run_verb
from surveys.web.people.forms import AskToJoinForm, JoiningLinkForm


def _svg(link: JoiningLink, request: HttpRequest) -> bytes:
    """A QR code (ISO/IEC 18004) of the link."""
    out = BytesIO()
    qrcode.make(_url(link, request), image_factory=SvgPathImage).save(out)
    return out.getvalue()


def _url(link: JoiningLink, request: HttpRequest) -> str:
    return verbs.url_of(link, request.build_absolute_uri("/"))


# --- For coordinators -------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def links(request: ProgramRequest) -> HttpResponse:
    """The links of the program; posting makes another one."""
    form = JoiningLinkForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        link = run_verb(form, verbs.make_link, request.membership, **form.cleaned_data)
        if link:
            messages.success(
                request, said("The link is valid until {day}.", day=dates.day(link.expires_at))
            )
            return redirect("web:joining_links", program=request.membership.program.slug)
    rows = verbs.links_of(request.membership.program)
    for link in rows:
        link.url = _url(link, request)
    return render(
        request, "people/joining_links.html", {"section": "people", "form": form, "links": rows}
    )


@require_GET
@needs(Permission.MANAGE)
def poster(request: ProgramRequest, link: int) -> HttpResponse:
    """A page to print and hang up."""
    found = verbs.link_of(request.membership, link)
    drawn = _svg(found, request).decode()
    context = {
        "link": found,
        "url": _url(found, request),
        # Our own drawing of an address that we made; without the head of a file.
        "qr_code": SafeString(drawn[drawn.index("<svg") :]),
    }
    return render(request, "people/poster.html", context)


@require_GET
@needs(Permission.MANAGE)
def qr_code(request: ProgramRequest, link: int) -> HttpResponse:
    """For a poster of one's own."""
    found = verbs.link_of(request.membership, link)
    name = f"{request.membership.program.slug}-join.svg"
    return HttpResponse(
        _svg(found, request),
        content_type="image/svg+xml",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_POST
@needs(Permission.MANAGE)
def revoke(request: ProgramRequest, link: int) -> HttpResponse:
    withdrawn = verbs.withdraw_link(request.membership, link)
    messages.success(
        request, said("The link “{name}” no longer opens anything.", name=withdrawn.name)
    )
    return redirect("web:joining_links", program=request.membership.program.slug)


# --- For whoever has a link -------------------------------------------------------


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, token: str) -> HttpResponse:
    """Asks for an address and has an invitation mailed there. Public on purpose."""
    try:
        link = verbs.find_link(token)
        dates.use(link.program.date_style)
        verbs.check_usable(link)
    except Http404 as unknown:
        return _refused(request, str(unknown), status=404)
    except InvitationError as refusal:
        return _refused(request, str(refusal), status=410)
    form = AskToJoinForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        email = form.cleaned_data["email"].lower()
        if not _may_ask(request, link, email):
            form.add_error(
                None, gettext("Too many people asked with this link just now. Try again later.")
            )
            return _asking(request, link, form, status=429)
        verbs.ask_to_join(link, **form.cleaned_data, site_url=request.build_absolute_uri("/"))
        return render(request, "people/asked_to_join.html", {"link": link, "email": email})
    return _asking(request, link, form)


def _may_ask(request: HttpRequest, link: JoiningLink, email: str) -> bool:
    """By client, link and address, so that nobody is flooded with mail; the same for every
    address."""
    return all(
        ratelimit.consume(request, app="allauth.account", action=action, key=key)
        for action, key in (("join", f"{link.pk}"), ("join_address", f"join {email}"))
    )


def _asking(
    request: HttpRequest, link: JoiningLink, form: AskToJoinForm, *, status: int = 200
) -> HttpResponse:
    return render(request, "people/ask_to_join.html", {"link": link, "form": form}, status=status)


def _refused(request: HttpRequest, why: str, *, status: int) -> HttpResponse:
    return render(request, "people/invitation_refused.html", {"why": why}, status=status)
