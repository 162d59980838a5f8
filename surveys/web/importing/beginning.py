"""Stops that begin later than the visits of a file: the answer on the page of its check."""

import datetime as dt

from django.contrib import messages

from accounts.access import ProgramRequest
from surveys.importing.preview import preview_from_plain
from surveys.importing.runs import latest_run_of
from surveys.importing.uploads import Upload, preview_upload
from surveys.language import said_of
from surveys.programs.first_nights import begin_earlier


def let_stops_begin_earlier(request: ProgramRequest, stored: Upload) -> None:
    """The nights are those of the check that the page showed."""
    run = latest_run_of(stored.row)
    if stored.is_large:
        seen = preview_from_plain(run.result) if run and run.result else None
    else:
        seen = preview_upload(request.membership, stored)
    nights = {route: dt.date.fromisoformat(night) for route, night in seen.early} if seen else {}
    stops = begin_earlier(request.membership, nights)
    messages.success(
        request,
        said_of("{number} stop begins earlier.", "{number} stops begin earlier.", stops),
    )
