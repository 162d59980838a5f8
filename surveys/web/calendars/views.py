"""A member's calendar: the page of its secret link, and the file that calendar programs read."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.language import gettext, said
from surveys.reminders import calendars as verbs
from surveys.reminders.icalendar_file import calendar_file


@require_http_methods(["GET", "POST"])
@needs(Permission.READ_SEASONS)
def calendar(request: ProgramRequest) -> HttpResponse:
    """The link; posting makes a new one or, with `revoke`, ends it."""
    member = request.membership
    if request.method == "POST":
        if "revoke" in request.POST:
            verbs.revoke_calendar(member)
            messages.success(request, gettext("The link no longer opens anything."))
        else:
            verbs.renew_calendar(member)
            messages.success(request, gettext("Your link is ready. Any older one no longer works."))
        return redirect("web:calendar", program=member.program.slug)
    link = verbs.link_of(member)
    url = verbs.calendar_url(link, request.build_absolute_uri("/")) if link else ""
    context = {"url": url, "is_of_program": may(member, Permission.MANAGE)}
    return render(request, "calendars/calendar.html", context)


@login_not_required
@require_GET
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Public on purpose: calendar programs cannot sign in, the link is the credential."""
    member = verbs.member_by_link(token)
    content = calendar_file(
        said("{program} surveys", program=member.program.name),
        verbs.events_of(member, request.build_absolute_uri("/")),
        made_at=timezone.now(),
    )
    return HttpResponse(content, content_type="text/calendar; charset=utf-8")
