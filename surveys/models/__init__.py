from surveys.models.area import ProgramArea
from surveys.models.blind_listening import BlindAnswer, BlindCall, BlindListening
from surveys.models.call_history import CallHistory
from surveys.models.call_test import CallTest, CallTestHeard, CallTestQuestion, CallTestTry
from surveys.models.catalog import CallingRegion, LookAlikes, SeasonMark, SpeciesInRegion
from surveys.models.check_in import CheckIn, CheckInContact
from surveys.models.confirmation import Confirmation
from surveys.models.fit import PowerStudy, SiteKind, SpeciesFit
from surveys.models.importing import ImportedVisit, ImportPart, SpreadsheetImport
from surveys.models.operation import OperationKind, OperationRecord, WorkerHeartbeat
from surveys.models.own_field import OwnField
from surveys.models.practice import HeardInQuestion, PracticeAnswer, PracticeHeard
from surveys.models.program import DataLicense, Program, PublicationAudience, Sensitivity
from surveys.models.protocol import Protocol, ProtocolVersion, SeasonWindow
from surveys.models.publication import (
    Audience,
    ExactDownload,
    Publication,
    PublicationFile,
    PublicationPiece,
    Withdrawal,
)
from surveys.models.recording import Recording, RecordingKind, RecordingPiece, RecordingState
from surveys.models.recording_picture import PictureProblem, RecordingPicture
from surveys.models.reference_call import ReferenceCall
from surveys.models.reminder import (
    CalendarLink,
    GroupLetter,
    LetterCopy,
    LetterGroup,
    LetterKind,
    ReminderKind,
    ReminderSetting,
    ReminderStop,
    SentReminder,
)
from surveys.models.review import ReviewStep, Settlement, Step, StoredFinding, Submission
from surveys.models.review_work import ReviewClaim, VisitOddness
from surveys.models.route import (
    Assignment,
    Habitat,
    Hydroperiod,
    Presence,
    Route,
    RouteChoice,
    Stop,
)
from surveys.models.route_import import RouteImport
from surveys.models.run import UNDER_WAY, BackgroundRun, RunKind, RunState
from surveys.models.season_plan import (
    Absence,
    HelpOffer,
    RequestState,
    RouteRequest,
    Substitute,
)
from surveys.models.species import ChecklistEntry, JointMember, Species
from surveys.models.storage import StorageUse
from surveys.models.visit import (
    CallIndex,
    DiscardedDraft,
    LifeStage,
    ListeningPeriod,
    Photo,
    Sighting,
    Source,
    Visit,
    VisitState,
    WaterTonight,
)
from surveys.models.weather import StationDay, WeatherStation
from surveys.models.wetland import ChangeKind, WetlandChange
from surveys.models.year_count import RouteYearCount, StaleYearCount

__all__ = [
    "UNDER_WAY",
    "Absence",
    "Assignment",
    "Audience",
    "BackgroundRun",
    "BlindAnswer",
    "BlindCall",
    "BlindListening",
    "CalendarLink",
    "CallHistory",
    "CallIndex",
    "CallTest",
    "CallTestHeard",
    "CallTestQuestion",
    "CallTestTry",
    "CallingRegion",
    "ChangeKind",
    "CheckIn",
    "CheckInContact",
    "ChecklistEntry",
    "Confirmation",
    "DataLicense",
    "DiscardedDraft",
    "ExactDownload",
    "GroupLetter",
    "Habitat",
    "HeardInQuestion",
    "HelpOffer",
    "Hydroperiod",
    "ImportPart",
    "ImportedVisit",
    "JointMember",
    "LetterCopy",
    "LetterGroup",
    "LetterKind",
    "LifeStage",
    "ListeningPeriod",
    "LookAlikes",
    "OperationKind",
    "OperationRecord",
    "OwnField",
    "Photo",
    "PictureProblem",
    "PowerStudy",
    "PracticeAnswer",
    "PracticeHeard",
    "Presence",
    "Program",
    "ProgramArea",
    "Protocol",
    "ProtocolVersion",
    "Publication",
    "PublicationAudience",
    "PublicationFile",
    "PublicationPiece",
    "Recording",
    "RecordingKind",
    "RecordingPicture",
    "RecordingPiece",
    "RecordingState",
    "ReferenceCall",
    "ReminderKind",
    "ReminderSetting",
    "ReminderStop",
    "RequestState",
    "ReviewClaim",
    "ReviewStep",
    "Route",
    "RouteChoice",
    "RouteImport",
    "RouteRequest",
    "RouteYearCount",
    "RunKind",
    "RunState",
    "SeasonMark",
    "SeasonWindow",
    "Sensitivity",
    "SentReminder",
    "Settlement",
    "Sighting",
    "SiteKind",
    "Source",
    "Species",
    "SpeciesFit",
    "SpeciesInRegion",
    "SpreadsheetImport",
    "StaleYearCount",
    "StationDay",
    "Step",
    "Stop",
    "StorageUse",
    "StoredFinding",
    "Submission",
    "Substitute",
    "Visit",
    "VisitOddness",
    "VisitState",
    "WaterTonight",
    "WeatherStation",
    "WetlandChange",
    "Withdrawal",
    "WorkerHeartbeat",
]
