"""The words of a reminder: the coordinator's places are filled, and nothing else happens."""

import pytest
from django.core.exceptions import ValidationError

from surveys.models import Program, ReminderKind
from surveys.reminders.texts import Words, check_words, filled_words, usual_words

PROGRAM = Program(name="Larkmoor", contact_email="hello@example.org")


def words(subject: str = "", text: str = "", *, name: str = "Ada", kind=ReminderKind.HALF_GONE):
    return filled_words(
        kind,
        Words(subject=subject, text=text),
        PROGRAM,
        name=name,
        lines=["Route R01", "Route R02"],
        link="https://frogs.example.org/larkmoor/tonight/",
    )


@pytest.mark.parametrize("kind", ReminderKind)
def test_the_usual_words_have_every_place_filled(kind):
    mail = words(kind=kind)
    assert "{" not in mail.subject + mail.text
    assert "Hello Ada,\n" in mail.text
    assert "- Route R01\n- Route R02" in mail.text
    assert "https://frogs.example.org/larkmoor/tonight/" in mail.text
    check_words(usual_words(kind).subject, usual_words(kind).text)


@pytest.mark.parametrize("kind", ReminderKind)
def test_the_address_is_introduced(kind):
    *_, leads, link = usual_words(kind).text.split("\n\n")
    assert (leads[-1], link) == (":", "{link}")


def test_own_words_are_filled_and_not_run():
    mail = words("For {name}", "{list} {{ 1|add:1 }} {% now 'Y' %} {0} {name.__class__} {contact}")
    assert mail.subject == "For Ada"
    assert mail.text == (
        "- Route R01\n- Route R02 {{ 1|add:1 }} {% now 'Y' %} {0} {name.__class__} "
        "hello@example.org"
    )


def test_a_name_is_not_filled_again_and_breaks_no_subject():
    mail = words("For {name}", "{list}", name="{contact}\nBcc: x@example.org")
    assert mail.subject == "For {contact} Bcc: x@example.org"


@pytest.mark.parametrize(
    ("subject", "text", "field", "sentence"),
    [
        ("", "{list} {nmae}", "text", "{nmae} is not a placeholder. Use {name}, {program}, {list}"),
        ("{x}", "", "subject", "{x} is not a placeholder."),
        ("one\ntwo", "", "subject", "The subject is one line."),
        ("", "Go out.", "text", "Add {list}: it says what is due."),
    ],
)
def test_words_that_cannot_be_sent(subject, text, field, sentence):
    with pytest.raises(ValidationError) as refusal:
        check_words(subject, text)
    assert sentence in " ".join(refusal.value.message_dict[field])
