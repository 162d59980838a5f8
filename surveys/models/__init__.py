from surveys.models.fit import FittingRun, SiteKind, SpeciesFit
from surveys.models.importing import SpreadsheetImport
from surveys.models.programme import Programme
from surveys.models.protocol import Protocol, ProtocolVersion, SeasonWindow
from surveys.models.publication import Publication
from surveys.models.review import ReviewStep, Settlement, Step, StoredFinding, Submission
from surveys.models.route import Assignment, Habitat, Hydroperiod, Presence, Route, Stop
from surveys.models.species import ChecklistEntry, Sensitivity, Species
from surveys.models.visit import (
    CallIndex,
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
    "CallIndex",
    "ChecklistEntry",
    "FittingRun",
    "Habitat",
    "Hydroperiod",
    "LifeStage",
    "ListeningPeriod",
    "Photo",
    "Presence",
    "Programme",
    "Protocol",
    "ProtocolVersion",
    "Publication",
    "ReviewStep",
    "Route",
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
