"""What `recordings/list.html` shows of a visit."""

from typing import Any

from accounts.models import Membership
from surveys.models import Visit
from surveys.visits.media.listening import (
    on_their_way,
    recordings_of,
)


def recording_list(member: Membership, visit: Visit) -> dict[str, Any]:
    return {
        "recordings": recordings_of(member, visit),
        "recordings_coming": on_their_way(member, visit),
    }
