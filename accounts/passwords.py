"""Passwords that are long enough and easy to guess all the same, or longer than anybody needs."""

import re
import string

from django.conf import settings
from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError

from accounts.models import Person
from surveys.language import gettext, said

FEWEST_CHARACTERS = 5
_REPEATED = re.compile(r"(.+?)\1+", re.DOTALL)


class LongPasswordValidator:
    """To hash a very long text takes long, and no person remembers one."""

    def __init__(self) -> None:
        self.most = settings.PASSWORD_LENGTHS[1]

    def validate(self, password: str, user: Person | None = None) -> None:
        if len(password) > self.most:
            raise ValidationError(
                said(
                    "This password has {number} characters. Use {most} at most.",
                    number=len(password),
                    most=self.most,
                )
            )

    def get_help_text(self) -> str:
        return said("At most {most} characters.", most=self.most)


class EasyPasswordValidator:
    """Refuses few characters in many places, a short text repeated, and a common password with
    digits or signs around it."""

    def __init__(self) -> None:
        self.common = CommonPasswordValidator().passwords

    def validate(self, password: str, user: Person | None = None) -> None:
        told = password.lower()
        if len(set(told)) < FEWEST_CHARACTERS or _REPEATED.fullmatch(told):
            raise ValidationError(
                gettext("This password repeats itself. Choose one with more different letters.")
            )
        if told.strip(string.digits + string.punctuation + " ") in self.common:
            raise ValidationError(
                gettext(
                    "This is a common password with a few digits or symbols added. Choose another."
                )
            )

    def get_help_text(self) -> str:
        return gettext("It can’t be a common word with digits or symbols added, or repeat itself.")
