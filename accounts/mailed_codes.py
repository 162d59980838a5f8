"""Codes that are mailed to sign in.

A session lies in the database, so it holds a ticket and not the code: the code follows from the
ticket by the secret key of the server. Who reads the database, or a backup of it, has no code.
"""

import secrets

from django.utils.crypto import salted_hmac

# No vowels, so that no code is a word, and nothing that looks like a digit (RFC 8628, 6.1).
LETTERS = "BCDFGHJKLMNPQRSTVWXZ"
LENGTH = 8


def new_ticket() -> str:
    return secrets.token_hex(16)


def code_of(ticket: str) -> str:
    """Such as `BCDF-GHJK`; 34 bits, of which three tries are allowed."""
    digest = salted_hmac("accounts.mailed_codes", ticket, algorithm="sha256").digest()
    number = int.from_bytes(digest, "big")
    letters = []
    for _ in range(LENGTH):
        number, place = divmod(number, len(LETTERS))
        letters.append(LETTERS[place])
    half = LENGTH // 2
    return "".join(letters[:half]) + "-" + "".join(letters[half:])
