"""Access tokens: `Authorization: Bearer …`. An invalid token is refused with a sentence."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication
from rest_framework.authentication import get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from accounts.models import (
    AccessToken,
    Person,
)
from accounts.tokens import note_use
from surveys.language import gettext


class AccessTokenAuthentication(TokenAuthentication):
    """Tokens are stored and compared by their hash, as Knox does it."""

    def authenticate(self, request: Request) -> tuple[Person, AccessToken] | None:
        scheme, _, secret = get_authorization_header(request).partition(b" ")
        if scheme.lower() != b"bearer":
            return None
        secret = secret.strip()
        if not secret.isalnum() or not secret.isascii():
            raise AuthenticationFailed("Send the token as: Authorization: Bearer <token>.")
        return self.authenticate_credentials(secret)

    def authenticate_credentials(self, secret: bytes) -> tuple[Person, AccessToken]:
        try:
            person, token = super().authenticate_credentials(secret)
        except AuthenticationFailed:
            raise AuthenticationFailed(
                gettext(
                    "This token is not valid: it was revoked, has expired, or was copied "
                    "with a mistake. Make a new one under Access tokens."
                )
            ) from None
        note_use(token)
        return person, token

    def authenticate_header(self, request: Request) -> str:
        """The challenge of an answer 401 (RFC 6750, 3), with or without a token."""
        return "Bearer"

    def _cleanup_token(self, token: AccessToken) -> bool:
        """Whether the token has expired. The row is kept, so that its owner still sees it."""
        return token.expiry <= timezone.now()


class AccessTokenScheme(OpenApiAuthenticationExtension):
    target_class = AccessTokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": gettext(
                "A token made under Access tokens. It reads, and never changes anything; "
                "its scope says how much it opens."
            ),
        }
