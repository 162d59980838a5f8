"""Secrets from the environment, or from a file that it names: what systemd decrypts for a unit
(LoadCredentialEncrypted=) and what containers mount need not stand in the environment."""

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured


def secret(name: str) -> str:
    """The value of NAME, or what is in the file that NAME_FILE names; else empty.

    Raises ImproperlyConfigured.
    """
    path = os.environ.get(f"{name}_FILE")
    if not path:
        return os.environ.get(name, "")
    if os.environ.get(name):
        raise ImproperlyConfigured(f"Both {name} and {name}_FILE are set. Keep one of them.")
    try:
        return Path(path).read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ImproperlyConfigured(f"{name}_FILE cannot be read: {error}") from error
