"""A withdrawn publication: nothing of it can be read on any way, and how it was cited stays; and
which publications say too much since a species became more sensitive."""

from collections import Counter
from copy import deepcopy

import pytest
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection, transaction
from django.http import Http404
from django.test import Client
from django.urls import reverse

from accounts.models import Role
from surveys.models import (
    Publication,
    PublicationAudience,
    PublicationFile,
    PublicationPiece,
    Sensitivity,
    Withdrawal,
)
from surveys.publishing.exceptions import AlreadyWithdrawn, ReasonToWithdrawNeeded
from surveys.publishing.formats.registry import FORMATS
from surveys.publishing.reading import published_null_runs, rows_of
from surveys.publishing.withdrawing import newest_standing, too_exact, withdraw_publication
from tests.support.builders import make_member, make_program
from tests.support.frozen import small_program
from tests.support.publishing import publish_now

pytestmark = pytest.mark.django_db
SITE = "https://frogs.example.org"
REASON = "A location was given too exactly."
FILES = ("files/data/yearly.csv", "files/SHA256SUMS.txt", "files/method.txt")
DESCRIPTION = [one for one in FORMATS if one.kind == "datapackage.json"]
MACHINES = ("index.json", "dataset.jsonld")


@pytest.fixture(scope="module")
def made_once(module_rows):
    """Version 1 of 2024: the tables, and the format that says where it is to be found."""
    coordinator = make_member(small_program(), Role.COORDINATOR, exact_places=True)
    return coordinator, publish_now(coordinator, 2024, formats=DESCRIPTION, site_url=SITE)


@pytest.fixture
def coordinator(made_once, db):
    return deepcopy(made_once[0])


@pytest.fixture
def program(coordinator):
    coordinator.program.publication_audience = PublicationAudience.PUBLIC
    coordinator.program.save()
    return coordinator.program


@pytest.fixture
def base(program):
    return f"/published/{program.slug}/"


def withdraw(coordinator, version=1, reason=REASON):
    here = f"http://testserver/published/{coordinator.program.slug}/2024/{version}/"
    return withdraw_publication(coordinator, 2024, version, reason=reason, here=here)


def stops_published(publication):
    """How many by the side of the grid cell; None is exact."""
    header, rows = rows_of(publication, "stops")
    return Counter(row[header.index("grid_degrees")] for row in rows)


def second_version(program):
    """A version 2, as a correction; what it holds does not matter here."""
    second = program.publications.get()
    second.pk, second.version, second.reason = None, 2, "A late visit."
    second.save()
    return second


def test_nothing_is_left_of_its_files(program, coordinator, base):
    before = Client().get(f"{base}2024/1/citation.txt").content.decode().strip()
    assert PublicationPiece.objects.exists()
    withdrawal = withdraw(coordinator)
    assert not PublicationFile.objects.exists()
    assert not PublicationPiece.objects.exists()
    assert (withdrawal.withdrawn_by, withdrawal.reason) == (coordinator.person, REASON)
    assert withdrawal.url == f"{SITE}{base}2024/1/"
    client = Client()
    page = client.get(f"{base}2024/1/")
    assert page.status_code == 410
    text = page.content.decode()
    assert REASON in text
    assert before in text
    for path in (*FILES, "files/none.csv"):
        answer = client.get(f"{base}2024/1/{path}")
        assert answer.status_code == 410
        assert REASON in answer.content.decode()
    for path in MACHINES:
        facts = client.get(f"{base}2024/1/{path}")
        assert (facts.status_code, facts.json()["withdrawn"]["reason"]) == (410, REASON)
        assert facts.json()["newest"] is None


def test_its_citation_stays_and_says_so(program, coordinator, base):
    client = Client()
    paths = [f"{base}2024/1/citation.{form}" for form in ("txt", "bib", "json")]
    before = [client.get(path).content.decode() for path in paths]
    withdraw(coordinator)
    after = [client.get(path) for path in paths]
    assert [answer.status_code for answer in after] == [200] * 3
    for old, new in zip(before, after, strict=True):
        text = new.content.decode()
        assert "Withdrawn" in text
        assert "Withdrawn" not in old
        assert f"{SITE}{base}2024/1/" in text
    assert (
        after[2]
        .json()[0]["note"]
        .startswith(client.get(paths[2]).json()[0]["note"].split(". Withdrawn")[0])
    )


