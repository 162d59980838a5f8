"""Taking a demo program out again, frozen rows included."""

from django.db import connection
from django.db.models import Model, QuerySet

from accounts.models import AccessToken, Invitation, JoiningLink, Membership
from surveys.models import (
    Absence,
    Assignment,
    BackgroundRun,
    CalendarLink,
    CallIndex,
    ChecklistEntry,
    Confirmation,
    ExactDownload,
    GroupLetter,
    HelpOffer,
    ImportedVisit,
    ImportPart,
    LetterCopy,
    ListeningPeriod,
    OwnField,
    Photo,
    PowerStudy,
    Program,
    Protocol,
    ProtocolVersion,
    Publication,
    PublicationFile,
    PublicationPiece,
    Recording,
    RecordingPicture,
    RecordingPiece,
    ReminderSetting,
    ReviewClaim,
    ReviewStep,
    Route,
    RouteImport,
    RouteRequest,
    RouteYearCount,
    SeasonWindow,
    Sighting,
    SpeciesFit,
    SpreadsheetImport,
    StaleYearCount,
    StationDay,
    Stop,
    StorageUse,
    StoredFinding,
    Submission,
    Substitute,
    Visit,
    VisitOddness,
    WeatherStation,
    WetlandChange,
    Withdrawal,
)
from surveys.visits.media.recordings import delete_recording_files_on_commit


def remove_program(program: Program) -> None:
    """Delete every row of the program, leaves first. People and species stay.

    To be called with triggers ignored: publications and used protocols are frozen.
    """
    with connection.cursor() as cursor:
        # Without a word on how many rows there are now, deleting calls can take for ever.
        cursor.execute("ANALYZE surveys_visit, surveys_listeningperiod, surveys_callindex")
    visits = Visit.objects.filter(route__program=program)
    delete_recording_files_on_commit(Recording.objects.filter(visit__in=visits))
    leaves_first: tuple[QuerySet[Model], ...] = (
        PublicationPiece.objects.filter(file__publication__program=program),
        PublicationFile.objects.filter(publication__program=program),
        Withdrawal.objects.filter(publication__program=program),
        Publication.objects.filter(program=program),
        ExactDownload.objects.filter(program=program),
        Confirmation.objects.filter(call__period__visit__in=visits),
        RecordingPiece.objects.filter(recording__visit__in=visits),
        RecordingPicture.objects.filter(recording__visit__in=visits),
        Recording.objects.filter(visit__in=visits),
        ImportPart.objects.filter(upload__program=program),
        ImportedVisit.objects.filter(upload__program=program),
        ReviewClaim.objects.filter(visit__in=visits),
        VisitOddness.objects.filter(visit__in=visits),
        StoredFinding.objects.filter(visit__in=visits),
        ReviewStep.objects.filter(visit__in=visits),
        Submission.objects.filter(visit__in=visits),
        Sighting.objects.filter(visit__in=visits),
        Photo.objects.filter(visit__in=visits),
        CallIndex.objects.filter(period__visit__in=visits),
        ListeningPeriod.objects.filter(visit__in=visits),
        visits,
        RouteRequest.objects.filter(program=program),
        Substitute.objects.filter(assignment__route__program=program),
        Assignment.objects.filter(route__program=program),
        WetlandChange.objects.filter(stop__route__program=program),
        Stop.objects.filter(route__program=program),
        StationDay.objects.filter(station__program=program),
        WeatherStation.objects.filter(program=program),
        RouteYearCount.objects.filter(program=program),
        StaleYearCount.objects.filter(program=program),
        Route.objects.filter(program=program),
        SeasonWindow.objects.filter(version__protocol__program=program),
        ProtocolVersion.objects.filter(protocol__program=program),
        Protocol.objects.filter(program=program),
        ChecklistEntry.objects.filter(program=program),
        OwnField.objects.filter(program=program),
        RouteImport.objects.filter(program=program),
        SpreadsheetImport.objects.filter(program=program),
        StorageUse.objects.filter(program=program),
        PowerStudy.objects.filter(program=program),
        SpeciesFit.objects.filter(program=program),
        BackgroundRun.objects.filter(program=program),
        Invitation.objects.filter(program=program),
        JoiningLink.objects.filter(program=program),
        ReminderSetting.objects.filter(program=program),
        LetterCopy.objects.filter(letter__program=program),
        GroupLetter.objects.filter(program=program),
        CalendarLink.objects.filter(member__program=program),
        AccessToken.objects.filter(membership__program=program),
        Absence.objects.filter(member__program=program),
        HelpOffer.objects.filter(member__program=program),
        Membership.objects.filter(program=program),
        Program.objects.filter(pk=program.pk),
    )
    for rows in leaves_first:
        rows._raw_delete(rows.db)
