"""The public page and the screens about what leaves the house, in a browser: axe finds nothing,
nothing scrolls sideways, and the policy for scripts lets the data block be."""

import json

import pytest

from accounts.models import Role
from accounts.tokens import make_token
from surveys.models import PublicationAudience
from surveys.publishing.exact import note_exact_download
from tests.browser.conftest import faults_of
from tests.support.builders import make_member
from tests.support.frozen import small_program
from tests.support.published import published

pytestmark = pytest.mark.django_db(transaction=True)


def test_screens_are_accessible_and_the_data_block_is_read(signed_in):
    program = small_program()
    coordinator = make_member(program, Role.COORDINATOR)
    published(coordinator)
    program.publication_audience = PublicationAudience.LINK
    program.save()
    make_token(coordinator, name="report", scope="exact", days=30)
    note_exact_download(coordinator, what="Stops", path="/api/v1/example/records/stops/")
    home = f"/{program.slug}"
    version = f"/published/{program.slug}/by-link/{program.publication_key}/2024/1/"
    addresses = [
        version,
        version.removesuffix("2024/1/"),
        f"{home}/program/sharing/",
        f"{home}/program/sharing/exact-places/",
        f"{home}/access-tokens/",
        "/your-name/",
    ]
    complaints: list[str] = []
    page = signed_in(coordinator)
    page.on("console", lambda said: complaints.append(said.text))
    assert faults_of(page, addresses) == {}
    page.goto(version)
    block = page.locator('script[type="application/ld+json"]').text_content()
    assert json.loads(block)["@type"] == "Dataset"
    assert [said for said in complaints if "Content Security Policy" in said] == []
