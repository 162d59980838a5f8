"""What a page shows of the messages about a visit."""

from typing import Any

from accounts.access import ProgramRequest
from surveys.models import Visit, VisitState
from surveys.visits.conversation import MOST_CHARACTERS, conversation, takes_part

# Of a message that could not be sent, as much as an address takes.
MOST_KEPT = 1_500


def conversation_of(request: ProgramRequest, visit: Visit, *, then: str) -> dict[str, Any]:
    """`then` names the page, so that sending leads back to it. Empty for whoever takes no part."""
    member = request.membership
    is_own = visit.observer_id == member.person_id
    if not takes_part(member, visit):
        return {}
    return {
        "conversation": {
            "said": conversation(visit),
            "then": then,
            "is_own": is_own,
            "may_write": visit.state != VisitState.DRAFT,
            "most": MOST_CHARACTERS,
            "written": request.GET.get("message", ""),
        }
    }
