"""The phone survey: its page, what it needs to work offline, and the route packet."""

import datetime as dt
import hashlib
import json
from urllib.parse import urlencode
from uuid import UUID

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from accounts.access import (
    Permission,
    ProgramRequest,
    has_ended,
    needs,
)
from surveys.language import gettext, said
from surveys.models import Program, Route
from surveys.programs.regional import cautions_of
from surveys.web.own_static import own_static
from surveys.web.script_texts import script_catalog
from surveys.web.survey.files import (
    OFFLINE_WORKER,
    STYLES,
    WORKER,
    files,
    fingerprint,
    first_modules,
)
from surveys.web.survey.guide import guide_for_phones
from surveys.web.survey.packets import route_packet

# Tells the service worker whether the page belongs to the same version as its files.
VERSION_HEADER = "Survey-Version"


@require_GET
@never_cache
@gzip_page
@needs(Permission.SURVEY)
def shell(request: ProgramRequest) -> HttpResponse:
    """The page that a phone keeps offline. It contains nothing about the person or visits."""
    slug = request.membership.program.slug
    login = f"{reverse('account_login')}?{urlencode({'next': _url('survey', slug)})}"
    page = render(
        request,
        "survey/app.html",
        {
            "styles": [own_static(path) for path in STYLES],
            "modules": first_modules(),
            "config": {
                "slug": slug,
                "program": request.membership.program.name,
                "icons": own_static("web/icons.svg"),
                "here": _url("survey", slug),
                "hello": _url("survey_hello", slug),
                "worker": _url("survey_worker", slug),
                "offline": reverse("web:offline_worker"),
                "guide": _url("survey_guide", slug),
                "tonight": _url("tonight", slug),
                "login": login,
                "logout": f"{reverse('account_logout')}?{urlencode({'next': login})}",
                "packets": _url("survey", slug) + "packets/",
                "visits": reverse("api:visits", kwargs={"program": slug}),
                "check_ins": f"{reverse('api:program', kwargs={'program': slug})}check-ins/",
                "contacts": _url("check_in", slug),
                "practice_answers": (
                    f"{reverse('api:program', kwargs={'program': slug})}practice-answers/"
                ),
                "recordings": reverse("api:recordings", kwargs={"program": slug}),
                "sounds": _recordings_url(slug),
            },
        },
    )
    page.headers[VERSION_HEADER] = _version(request.membership.program)
    return page


@login_not_required
@require_GET
@never_cache
def hello(request: HttpRequest, program: str) -> HttpResponse:
    """The signed-in person, a CSRF token, and the server's time. 410 to a phone whose account or
    membership has ended: it then forgets the places that it keeps."""
    if has_ended(request, program):
        return JsonResponse({"detail": gettext("Your membership has ended.")}, status=410)
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    return _hello(request, program=program)


@needs(Permission.SURVEY)
def _hello(request: ProgramRequest) -> JsonResponse:
    person = request.membership.person
    return JsonResponse(
        {
            "person": {"id": person.pk, "name": person.name},
            "csrf": get_token(request),
            "now": _instant(timezone.now()),
        }
    )


@require_GET
@never_cache
@gzip_page
@needs(Permission.SURVEY)
def packet(request: ProgramRequest, code: str) -> JsonResponse:
    """Everything that a phone needs to survey a route in the coming nights."""
    try:
        content = route_packet(request.membership, code, timezone.now())
    except Route.DoesNotExist as missing:
        raise Http404(gettext("The program has no such route.")) from missing
    if not content["nights"]:
        raise Http404(gettext("No protocol is in effect for this route in the coming nights."))
    return JsonResponse(content)


@require_GET
@never_cache
@needs(Permission.SURVEY)
def worker(request: ProgramRequest) -> HttpResponse:
    """The service worker. It changes whenever a file of the screen changes, so that browsers
    install it again."""
    slug = request.membership.program.slug
    settings = {
        "version": _version(request.membership.program),
        "version_header": VERSION_HEADER,
        "shell": _url("survey", slug),
        "files": files(),
        "texts": [_url("survey_guide", slug)],
        "past": [
            _url("survey_hello", slug),
            reverse("api:visits", kwargs={"program": slug}) + "*",
            reverse("api:recordings", kwargs={"program": slug}) + "*",
        ],
    }
    script = f"self.survey = {json.dumps(settings)};\n{WORKER.read_text('utf-8')}"
    return HttpResponse(script, content_type="text/javascript")


@login_not_required
@require_GET
def offline_worker(request: HttpRequest) -> HttpResponse:
    """The same for everybody; it stands at the root, because a worker reaches no higher than its
    own folder."""
    return HttpResponse(OFFLINE_WORKER.read_text("utf-8"), content_type="text/javascript")


@require_GET
@never_cache
@gzip_page
@needs(Permission.SURVEY)
def guide(request: ProgramRequest) -> JsonResponse:
    """The guide's pages for observers; the phone keeps them with the screen."""
    return JsonResponse({"pages": guide_for_phones(request.membership.program)})


@require_GET
@needs(Permission.SURVEY)
def manifest(request: ProgramRequest) -> JsonResponse:
    """W3C Web Application Manifest."""
    program = request.membership.program
    here = _url("survey", program.slug)
    return JsonResponse(
        {
            "id": here,
            "name": said("Duskpool survey, {program}", program=program.name),
            "short_name": "Duskpool",
            "start_url": here,
            "scope": here,
            "display": "standalone",
            "orientation": "portrait",
            "background_color": "#000000",
            "theme_color": "#000000",
            "icons": [
                _icon(request, "mark.svg", "any", "image/svg+xml"),
                _icon(request, "home-192.png", "192x192", "image/png"),
                _icon(request, "home-512.png", "512x512", "image/png"),
                _icon(request, "home-filled-512.png", "512x512", "image/png", "maskable"),
            ],
        },
        content_type="application/manifest+json",
    )


def _icon(
    request: ProgramRequest, name: str, sizes: str, media_type: str, purpose: str = "any"
) -> dict[str, str]:
    source = request.build_absolute_uri(static(f"web/{name}"))
    return {"src": source, "sizes": sizes, "type": media_type, "purpose": purpose}


def _version(program: Program) -> str:
    """Of the files of the screen and of what its page tells: cautions of the region, translations,
    the guide, the program's name and its way to write dates."""
    told = [program.name, program.clock_style, program.date_order, [*cautions_of(program)]]
    pages = guide_for_phones(program)
    texts = json.dumps([script_catalog(), told, pages], sort_keys=True).encode()
    return f"{fingerprint()}-{hashlib.sha256(texts).hexdigest()[:8]}"


def _url(name: str, slug: str) -> str:
    return reverse(f"web:{name}", kwargs={"program": slug})


def _recordings_url(slug: str) -> str:
    """The URL of a recording's audio, without the id at its end."""
    nobody = str(UUID(int=0))
    url = reverse("web:recording", kwargs={"program": slug, "recording_id": nobody})
    return url.removesuffix(nobody)


def _instant(instant: dt.datetime) -> str:
    return instant.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
