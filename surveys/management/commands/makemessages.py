"""`makemessages` that knows the functions of `surveys/language.py`."""

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    xgettext_options = [
        *makemessages.Command.xgettext_options,
        "--keyword=said",
        "--keyword=said_of:1,2",
        "--keyword=marked",
    ]
