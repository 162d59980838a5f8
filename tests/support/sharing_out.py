"""How the tests of a run are shared out between its processes."""

from xdist.scheduler import LoadScheduling
from xdist.workermanage import WorkerController

# Of the last tests, some of which take as long as a hundred others, few are given out at a time.
LAST, FEW = 400, 6


class EvenEnd(LoadScheduling):
    """Like `--dist load`, but the processes end at about the same time: that gives a process up to
    a quarter of what is left, and so the last minutes to one of two."""

    def check_schedule(self, node: WorkerController, duration: float = 0) -> None:
        if len(self.pending) < LAST:
            self.maxschedchunk = FEW
        super().check_schedule(node, duration)
