"""How much a person and a program may store."""

from django.conf import settings
from django.db.models import Sum
from django.template.defaultfilters import filesizeformat

from accounts.models import Membership
from surveys.language import said
from surveys.models import StorageUse
from surveys.visits.exceptions import NoRoomLeft


def check_room(member: Membership, added: int) -> None:
    """Whether the member may store so many bytes more. Raises NoRoomLeft.

    Two uploads at the same moment may both find the last room: then they share it.
    """
    of_person, of_program = settings.MOST_BYTES_OF_A_PERSON, settings.MOST_BYTES_OF_A_PROGRAM
    if _stored(person=member.person_id) + added > of_person:
        raise NoRoomLeft(
            said(
                "Your photos, recordings and imported files would have more than {limit}, which is "
                "the most for one person. Delete some that you no longer need, or ask the person "
                "who runs this site for more room.",
                limit=filesizeformat(of_person),
            )
        )
    if _stored(program=member.program_id) + added > of_program:
        raise NoRoomLeft(
            said(
                "The photos, recordings and imported files of this program would have more than "
                "{limit}, which is the most for a program. Tell your coordinator, who can ask the "
                "person who runs this site for more room.",
                limit=filesizeformat(of_program),
            )
        )


def _stored(**owner: int) -> int:
    return StorageUse.objects.filter(**owner).aggregate(bytes=Sum("bytes", default=0))["bytes"]
