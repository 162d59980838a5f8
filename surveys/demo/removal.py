"""Taking a demo programme out again, frozen rows included."""

from django.db.models import Model, QuerySet

from accounts.models import Invitation, Membership
from surveys.models import (
    Assignment,
    CallIndex,
    ChecklistEntry,
    FittingRun,
    ListeningPeriod,
    Photo,
    Programme,
    Protocol,
    ProtocolVersion,
    Publication,
    ReviewStep,
    Route,
    SeasonWindow,
    Sighting,
    SpeciesFit,
    SpreadsheetImport,
    Stop,
    StoredFinding,
    Submission,
    Visit,
)


def remove_programme(programme: Programme) -> None:
    """Delete every row of the programme, leaves first. People and species stay.

    To be called with triggers ignored: publications and used protocols are frozen.
    """
    visits = Visit.objects.filter(route__programme=programme)
    leaves_first: tuple[QuerySet[Model], ...] = (
        Publication.objects.filter(programme=programme),
        StoredFinding.objects.filter(visit__in=visits),
        ReviewStep.objects.filter(visit__in=visits),
        Submission.objects.filter(visit__in=visits),
        Sighting.objects.filter(visit__in=visits),
        Photo.objects.filter(visit__in=visits),
        CallIndex.objects.filter(period__visit__in=visits),
        ListeningPeriod.objects.filter(visit__in=visits),
        visits,
        Assignment.objects.filter(route__programme=programme),
        Stop.objects.filter(route__programme=programme),
        Route.objects.filter(programme=programme),
        SeasonWindow.objects.filter(version__protocol__programme=programme),
        ProtocolVersion.objects.filter(protocol__programme=programme),
        Protocol.objects.filter(programme=programme),
        ChecklistEntry.objects.filter(programme=programme),
        SpreadsheetImport.objects.filter(programme=programme),
        SpeciesFit.objects.filter(programme=programme),
        FittingRun.objects.filter(programme=programme),
        Invitation.objects.filter(programme=programme),
        Membership.objects.filter(programme=programme),
        Programme.objects.filter(pk=programme.pk),
    )
    for rows in leaves_first:
        rows._raw_delete(rows.db)
