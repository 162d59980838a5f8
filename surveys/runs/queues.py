"""Queues of the worker, and which of them share a process."""

import datetime as dt
from dataclasses import dataclass

from procrastinate import RetryStrategy

from surveys.language import gettext_noop as _

MAIL = "mail"
# Housekeeping: seconds, and nobody waits for it.
SHORT = "short"
# Fits: somebody waits for the page of what was just accepted.
FITS = "fits"
# Studies of plans: minutes of computing.
SIMULATIONS = "simulations"
# Imports and publications: minutes, and somebody watches.
LONG = "long"

# What readers are told that waits there.
QUEUES = {
    MAIL: _("Email"),
    SHORT: _("Short tasks"),
    FITS: _("Trend fits"),
    SIMULATIONS: _("Simulations"),
    LONG: _("Imports and publications"),
}

# A mail server that is away for a while: after 20 s, 50 s, 80 s … some 20 minutes in all.
MAIL_RETRY = RetryStrategy(max_attempts=9, wait=20, linear_wait=30)
# No job that broke off waits longer until it is tried again, and no new one longer than through the
# quiet hours of mail, on the night in which clocks are set back. What does is the doing of a clock.
LONGEST_WAIT_AGAIN = dt.timedelta(minutes=10)
LONGEST_WAIT = dt.timedelta(hours=15)


@dataclass(frozen=True, kw_only=True)
class WorkerFacts:
    """The queues that one process serves, how many of their jobs at a time, and what readers are
    told that it does."""

    label: str
    queues: tuple[str, ...]
    concurrency: int


# Fits and simulations hold Python's lock for minutes: nothing else runs in their processes.
WORKERS = {
    "quick": WorkerFacts(label=_("email and short tasks"), queues=(MAIL, SHORT), concurrency=4),
    "long": WorkerFacts(label=_("imports and publications"), queues=(LONG,), concurrency=2),
    "fits": WorkerFacts(label=_("trend fits"), queues=(FITS,), concurrency=1),
    "simulations": WorkerFacts(label=_("simulations"), queues=(SIMULATIONS,), concurrency=1),
}

# How long the oldest job that is due may wait, and a job be at work, before somebody should look.
PATIENCE = {
    MAIL: dt.timedelta(minutes=5),
    SHORT: dt.timedelta(minutes=15),
    FITS: dt.timedelta(hours=6),
    SIMULATIONS: dt.timedelta(hours=12),
    LONG: dt.timedelta(hours=3),
}
