"""How each kind of background run is treated. What it does is registered by `work.carries_out`."""

from dataclasses import dataclass

from django.utils.translation import gettext_lazy

from surveys.models import BackgroundRun, RunKind
from surveys.runs.queues import FITS, LONG, SIMULATIONS


@dataclass(frozen=True, kw_only=True)
class KindFacts:
    """`lock` is what runs of a program take turns at, or blank where they may run side by side.

    `tries` is how often it is begun when it breaks off. `nothing_done` says in a sentence what
    a run that ended early has left undone, `counts` what `done` and `total` count. `name` stands
    in lists.
    """

    name: str
    queue: str
    lock: str
    tries: int
    nothing_done: str
    counts: str


FACTS: dict[RunKind, KindFacts] = {
    RunKind.READ_IMPORT: KindFacts(
        name=gettext_lazy("Reading of an import file"),
        queue=LONG,
        lock="import",
        tries=3,
        nothing_done=gettext_lazy("The file was not read."),
        counts=gettext_lazy("Rows"),
    ),
    RunKind.CHECK_IMPORT: KindFacts(
        name=gettext_lazy("Check of an import file"),
        queue=LONG,
        lock="import",
        tries=3,
        nothing_done=gettext_lazy("The file was not checked."),
        counts=gettext_lazy("Visits"),
    ),
    RunKind.IMPORT: KindFacts(
        name=gettext_lazy("Import of visits"),
        queue=LONG,
        lock="import",
        tries=3,
        nothing_done=gettext_lazy("Nothing was imported."),
        counts=gettext_lazy("Visits"),
    ),
    RunKind.UNDO_IMPORT: KindFacts(
        name=gettext_lazy("Undoing of an import"),
        queue=LONG,
        lock="import",
        tries=3,
        nothing_done=gettext_lazy("The import was not undone."),
        counts=gettext_lazy("Visits"),
    ),
    RunKind.PUBLISH: KindFacts(
        name=gettext_lazy("Publication"),
        queue=LONG,
        lock="publication",
        tries=3,
        nothing_done=gettext_lazy("Nothing was published."),
        counts=gettext_lazy("Steps"),
    ),
    # A fit that breaks off stores the others and says which it was; another try would not help.
    RunKind.FIT: KindFacts(
        name=gettext_lazy("Calculation of trends"),
        queue=FITS,
        lock="fits",
        tries=1,
        nothing_done=gettext_lazy("Some results were not brought up to date."),
        counts=gettext_lazy("Results"),
    ),
    RunKind.POWER: KindFacts(
        name=gettext_lazy("Simulation of surveys"),
        queue=SIMULATIONS,
        lock="",
        tries=3,
        nothing_done=gettext_lazy("No answer."),
        counts=gettext_lazy("Plans"),
    ),
}


def run_name(run: BackgroundRun) -> str:
    """What a list of runs calls it."""
    return str(FACTS[RunKind(run.kind)].name)


def task_name(kind: RunKind | str) -> str:
    return f"runs.{RunKind(kind).value}"
