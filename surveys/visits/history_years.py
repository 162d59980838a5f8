"""The history of visits has a partition for each year, of which the next is made in time."""

from django.db import connection
from django.utils import timezone
from procrastinate.contrib.django import app

from surveys.runs.queues import SHORT

HISTORIES = (
    "surveys_visitevent",
    "surveys_listeningperiodevent",
    "surveys_storedfindingevent",
    "surveys_sightingevent",
    "surveys_callhistory",
)


def add_history_year(year: int) -> None:
    """Make the partitions of a year that are not there yet. Rows of a year without one go to the
    partition of later years, and keep it from being made."""
    with connection.cursor() as cursor:
        for history in HISTORIES:
            cursor.execute("SELECT surveys_add_history_year(%s, %s)", [history, year])


@app.periodic(cron="55 3 * * *")
@app.task(name="visits.add_history_year", queue=SHORT, queueing_lock="adding a year of history")
def add_next_history_year(timestamp: int) -> None:
    """Every night, so that a night on which no worker ran costs nothing."""
    add_history_year(timezone.now().year + 1)
