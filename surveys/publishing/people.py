"""How observers appear in what is published: by name with their consent, else by pseudonym."""

import base64
import hashlib
import hmac

from accounts.models import Person
from surveys.models import Confirmation, Program

_SIGNS = 10


def pseudonym(key: str, person_id: int) -> str:
    """The same for the same person and key, in every publication.

    Without the key nobody can go through the persons and find whose it is (HMAC, RFC 2104).
    """
    digest = hmac.new(key.encode(), str(person_id).encode(), hashlib.sha256).digest()
    return f"Observer {base64.b32encode(digest).decode()[:_SIGNS]}"


def published_name(person: Person, program: Program) -> str:
    if person.named_in_reports:
        return person.name
    return pseudonym(program.pseudonym_key, person.pk)


def confirmer_names(program: Program) -> dict[int, str]:
    """Everybody who confirmed a call of the program by ear, as they are published, by id."""
    confirmers = Confirmation.objects.filter(call__period__visit__route__program=program)
    people = Person.objects.filter(pk__in=confirmers.values("by"))
    return {person.pk: published_name(person, program) for person in people}
