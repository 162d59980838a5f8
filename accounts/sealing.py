"""Secrets that the database keeps are sealed with a key of the server, so that a backup does not
open an account."""

import base64

from cryptography.fernet import Fernet
from django.utils.crypto import salted_hmac


def _box(purpose: str) -> Fernet:
    key = salted_hmac("accounts.sealing", purpose, algorithm="sha256").digest()
    return Fernet(base64.urlsafe_b64encode(key))


def seal(text: str, purpose: str) -> str:
    return _box(purpose).encrypt(text.encode()).decode()


def unseal(sealed: str, purpose: str) -> str:
    """Raises cryptography.fernet.InvalidToken for what was sealed for another purpose."""
    return _box(purpose).decrypt(sealed).decode()
