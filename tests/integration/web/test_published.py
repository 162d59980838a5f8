"""The partner's page: who reaches it, what it says, and that what it says holds."""

import hashlib
import json
import re
from copy import deepcopy

import pytest
from django.test import Client

from accounts.models import Membership, Role
from surveys.models import (
    Audience,
    Program,
    Publication,
    PublicationAudience,
)
from surveys.trends.estimates import FLAG_NAMES, TOO_FEW_DATA
from tests.support.builders import (
    make_member,
    make_program,
)
from tests.support.frozen import small_program
from tests.support.published import (
    SITE,
    published,
)

pytestmark = pytest.mark.django_db
PATHS = (
    "",
    "index.json",
    "2024/",
    "2024/1/",
    "2024/1/index.json",
    "2024/1/dataset.jsonld",
    "2024/1/citation.txt",
    "2024/1/citation.bib",
    "2024/1/citation.json",
    "2024/1/files/SHA256SUMS.txt",
    "2024/1/files/data/occupancy.csv",
)


@pytest.fixture(scope="module")
def published_once(module_rows) -> tuple[Membership, Publication]:
    """It takes seconds to make."""
    coordinator = make_member(small_program(), Role.COORDINATOR)
    return coordinator, published(coordinator)


@pytest.fixture
def coordinator(published_once, db) -> Membership:
    return deepcopy(published_once[0])


@pytest.fixture
def program(coordinator) -> Program:
    return coordinator.program


@pytest.fixture
def publication(published_once, db) -> Publication:
    return deepcopy(published_once[1])


def seen_by(program: Program, audience: PublicationAudience) -> str:
    """The program's address, after who sees its publications was set."""
    program.publication_audience = audience
    program.save()
    return f"/published/{program.slug}/"


def by_link(program: Program) -> str:
    return f"{seen_by(program, PublicationAudience.LINK)}by-link/{program.publication_key}/"


def answers(client: Client, base: str) -> set[int]:
    statuses = set()
    for path in PATHS:
        answer = client.get(base + path, follow=path == "2024/" and "by-link" in base)
        statuses.add(answer.status_code)
    return statuses


def test_each_audience_reaches_the_page(program, publication, client_for):
    outsider = client_for(make_member(make_program(), Role.COORDINATOR))
    partner = client_for(make_member(program, Role.PARTNER))
    plain = f"/published/{program.slug}/"
    link = f"{plain}by-link/{program.publication_key}/"
    table = {
        # audience: (anonymous, outsider, partner) at the plain address; anonymous by the link
        PublicationAudience.MEMBERS: ({302}, {404}, {200, 302}, {404}),
        PublicationAudience.LINK: ({302}, {404}, {200, 302}, {200}),
        PublicationAudience.PUBLIC: ({200, 302}, {200, 302}, {200, 302}, {200}),
    }
    for audience, expected in table.items():
        seen_by(program, audience)
        by_reader = tuple(answers(client, plain) for client in (Client(), outsider, partner))
        assert (*by_reader, answers(Client(), link)) == expected, audience


def test_program_for_members_looks_like_a_missing_one(program, client):
    closed = client.get(f"/published/{program.slug}/")
    none = client.get("/published/no-such-program/")
    assert closed.status_code == none.status_code == 302
    assert closed.headers["Location"].startswith("/accounts/login/")
    assert none.headers["Location"].startswith("/accounts/login/")


@pytest.mark.parametrize("key", ["x", "é", "%01", "' or 1=1", "0" * 43])
def test_wrong_key_is_refused(program, client, key):
    seen_by(program, PublicationAudience.LINK)
    assert client.get(f"/published/{program.slug}/by-link/{key}/").status_code == 404
    assert client.get(f"/published/no-such-program/by-link/{key}/").status_code == 404


def test_renewing_the_link_revokes_the_old_one(program, coordinator, client, client_for):
    before = by_link(program)
    assert client.get(before).status_code == 200
    client_for(coordinator).post(f"/{program.slug}/program/sharing/renew-link")
    program.refresh_from_db()
    assert client.get(before).status_code == 404
    assert client.get(by_link(program)).status_code == 200


def test_only_safe_methods_are_allowed(program, client):
    assert client.post(seen_by(program, PublicationAudience.PUBLIC)).status_code == 405


def test_page_and_everything_it_links_to(program, publication, client):
    base = seen_by(program, PublicationAudience.PUBLIC) + "2024/1/"
    page = client.get(base)
    text = page.content.decode()
    _the_human_page(text, page, program, base)
    (flags,) = set(re.findall(r'data-label="Keep in mind" class="small">\s*([^<]*?)\s*</td>', text))
    assert FLAG_NAMES[TOO_FEW_DATA] in flags.split("; ")
    _the_index(client, base, publication)
    _the_files(client, base)
    assert "<script>" not in text
    assert "office@example.org" in text
    assert "Alex Marsh" not in text
    assert publication.published_by.name not in text


