"""What an accepted visit added to what was known of its stops, in sentences."""

from __future__ import annotations

from django.db.models import Max, QuerySet

from surveys.language import said
from surveys.models import CallIndex, ListeningPeriod, Visit

# A species that was heard last season is no news.
_NEWS_YEARS = 2
_MOST = 5


def added_by(visit: Visit) -> list[str]:
    """Species that were heard at a stop for the first time, or again after years; those that were
    missing longest come first. Nothing is said of a stop that was never surveyed before."""
    calls = _counted_calls().filter(period__visit=visit).select_related("species", "period__stop")
    heard = list(calls.order_by("period__stop__number", "species__common_name"))
    stops = {call.period.stop_id for call in heard}
    before = ListeningPeriod.objects.filter(
        stop__in=stops, counts_in_trends=True, visit__night__lt=visit.night
    )
    surveyed = dict(before.values_list("stop_id").annotate(Max("visit__season_year")))
    earlier = _counted_calls().filter(period__stop__in=stops, period__visit__night__lt=visit.night)
    last_heard = {
        (stop, species): year
        for stop, species, year in earlier.values_list("period__stop_id", "species_id").annotate(
            Max("period__visit__season_year")
        )
    }
    news = []
    for call in heard:
        stop = call.period.stop
        last = last_heard.get((stop.pk, call.species_id))
        if last is None and stop.pk in surveyed:
            words = said("First {species} at stop {stop}.", species=call.species, stop=stop.number)
            news.append((0, words))
        elif last is not None and visit.season_year - last >= _NEWS_YEARS:
            words = said(
                "First {species} at stop {stop} since {year}.",
                species=call.species,
                stop=stop.number,
                year=last,
            )
            news.append((last, words))
    return [words for _, words in sorted(news, key=lambda one: one[0])[:_MOST]]


def _counted_calls() -> QuerySet[CallIndex]:
    return CallIndex.objects.filter(
        index__gte=1, counts_in_trends=True, period__counts_in_trends=True
    )
