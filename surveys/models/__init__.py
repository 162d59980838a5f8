from surveys.models.fit import (
    FittingRun,
    PowerStudy,
    SiteKind,
    SpeciesFit,
)
from surveys.models.importing import (
    ImportRun,
    ImportWork,
    SpreadsheetImport,
)
from surveys.models.program import (
    DataLicense,
    Program,
    Reach,
    Sensitivity,
)
from surveys.models.protocol import (
    Protocol,
    ProtocolVersion,
    SeasonWindow,
)
from surveys.models.publication import (
    Audience,
    ExactDownload,
    Publication,
    PublicationFile,
    PublicationPiece,
    PublishingRun,
    RunState,
)
from surveys.models.recording import (
    Recording,
    RecordingKind,
    RecordingPiece,
    RecordingState,
)
from surveys.models.review import (
    ReviewStep,
    Settlement,
    Step,
    StoredFinding,
    Submission,
)
from surveys.models.route import (
    Assignment,
    Habitat,
    Hydroperiod,
    Presence,
    Route,
    Stop,
)
from surveys.models.species import (
    ChecklistEntry,
    Species,
)
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

__all__ = [
    "Assignment",
    "Audience",
    "CallIndex",
    "ChecklistEntry",
    "DataLicense",
    "DiscardedDraft",
    "ExactDownload",
    "FittingRun",
    "Habitat",
    "Hydroperiod",
    "ImportRun",
    "ImportWork",
    "LifeStage",
    "ListeningPeriod",
    "Photo",
    "PowerStudy",
    "Presence",
    "Program",
    "Protocol",
    "ProtocolVersion",
    "Publication",
    "PublicationFile",
    "PublicationPiece",
    "PublishingRun",
    "Reach",
    "Recording",
    "RecordingKind",
    "RecordingPiece",
    "RecordingState",
    "ReviewStep",
    "Route",
    "RunState",
    "SeasonWindow",
    "Sensitivity",
    "Settlement",
    "Sighting",
    "SiteKind",
    "Source",
    "Species",
    "SpeciesFit",
    "SpreadsheetImport",
    "Step",
    "Stop",
    "StoredFinding",
    "Submission",
    "Visit",
    "VisitState",
    "WaterTonight",
]
