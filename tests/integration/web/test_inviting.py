"""The screens of inviting many, and of joining by a link."""

import io
import re
import xml.etree.ElementTree as ET

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from openpyxl import Workbook
from PIL import Image
from procrastinate.contrib.django.models import ProcrastinateJob
from vl_convert import svg_to_png

from accounts.joining_links import make_link, url_of
from deploy.settings.common import ACCOUNT_RATE_LIMITS
from tests.support.builders import make_member, make_person

pytestmark = pytest.mark.django_db


def workbook(*rows: tuple[str, ...]) -> bytes:
    book, out = Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(out)
    return out.getvalue()


@pytest.fixture
def url(program) -> str:
    return f"/{program.slug}/program/people/invite-many"


def test_120_people_from_a_file_in_two_steps(program, coordinator, client_for, url):
    rows = [("Name", "Email"), *((f"Person {n}", f"p{n}@example.org") for n in range(120))]
    client = client_for(coordinator)
    file = SimpleUploadedFile("people.xlsx", workbook(*rows))
    page = client.post(url, {"people": "", "file": file, "role": "observer"})
    assert "Invite 120 people" in page.content.decode()
    assert not program.invitations.exists()
    lines = page.context["form"]["people"].value()
    sent = client.post(url, {"people": lines, "role": "observer", "send": "1"})
    assert sent.status_code == 302
    assert program.invitations.count() == 120
    assert ProcrastinateJob.objects.filter(task_name="accounts.send_invitation").count() == 120


def test_the_help_shows_how_an_address_is_written(coordinator, client_for, url):
    """Nothing of it is taken for a tag of the page."""
    page = client_for(coordinator).get(url).content.decode()
    assert "Ada Reed &lt;ada@example.org&gt;, or name and email" in page


def test_a_problem_keeps_everything_on_the_page(program, coordinator, client_for, url):
    text = "ada@example.org\nBo Marsh"
    for extra in ({}, {"send": "1"}):
        page = client_for(coordinator).post(url, {"people": text, "role": "partner", **extra})
        shown = page.content.decode()
        assert "Line 2: there is no email address in “Bo Marsh”" in shown
        assert page.context["form"]["people"].value() == text
        assert 'name="send"' not in shown
    assert not program.invitations.exists()


def test_a_file_that_is_none_gets_a_sentence(coordinator, client_for, url):
    file = SimpleUploadedFile("people.xlsx", b"PK\x03\x04 not a workbook")
    page = client_for(coordinator).post(
        url, {"people": "ada@example.org", "file": file, "role": "observer"}
    )
    assert "This is not a workbook that can be read" in page.content.decode()
    assert page.context["form"]["people"].value() == "ada@example.org"


@pytest.fixture
def link(coordinator):
    cache.clear()
    return make_link(coordinator, name="Workshop", days=30, most_uses=5)


def path_of(link) -> str:
    return url_of(link, "")


def test_the_answer_is_the_same_for_members_and_strangers(program, link):
    make_member(program, person=make_person("Ada", "ada@example.org"))
    answers = []
    for email in ("ada@example.org", "bot@example.org"):
        page = Client().post(path_of(link), {"name": "Ada", "email": email})
        shown = re.sub(r'value="[A-Za-z0-9]{64}"', "", page.content.decode())  # Against forgery.
        answers.append((page.status_code, shown.replace(email, "")))
    assert answers[0] == answers[1]
    assert "Check your email" in answers[0][1]
    assert not program.invitations.exists()


def test_an_address_is_not_flooded(link, settings):
    settings.ACCOUNT_RATE_LIMITS = ACCOUNT_RATE_LIMITS
    client = Client()
    answers = [
        client.post(path_of(link), {"name": "Ada", "email": "ada@example.org"}).status_code
        for _ in range(4)
    ]
    assert answers == [200, 200, 200, 429]
    assert ProcrastinateJob.objects.filter(task_name="accounts.invite_by_link").count() == 3


def test_a_revoked_link_is_gone_and_an_unknown_one_not_found(
    program, coordinator, client_for, link
):
    client_for(coordinator).post(f"/{program.slug}/program/people/links/{link.pk}/revoke")
    assert Client().get(path_of(link)).status_code == 410
    assert Client().get("/join/by-link/nothing").status_code == 404


def test_the_poster_shows_the_code_and_the_address(program, coordinator, client_for, link):
    client = client_for(coordinator)
    page = client.get(f"/{program.slug}/program/people/links/{link.pk}/poster").content.decode()
    assert url_of(link, "http://testserver/") in page
    assert "<svg" in page
    assert "style=" not in page[page.index("<svg") : page.index("</svg>")]
    drawn = client.get(f"/{program.slug}/program/people/links/{link.pk}/qr.svg")
    assert ET.fromstring(drawn.content).tag == "{http://www.w3.org/2000/svg}svg"
    # A reader of codes that is not ours finds the very address.
    reader = pytest.importorskip("zxingcpp", reason="zxing-cpp is in the development lock")
    picture = Image.open(io.BytesIO(svg_to_png(drawn.content.decode(), scale=4)))
    paper = Image.new("RGB", picture.size, "white")
    paper.paste(picture, mask=picture.getchannel("A"))
    (found,) = reader.read_barcodes(paper)
    assert found.text == url_of(link, "http://testserver/")
