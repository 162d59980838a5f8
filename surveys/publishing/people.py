"""How observers appear in what is published: by name with their consent, else by pseudonym."""

import base64
import hashlib
import hmac

from accounts.models import Person
from surveys.models import Program

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
