"""Every screen in a language that nobody speaks: what is not marked for translation shows."""

import re
from html.parser import HTMLParser

import pytest
from django.core import mail
from django.test import Client

from surveys.publishing.method import CAVEATS
from surveys.trends import COLUMNS, FLAGS
from surveys.visits.notices import mail_sent_back
from surveys.visits.verbs import send_back
from tests.integration.test_access import address, rows, world  # noqa: F401 - a fixture
from tests.support.builders import make_route
from tests.support.pseudo import in_pseudo_language, unmarked, words_of_the_database
from tests.support.sheets import make_submitted

# Read by machines, or written whole in each language (the guide).
NOT_SCREENS = ("guide", "rule", "api:", "healthz", "_csv", "_index", "dataset", "citation")
# Not marked yet: the words of the statistics, which are stored and published as they are, and what
# a publication says of itself.
STATISTICS = frozenset(
    (
        *FLAGS.values(),
        *(flag for flags in FLAGS for flag in flags.split("; ")),
        *(column.meaning for column in COLUMNS),
        *CAVEATS,
        *("Species", "Stops detected", "Mean index", "not enough data"),
    )
)
# Pages that still say something unmarked: limits of protocols and presets, codes of wind, sky and
# noise, countries, units, the phase of the moon; sentences and intervals beside pictures of trends.
NOT_YET = frozenset(
    f"web:{name}"
    for name in (
        *("home", "tonight_route", "sheet", "visit", "review", "review_visit", "review_correct"),
        *("season_coverage", "power", "program", "program_protocols", "program_protocol_begin"),
        *("program_version", "sharing", "import_columns", "import_preview"),
        *("trend_species", "power_study"),
    )
) | {
    # These lead who is signed in already to the start page.
    *("account_login", "account_signup", "account_confirm_login_code"),
    *("account_request_login_code", "mfa_authenticate", "mfa_login_webauthn"),
}
PUBLICATION = ("Yearly table. Version", "What volunteers heard of calling")
SPOKEN = ("title", "aria-label", "alt", "placeholder")
SILENT = ("script", "style", "code", "pre", "svg", "template")


class Texts(HTMLParser):
    """What a person reads or hears of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag, attrs):
        self.silent += tag in SILENT
        self.texts += [value or "" for name, value in attrs if name in SPOKEN]

    def handle_endtag(self, tag):
        self.silent -= tag in SILENT

    def handle_data(self, data):
        if not self.silent:
            self.texts.append(data)


def exempt(text: str) -> bool:
    return text.strip() in STATISTICS or any(part in text for part in PUBLICATION)


@pytest.mark.parametrize("role", ["anonymous", "partner", "observer", "coordinator"])
def test_screens_say_nothing_unmarked(world, role):  # noqa: F811
    client = Client()
    if role != "anonymous":
        client.force_login(world.members[role].person)
    known = words_of_the_database()
    left, screens = {}, 0
    with in_pseudo_language():
        for name, method, who, expected in rows():
            if who != role or method != "GET" or expected != "ok":
                continue
            if name in NOT_YET or any(part in name for part in NOT_SCREENS):
                continue
            response = client.get(address(world, name), follow=True)
            if not response.headers.get("Content-Type", "").startswith("text/html"):
                continue
            screens += 1
            page = Texts()
            page.feed(response.content.decode())
            words = [text for text in page.texts if unmarked(text, known) and not exempt(text)]
            if words:
                left[name] = list(dict.fromkeys(words))
    report = "\n".join(f"{name}: {words}" for name, words in left.items())
    assert screens > 5
    assert not left, report


def test_mails_say_nothing_unmarked(observer, coordinator, program):
    visit = make_submitted(observer, make_route(program))
    send_back(coordinator, visit.pk, note="Look.", revision=visit.revision, site_url="https://x/")
    with in_pseudo_language():
        mail_sent_back(step_id=visit.steps.get(step="sent_back").pk, site_url="https://x/")
    (letter,) = mail.outbox
    text = re.sub(r"\S+://\S+", "", f"{letter.subject}\n{letter.body}")
    assert unmarked(text, words_of_the_database()) == []
