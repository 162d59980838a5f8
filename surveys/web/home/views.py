"""The start page and the theme switch."""

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from accounts.access import (
    Permission,
    may,
)
from accounts.models import Membership
from surveys.web.themes import NIGHTS, THEMES

THEME_COOKIE_AGE = 365 * 24 * 3600


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """Redirect to the person's only program, or list several to choose from."""
    memberships = list(
        Membership.objects.select_related("program")
        .filter(person=request.user, active=True)
        .order_by("program__name")
    )
    for membership in memberships:
        start = "web:tonight" if may(membership, Permission.SURVEY) else "web:trends"
        if may(membership, Permission.REVIEW):
            start = "web:desk"
        membership.start = start
    if len(memberships) == 1:
        return redirect(memberships[0].start, program=memberships[0].program.slug)
    return render(request, "web/home.html", {"memberships": memberships})


@login_not_required
@require_POST
def theme(request: HttpRequest) -> HttpResponse:
    """Store the chosen theme, or light of the night, in a cookie and return to the page."""
    next_url = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(next_url, allowed_hosts={request.get_host()}):
        next_url = "/"
    response = HttpResponseRedirect(next_url)
    for name, choices in (("theme", THEMES), ("night", NIGHTS)):
        if (chosen := request.POST.get(name)) in choices:
            response.set_cookie(
                name,
                chosen,
                max_age=THEME_COOKIE_AGE,
                samesite="Lax",
                secure=settings.SESSION_COOKIE_SECURE or request.is_secure(),
            )
    return response