def _the_human_page(text: str, page, program: Program, base: str) -> None:
    stable = f"{SITE}/published/{program.slug}/2024/1/"
    assert re.search(rf"{re.escape(program.name)} \(20\d\d\)\. .* {re.escape(stable)}", text)
    (block,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', text, re.DOTALL)
    data = json.loads(block)
    assert data["@id"] == stable
    assert data["license"] == {"@id": "https://creativecommons.org/licenses/by/4.0/"}
    assert data["publisher"]["email"] == "office@example.org"
    links = {
        match[2]: match[1] for match in re.finditer(r'<([^>]+)>; rel="([a-z-]+)"', page["Link"])
    }
    assert links["cite-as"] == stable
    assert links["license"] == "https://creativecommons.org/licenses/by/4.0/"
    assert links["latest-version"] == f"http://testserver/published/{program.slug}/2024/1/"
    assert page["Cache-Control"] == "private, max-age=60"
    first = Client().get(base)
    again = Client().get(base, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again["Cache-Control"] == page["Cache-Control"]
    # A form token that goes with another cookie is never kept.
    client = Client()
    client.get(base)
    assert client.get(base, headers={"If-None-Match": first["ETag"]}).status_code == 200
    assert "Cookie" in page["Vary"]


def _the_index(client: Client, base: str, publication: Publication) -> None:
    index = client.get(base + "index.json").json()
    assert index["superseded_by"] is None
    assert index["sha256"] == publication.sha256
    assert index["first_year"] == 2021
    open_files = publication.files.filter(audience=Audience.OPEN)
    assert [entry["kind"] for entry in index["files"]] == [file.kind for file in open_files]
    assert not any(entry["kind"].startswith("exact/") for entry in index["files"])
    for entry in index["files"]:
        answer = client.get(entry["url"].removeprefix("http://testserver"))
        body = answer.getvalue()
        assert hashlib.sha256(body).hexdigest() == entry["sha256"]
        assert len(body) == entry["bytes"] == int(answer["Content-Length"])
        assert answer["Cache-Control"] == "public, max-age=3600, must-revalidate"
    for name in ("index.json", "dataset.jsonld", "citation.txt", "citation.bib", "citation.json"):
        first = client.get(base + name)
        again = client.get(base + name, headers={"If-None-Match": first["ETag"]})
        assert (first.status_code, again.status_code) == (200, 304)
        assert "max-age=300" in first["Cache-Control"]


def _the_files(client: Client, base: str) -> None:
    path = base + "files/data/stops.csv"
    whole = client.get(path)
    assert client.get(path, headers={"If-None-Match": whole["ETag"]}).status_code == 304
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200
    head = client.head(path)
    assert (head.status_code, head["Content-Length"]) == (200, whole["Content-Length"])
    for missing in ("exact/stops.csv", "data/../method.txt", "data/none.csv"):
        assert client.get(f"{base}files/{missing}").status_code == 404


def test_every_url_of_a_link_holder_has_the_key(program, publication, client):
    base = by_link(program)
    page = client.get(base + "2024/1/")
    assert page["X-Robots-Tag"] == "noindex"
    index = client.get(base + "2024/1/index.json").json()
    url = index["files"][0]["url"].removeprefix("http://testserver")
    assert url.startswith(base)
    answer = client.get(url)
    assert answer.status_code == 200
    assert answer["Cache-Control"].startswith("private")
    # What is cited holds no key: it may be renewed.
    assert program.publication_key not in index["citation"]
    assert program.publication_key not in client.get(base + "2024/1/citation.bib").content.decode()


def test_superseded_version_says_so(program, publication, coordinator, client):
    base = seen_by(program, PublicationAudience.PUBLIC)
    before = client.get(base + "2024/1/")
    program.checklist.order_by("-order").first().delete()
    second = published(coordinator, reason="The gopher frog was taken off the list.")
    old = client.get(base + "2024/1/", headers={"If-None-Match": before["ETag"]})
    assert old.status_code == 200
    assert "A newer version replaces this one" in old.content.decode()
    assert f'{base}2024/2/">Go to version 2' in old.content.decode()
    assert f'<http://testserver{base}2024/2/>; rel="latest-version"' in old["Link"]
    assert client.get(base + "2024/1/dataset.jsonld").json()["creativeWorkStatus"] == "Superseded"
    index = client.get(base + "2024/1/index.json").json()
    assert index["superseded_by"] == f"http://testserver{base}2024/2/"
    assert client.get(base + "2024/").headers["Location"].endswith("/2024/2/")
    listed = client.get(base + "index.json").json()["publications"]
    assert [(entry["version"], entry["newest"]) for entry in listed] == [(2, True), (1, False)]
    assert second.reason in client.get(base + "2024/2/").content.decode()
    assert client.get(base + "2024/9/").status_code == 404
    assert client.get(base + "2023/").status_code == 404


def test_license_is_the_one_at_publication(program, publication, client):
    base = seen_by(program, PublicationAudience.PUBLIC)
    program.data_license = "CC0-1.0"
    program.contact_email = ""
    program.save()
    facts = client.get(base + "2024/1/dataset.jsonld").json()
    assert facts["license"] == {"@id": "https://creativecommons.org/licenses/by/4.0/"}


def test_without_publications(client, db):
    base = seen_by(make_program(), PublicationAudience.PUBLIC)
    assert b"Nothing is published yet" in client.get(base).content
    assert client.get(base + "index.json").json()["publications"] == []
