"""One-time codes as an authenticator app makes them, written from the standards."""

import base64
import hashlib
import hmac
import time


def totp(secret: str, at: float | None = None) -> str:
    """RFC 6238, 4.2, on RFC 4226, 5.3: six digits, steps of 30 s, HMAC-SHA-1."""
    key = base64.b32decode(secret + "=" * (-len(secret) % 8))
    step = int((time.time() if at is None else at) // 30)
    digest = hmac.new(key, step.to_bytes(8, "big"), hashlib.sha1).digest()
    offset = digest[-1] & 15
    number = int.from_bytes(digest[offset : offset + 4], "big") & 0x7FFFFFFF
    return f"{number % 10**6:06}"