def test_lists_and_the_year_lead_to_what_stands(program, coordinator, base):
    second = second_version(program)
    client = Client()
    assert client.get(f"{base}2024/")["Location"].endswith("/2024/2/")
    withdraw(coordinator, version=2)
    assert newest_standing(program, 2024).version == 1
    assert client.get(f"{base}2024/")["Location"].endswith("/2024/1/")
    old = client.get(f"{base}2024/1/")
    assert "A newer version replaces" not in old.content.decode()
    tombstone = client.get(f"{base}2024/2/").content.decode()
    assert f'{base}2024/1/">Go to version 1' in tombstone
    listed = client.get(f"{base}index.json").json()["publications"]
    assert [(one["version"], one["newest"], one["withdrawn"] is None) for one in listed] == [
        (2, False, False),
        (1, True, True),
    ]
    assert "withdrawn" in client.get(base).content.decode()
    withdraw(coordinator)
    assert client.get(f"{base}2024/")["Location"].endswith(f"/2024/{second.version}/")
    assert newest_standing(program, 2024) is None
    assert published_null_runs(program) == {}


def test_members_and_scripts_get_nothing_of_it_either(program, coordinator, client_for):
    withdraw(coordinator)
    client = client_for(coordinator)
    at = {"program": program.slug, "season_year": 2024, "version": 1}
    for name, more in (
        ("publication", {}),
        ("publication_file", {"kind": "data/yearly.csv"}),
        ("publication_withdraw", {}),
    ):
        answer = client.get(reverse(f"web:{name}", kwargs=at | more))
        assert answer.status_code == 410, name
        assert REASON in answer.content.decode()
    listed = client.get(reverse("web:publications", args=[program.slug])).content.decode()
    assert "withdrawn" in listed
    api = f"/api/v1/{program.slug}/publications/"
    (row,) = client.get(api).json()["results"]
    assert row["withdrawn"]["reason"] == REASON
    whole = client.get(f"{api}2024/1/").json()
    assert (whole["files"], whole["newest_version"]) == ([], None)
    gone = client.get(f"{api}2024/1/files/data/yearly.csv")
    assert gone.status_code == 410
    assert "withdrawn" in gone.json()["detail"]


def differences_kept():
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM accounts_cache WHERE cache_key LIKE '%difference%'")
        return cursor.fetchone()[0]


def test_a_comparison_with_it_is_gone(program, coordinator, client_for):
    second_version(program)
    client = client_for(coordinator)
    changes = f"/{program.slug}/publications/2024/2/changes/"
    page = f"/{program.slug}/publications/2024/2/"
    assert client.get(changes).status_code == 200
    assert differences_kept()
    assert changes in client.get(page).content.decode()
    withdraw(coordinator)
    assert not differences_kept()
    assert client.get(changes).status_code == 410
    assert changes not in client.get(page).content.decode()


def test_the_next_version_has_a_number_of_its_own(program, coordinator):
    withdraw(coordinator)
    again = publish_now(coordinator, 2024, "Locations are coarser.", site_url=SITE)
    assert again.version == 2
    assert again.files.exists()


def test_what_stands_in_the_way(program, coordinator):
    with pytest.raises(ReasonToWithdrawNeeded):
        withdraw(coordinator, reason="  ")
    with pytest.raises(Http404):
        withdraw(coordinator, version=7)
    for role in (Role.OBSERVER, Role.PARTNER):
        with pytest.raises(PermissionDenied):
            withdraw(make_member(program, role))
    with pytest.raises(Http404):
        withdraw(make_member(make_program(), Role.COORDINATOR))
    assert program.publications.get().files.exists()
    withdraw(coordinator)
    with pytest.raises(AlreadyWithdrawn):
        withdraw(coordinator)


