"""Secrets that the database keeps are sealed with a key of the server, so that a backup does not
open an account. What an older key has sealed still opens while SECRET_KEY_FALLBACKS names it."""

import base64

from cryptography.fernet import Fernet, MultiFernet
from django.conf import settings
from django.utils.crypto import salted_hmac


def _box(purpose: str) -> MultiFernet:
    """Seals with the newest key."""
    boxes = []
    for secret in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        key = salted_hmac("accounts.sealing", purpose, secret=secret, algorithm="sha256").digest()
        boxes.append(Fernet(base64.urlsafe_b64encode(key)))
    return MultiFernet(boxes)


def seal(text: str, purpose: str) -> str:
    return _box(purpose).encrypt(text.encode()).decode()


def unseal(sealed: str, purpose: str) -> str:
    """Raises cryptography.fernet.InvalidToken for what was sealed for another purpose."""
    return _box(purpose).decrypt(sealed.encode()).decode()


def reseal(sealed: str, purpose: str) -> str:
    """The same under the newest key. Raises cryptography.fernet.InvalidToken."""
    return _box(purpose).rotate(sealed.encode()).decode()
