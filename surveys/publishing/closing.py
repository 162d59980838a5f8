"""What is not decided yet when a season is closed."""

from __future__ import annotations

from django.db.models import QuerySet

from surveys.models import Programme, Visit, VisitState


def open_visits(programme: Programme, season_year: int) -> QuerySet[Visit]:
    """Visits up to a season year that are not decided yet, oldest first."""
    return (
        Visit.objects.filter(
            route__programme=programme,
            season_year__lte=season_year,
            state__in=[VisitState.SUBMITTED, VisitState.SENT_BACK],
        )
        .select_related("route", "observer")
        .order_by("night", "route__code")
    )
