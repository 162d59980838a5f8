"""Publications in the worker."""

from surveys.models import BackgroundRun, RunKind
from surveys.publishing.build import build
from surveys.publishing.exceptions import PublishingError
from surveys.runs.progress import Progress
from surveys.runs.work import carries_out


@carries_out(RunKind.PUBLISH, refusals=(PublishingError,))
def publish(run: BackgroundRun, report: Progress) -> None:
    build(run, report=report)
