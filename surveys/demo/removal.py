"""Taking a demo programme out again, frozen rows included."""

from django.db import connection
from django.db.models import Model, QuerySet

from accounts.models import AccessToken, Invitation, Membership
from surveys.models import (
    Assignment,
    CallIndex,
    ChecklistEntry,
    ExactDownload,
    FittingRun,
    ImportRun,
    ListeningPeriod,
    Photo,
    PowerStudy,
    Programme,
    Protocol,
    ProtocolVersion,
    Publication,
    PublicationFile,
    PublicationPiece,
    PublishingRun,
    Recording,
    RecordingPiece,
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
from surveys.visits.recordings import forget_recordings


def remove_programme(programme: Programme) -> None:
    """Delete every row of the programme, leaves first. People and species stay.

    To be called with triggers ignored: publications and used protocols are frozen.
    """
    with connection.cursor() as cursor:
        # Without a word on how many rows there are now, deleting calls can take for ever.
        cursor.execute("ANALYZE surveys_visit, surveys_listeningperiod, surveys_callindex")
    visits = Visit.objects.filter(route__programme=programme)
    forget_recordings(Recording.objects.filter(visit__in=visits))
    leaves_first: tuple[QuerySet[Model], ...] = (
        PublishingRun.objects.filter(programme=programme),
        PublicationPiece.objects.filter(file__publication__programme=programme),
        PublicationFile.objects.filter(publication__programme=programme),
        Publication.objects.filter(programme=programme),
        ExactDownload.objects.filter(programme=programme),
        RecordingPiece.objects.filter(recording__visit__in=visits),
        Recording.objects.filter(visit__in=visits),
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
        ImportRun.objects.filter(upload__programme=programme),
        SpreadsheetImport.objects.filter(programme=programme),
        PowerStudy.objects.filter(programme=programme),
        SpeciesFit.objects.filter(programme=programme),
        FittingRun.objects.filter(programme=programme),
        Invitation.objects.filter(programme=programme),
        AccessToken.objects.filter(membership__programme=programme),
        Membership.objects.filter(programme=programme),
        Programme.objects.filter(pk=programme.pk),
    )
    for rows in leaves_first:
        rows._raw_delete(rows.db)
