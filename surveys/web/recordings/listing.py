"""The context of `recordings/list.html`."""

from typing import Any

from accounts.models import Membership
from surveys.models import Visit
from surveys.visits.media.recording_access import (
    count_arriving_recordings,
    recordings_of,
)


def recording_list(member: Membership, visit: Visit) -> dict[str, Any]:
    return {
        "recordings": recordings_of(member, visit),
        "recordings_coming": count_arriving_recordings(member, visit),
    }
