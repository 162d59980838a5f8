"""Hashes of passwords that only this server can try: before Argon2 a password goes through an HMAC
with a key of the server, which no backup of the database holds (OWASP ASVS 4.0.3, 2.4.5)."""

import base64

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.utils.crypto import salted_hmac

_KEY_ID_DIGITS = 8


class KeyedPasswordHasher(Argon2PasswordHasher):
    """`keyed_argon2$KEY$argon2id$…`, where KEY tells which secret key it is made with. One made
    with a key that is not known any more opens nothing: its owner sets a new password by mail."""

    algorithm = "keyed_argon2"

    def encode(self, password: str, salt: str) -> str:
        name, *_ = self._keys()
        encoded = super().encode(self._keyed(password, name), salt)
        return encoded.replace(self.algorithm, f"{self.algorithm}${name}", 1)

    def verify(self, password: str, encoded: str) -> bool:
        name, plain = self._parted(encoded)
        return name in self._keys() and super().verify(self._keyed(password, name), plain)

    def decode(self, encoded: str) -> dict:
        return super().decode(self._parted(encoded)[1])

    def must_update(self, encoded: str) -> bool:
        newest, *_ = self._keys()
        return self._parted(encoded)[0] != newest or super().must_update(encoded)

    def _parted(self, encoded: str) -> tuple[str, str]:
        """The name of the key, and the rest as Argon2 writes it."""
        algorithm, name, rest = encoded.split("$", 2)
        return name, f"{algorithm}${rest}"

    def _keyed(self, password: str, name: str) -> str:
        digest = salted_hmac(
            "accounts.hashing", password, secret=self._keys()[name], algorithm="sha256"
        ).digest()
        return base64.b64encode(digest).decode()

    @staticmethod
    def _keys() -> dict[str, str]:
        """Secret keys by a name that gives nothing of them away, the newest first."""
        return {
            salted_hmac("accounts.hashing.name", "", secret=key, algorithm="sha256").hexdigest()[
                :_KEY_ID_DIGITS
            ]: key
            for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
        }