@pytest.mark.parametrize(
    "change",
    [
        lambda: PublicationFile.objects.all().delete(),
        lambda: PublicationPiece.objects.all().delete(),
        lambda: PublicationFile.objects.update(kind="x"),
        lambda: PublicationPiece.objects.update(number=99),
        lambda: Publication.objects.update(title="x"),
    ],
)
def test_the_database_keeps_the_files_of_what_stands(coordinator, change):
    """Of another publication that was withdrawn, too."""
    other = Publication.objects.get()
    other.pk, other.season_year = None, 2023
    other.save()
    Withdrawal.objects.create(
        publication=other, reason="x", url="x", license="x", withdrawn_by=coordinator.person
    )
    with pytest.raises(DatabaseError, match="Cannot"), transaction.atomic():
        change()


@pytest.mark.parametrize(
    "change",
    [
        lambda: Withdrawal.objects.update(reason="x"),
        lambda: Withdrawal.objects.all().delete(),
        lambda: Publication.objects.all().delete(),
    ],
)
def test_a_withdrawal_is_for_good(coordinator, change):
    withdraw(coordinator)
    with pytest.raises((DatabaseError, Exception), match="Cannot"), transaction.atomic():
        change()


def test_on_the_screen(program, coordinator, client_for):
    client = client_for(coordinator)
    path = reverse("web:publication_withdraw", args=[program.slug, 2024, 1])
    assert path in client.get(f"/{program.slug}/publications/2024/1/").content.decode()
    unsure = client.post(path, {"reason": REASON})
    assert unsure.status_code == 422
    assert REASON in unsure.content.decode()
    assert "Check this box to withdraw it." in unsure.content.decode()
    assert not Withdrawal.objects.exists()
    done = client.post(path, {"reason": REASON, "sure": "on"}, follow=True)
    assert "is withdrawn" in done.content.decode()
    assert Withdrawal.objects.get().reason == REASON


def test_a_program_that_turns_to_members_is_closed_at_once(program, base):
    client = Client()
    paths = [base, f"{base}2024/1/", *(f"{base}2024/1/{one}" for one in (*FILES, *MACHINES))]
    assert {client.get(path).status_code for path in paths} == {200}
    program.publication_audience = PublicationAudience.MEMBERS
    program.save()
    answers = [client.get(path) for path in paths]
    assert {answer.status_code for answer in answers} == {302}
    assert {answer["Cache-Control"] for answer in answers} == {"private, no-store"}


def test_a_more_sensitive_species_makes_publications_too_exact(program, coordinator, client_for):
    assert too_exact(program) == []
    peeper = program.checklist.get(species__scientific_name="Pseudacris crucifer")
    client = client_for(coordinator)
    page = reverse("web:program_entry", args=[program.slug, peeper.pk])
    seen = client.get(page).context["form"].seen_text
    saved = client.post(page, {"sensitivity": Sensitivity.MEDIUM, "seen": seen}, follow=True)
    link = reverse("web:too_exact", args=[program.slug])
    assert "1 publication gives locations more exactly" in saved.content.decode()
    assert f'<a href="{link}">' in saved.content.decode()
    # It was recorded on the open route; the other one was coarser than that already.
    (found,) = too_exact(program)
    assert found.stops == stops_published(found.publication)[None]
    listed = client.get(link).content.decode()
    assert found.publication.title in listed
    withdraw(coordinator)
    assert too_exact(program) == []
    assert "No publication is too exact" in client.get(link).content.decode()


@pytest.mark.parametrize("level", Sensitivity)
def test_too_exact_is_measured_by_the_grid_of_the_program(program, level):
    """The routes were published open, and with cells of 0.1 degrees."""
    program.place_sharing = level
    program.save()
    by_grid = stops_published(program.publications.get())
    assert set(by_grid) == {None, 0.1}
    expected = {
        Sensitivity.OPEN: 0,
        Sensitivity.LOW: by_grid[None],
        Sensitivity.MEDIUM: by_grid[None],
        Sensitivity.HIGH: by_grid[None],
        Sensitivity.EXTREME: by_grid[None] + by_grid[0.1],
    }[level]
    assert sum(one.stops for one in too_exact(program)) == expected
