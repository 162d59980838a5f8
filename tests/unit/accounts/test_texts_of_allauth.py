"""What django-allauth says is said in the words of this site, in pages, messages and mails."""

from pathlib import Path

import allauth
from django.conf import settings
from django.template.loader import get_template

from accounts.adapter import InvitationOnlyAdapter
from surveys.guide.words import old_words

THEIRS = Path(allauth.__file__).parent / "templates"
PARTS = ("account", "mfa", "usersessions")
# Without words, or for what is closed here: signing up, telephones, several addresses, codes in
# place of links, browsers that are trusted.
NOT_SHOWN = (
    "*/base*.html",
    "*/snippets/*",
    "*/download.txt",
    "account/email.html",
    "account/*signup*",
    "account/email/*signup*",
    "account/*phone*",
    "account/messages/phone*",
    "account/email/account_already_exists*",
    "account/email/email_confirm_*",
    "account/email/*_code_*",
    "account/confirm_*_code.html",
    "mfa/trust.html",
    "mfa/webauthn/signup_form.html",
)


def _shown():
    for part in PARTS:
        for path in sorted((THEIRS / part).rglob("*")):
            name = path.relative_to(THEIRS)
            if path.is_file() and not any(name.match(pattern) for pattern in NOT_SHOWN):
                yield str(name)


def test_pages_messages_and_mails_are_ours():
    names = list(_shown())
    assert len(names) > 50
    theirs = [name for name in names if THEIRS in Path(get_template(name).origin.name).parents]
    assert theirs == []


def test_errors_that_people_meet_are_ours():
    for key in ("incorrect_code", "incorrect_password", "email_taken", "rate_limited"):
        text = str(InvitationOnlyAdapter.error_messages[key])
        assert text.count(".") > 1, f"{key} does not say what to do: {text}"
        assert list(old_words(text)) == []


def test_a_code_works_as_long_as_its_letter_says():
    letter = get_template("account/email/login_code_message.txt").template.source
    assert "ten minutes" in letter
    assert settings.ACCOUNT_LOGIN_BY_CODE_TIMEOUT == 10 * 60
