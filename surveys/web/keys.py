"""Keys in addresses: whoever has one opens what it opens, so none is kept in a log or in history.

Every part of a URL that is called one of `KEYS` is such a key; `tests/integration/test_logs.py`
asks for each of them and reads what was kept.
"""

import re

KEYS = frozenset({"key", "token"})
HIDDEN = "…"
_BEHIND = (
    "/invitation/",
    "/by-link/",
    "/accounts/confirm-email/",
    "/accounts/password/reset/key/",
)
# An address may itself be escaped: `?next=%2Finvitation%2F…`.
_KEY = re.compile(
    "({})[^/%&?#\\s\\\\\"'<>]+".format(
        "|".join(re.escape(part).replace("/", "(?:/|%2F)") for part in _BEHIND)
    ),
    re.IGNORECASE,
)


def without_keys(text: str) -> str:
    """The text, such as a path or a line of a log, with `…` in the place of each key."""
    return _KEY.sub(rf"\1{HIDDEN}", text)
