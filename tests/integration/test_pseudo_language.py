"""Every screen, mail and printed sheet in a language that nobody speaks: what is not marked for
translation shows.

`tests/unit/publishing/test_report_pseudo_language.py` reads the report, and
`tests/browser/survey/test_pseudo_language.py` a night on the phone.
"""

import re

import pytest
from allauth.account.adapter import get_adapter
from django.conf import settings
from django.core import mail
from django.test import Client

from accounts.invitations import send_invitation
from accounts.models import Invitation
from surveys.guide.pages import guide_pages
from surveys.models import CallingRegion, ListeningPeriod, Species, Visit
from surveys.visits.loading import checklist_on
from surveys.visits.notices import mail_sent_back
from surveys.visits.tonight import route_on_night
from surveys.visits.verbs import send_back
from surveys.web.tonight.fieldsheet import field_sheet_html
from tests.integration.test_access import address, rows, world  # noqa: F401 - a fixture
from tests.integration.test_pseudo_letters import TECHNICAL_NAMES
from tests.support.builders import make_checklist, make_route
from tests.support.pseudo import (
    in_pseudo_language,
    unmarked,
    unmarked_in,
    words_of,
    words_of_the_database,
)
from tests.support.sheets import NIGHT, make_submitted

# Read by machines, or written whole in each language (the pages of the guide).
NOT_SCREENS = (
    *("web:guide_page", "web:rule", "api:", "healthz", "readyz", "metrics"),
    *("_csv", "_index", "dataset", "citation"),
)


@pytest.mark.parametrize("role", ["anonymous", "partner", "observer", "coordinator"])
def test_screens_say_nothing_unmarked(world, role):  # noqa: F811
    Species.objects.update(call="quick peeps", note="late in summer")
    CallingRegion.objects.update(name="Coastal plain")
    ListeningPeriod.objects.update(interrupted=True)
    Visit.objects.update(rain_48h_mm=None, rain_48h_is_trace=True)
    client = Client()
    if role != "anonymous":
        client.force_login(world.members[role].person)
    known = words_of_the_database()
    left, screens = {}, 0
    with in_pseudo_language():
        for name, method, who, expected in rows():
            if who != role or method != "GET" or expected != "ok":
                continue
            if any(part in name for part in NOT_SCREENS):
                continue
            response = client.get(address(world, name), follow=True)
            if not response.headers.get("Content-Type", "").startswith(("text/html", "image/svg")):
                continue
            screens += 1
            # Pages of the guide are in English until they are translated whole.
            titles = words_of(page.title for page in guide_pages()) if name == "web:guide" else ()
            words = unmarked_in(response.content.decode(), known.union(titles))
            if words:
                left[name] = words
    report = "\n".join(f"{name}: {words}" for name, words in left.items())
    assert screens > 5
    assert not left, report


def test_the_screen_of_operators_says_nothing_unmarked(world, settings):  # noqa: F811
    coordinator = world.members["coordinator"].person
    settings.OPERATORS = [coordinator.email]
    client = Client()
    client.force_login(coordinator)
    with in_pseudo_language():
        answer = client.get(address(world, "web:site_status"))
    assert answer.status_code == 200
    known = words_of_the_database() | TECHNICAL_NAMES | words_of([str(settings.MEDIA_ROOT)])
    assert unmarked_in(answer.content.decode(), known) == []


def test_the_printed_sheet_says_nothing_unmarked(observer, program):
    make_checklist(program)
    route = make_route(program)
    with in_pseudo_language():
        tonight = route_on_night(observer, route.code, NIGHT)
        html = field_sheet_html(tonight, observer, checklist_on(program, NIGHT))
    assert unmarked_in(html, words_of_the_database()) == []


def letter_words() -> list[str]:
    """Words of the one mail that was sent which are marked nowhere."""
    (letter,) = mail.outbox
    text = re.sub(r"\S+://\S+", "", f"{letter.subject}\n{letter.body}")
    return unmarked(text, words_of_the_database())


def test_the_mail_of_a_visit_sent_back_says_nothing_unmarked(observer, coordinator, program):
    visit = make_submitted(observer, make_route(program))
    send_back(coordinator, visit.pk, note="Look.", revision=visit.revision, site_url="https://x/")
    with in_pseudo_language():
        mail_sent_back(step_id=visit.steps.get(step="sent_back").pk, site_url="https://x/")
    assert letter_words() == []


def test_the_mail_of_an_invitation_says_nothing_unmarked(world):  # noqa: F811
    invitation = Invitation.objects.get(pk=world.arguments["invitation"])
    with in_pseudo_language():
        send_invitation(invitation_id=invitation.pk, site_url="https://x/")
    assert letter_words() == []


LETTERS = sorted(
    f"{path.parts[-3]}/email/{path.name.removesuffix('_subject.txt')}"
    for path in settings.BASE_DIR.glob("accounts/templates/*/email/*_subject.txt")
)


@pytest.mark.parametrize("letter", LETTERS)
def test_the_mails_about_an_account_say_nothing_unmarked(letter, observer, rf):
    facts = {
        "user": observer.person,
        "current_site": {"domain": "x.example", "name": "x.example"},
        "activate_url": "https://x.example/a/",
        "password_reset_url": "https://x.example/p/",
        "signup_url": "https://x.example/s/",
        "from_email": "old@x.example",
        "to_email": "new@x.example",
        "deleted_email": "old@x.example",
        "email": "old@x.example",
        "request": rf.get("/"),
    }
    with in_pseudo_language():
        message = get_adapter().render_mail(letter, "new@x.example", facts)
    text = re.sub(r"\S+://\S+|\S+@\S+|x\.example", "", f"{message.subject}\n{message.body}")
    assert unmarked(text, words_of_the_database()) == []
