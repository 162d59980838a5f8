"""The calendar of a member: the windows in which they will go; for coordinators those of the
program. By a secret link that can be renewed and revoked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db import transaction
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac

from accounts.access import Permission, may, require
from accounts.models import Membership, hash_token
from surveys.language import gettext, said
from surveys.models import CalendarLink
from surveys.programs.assignments import current_season_year, today_of
from surveys.reminders.icalendar_file import DaysEvent
from surveys.seasons.coverage import Coverage, CoverageTable, coverage
from surveys.seasons.forecast import outlooks

_OPEN = (Coverage.DUE, Coverage.AHEAD)


def _token(link: CalendarLink) -> str:
    facts = f"{link.member_id}:{link.made_at.astimezone(dt.UTC).isoformat()}"
    return salted_hmac("surveys.reminders.calendars", facts, algorithm="sha256").hexdigest()[:48]


def calendar_url(link: CalendarLink, site_url: str) -> str:
    path = reverse("web:calendar_feed", kwargs={"token": _token(link)})
    return site_url.rstrip("/") + path


def link_of(member: Membership) -> CalendarLink | None:
    return CalendarLink.objects.filter(member=member).first()


@transaction.atomic
def renew_calendar(member: Membership) -> CalendarLink:
    """A new link; one from before opens nothing any more."""
    require(member, Permission.READ_SEASONS)
    Membership.objects.select_for_update().get(pk=member.pk)
    CalendarLink.objects.filter(member=member).delete()
    link = CalendarLink(member=member, made_at=timezone.now())
    link.token_hash = hash_token(_token(link))
    link.save()
    return link


def revoke_calendar(member: Membership) -> None:
    require(member, Permission.READ_SEASONS)
    CalendarLink.objects.filter(member=member).delete()


def member_by_link(token: str) -> Membership:
    """Raises Http404 for a link that is not valid, and when its member has left."""
    link = (
        CalendarLink.objects.select_related("member__program", "member__person")
        .filter(token_hash=hash_token(token), member__person__is_active=True)
        .first()
    )
    if link is None or not may(link.member, Permission.READ_SEASONS):
        raise Http404(gettext("This calendar link is not valid. Get a new one on the site."))
    return link.member


def events_of(member: Membership, site_url: str) -> list[DaysEvent]:
    """This season year and the next. A window with a visit is no longer an observer's day."""
    program, today = member.program, today_of(member.program)
    year = current_season_year(program, today)
    page = site_url.rstrip("/") + reverse("web:tonight", args=[program.slug])
    events: list[DaysEvent] = []
    for season_year in (year, year + 1):
        table = coverage(program, season_year, today=today)
        events += _own(member, table, page)
        if may(member, Permission.MANAGE):
            events += _of_program(member, table, today)
    return events


def _own(member: Membership, table: CoverageTable, page: str) -> Iterator[DaysEvent]:
    for row in table.rows:
        for cell in row.cells:
            if cell is None or cell.coverage not in _OPEN:
                continue
            if all(goer.member != member for goer in cell.cover.going):
                continue
            window = cell.window
            yield DaysEvent(
                uid=f"route-{row.route_id}-{window.opens:%Y%m%d}@duskpool",
                first=window.opens,
                last=window.closes,
                title=said(
                    "Survey {code} {name}: {window}",
                    code=row.code,
                    name=row.name,
                    window=window.name,
                ),
                details=gettext(
                    "One visit is due in these days. Check the weather and the cautions first."
                ),
                url=page,
            )


def _of_program(member: Membership, table: CoverageTable, today: dt.date) -> Iterator[DaysEvent]:
    program = member.program
    for number, row in enumerate(outlooks(program, table, today), start=1):
        window = row.window
        uid = f"program-{program.pk}-{window.opens:%Y%m%d}-{window.closes:%Y%m%d}-{number}@duskpool"
        yield DaysEvent(
            uid=uid,
            first=window.opens,
            last=window.closes,
            title=said("{program}: {window}", program=program.name, window=window.name),
            details=said("{done} of {due} routes have a visit.", done=row.handed_in, due=row.due),
        )
