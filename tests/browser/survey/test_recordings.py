"""Recording at the roadside: on the disk second by second, and whole on the server in the end.

Chromium's fake microphone beeps; what it gives is WebM as of RFC 8794.
"""

import hashlib
import time

import pytest

from surveys.models import Recording
from tests.browser.conftest import FLAGS, fill_sign_in
from tests.browser.survey.conftest import survey_url

pytestmark = pytest.mark.django_db(transaction=True)
MICROPHONE = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
# Every recording on the phone's disk, with the checksum of its sound.
ON_THE_PHONE = """async () => {
  const { all, fileOf } = await import("/static/web/survey/soundstore.js");
  const slug = JSON.parse(document.getElementById("survey-config").textContent).slug;
  return Promise.all((await all(slug)).map(async (one) => {
    const sound = await (await fileOf(one)).arrayBuffer();
    const digest = await crypto.subtle.digest("SHA-256", sound);
    const hex = [...new Uint8Array(digest)].map((b) => b.toString(16).padStart(2, "0")).join("");
    return { ...one, size: sound.byteLength, hex };
  }));
}"""


@pytest.fixture
def phone_options() -> dict:
    return {"args": [*FLAGS, *MICROPHONE], "permissions": ["geolocation", "microphone"]}


@pytest.fixture
def at_a_stop(phone, take_along):
    """The first stop, listening."""

    def go(*, offline: bool = True):
        page = take_along()
        phone.context.set_offline(offline)
        page.get_by_role("button", name="Survey the night of 15 April 2024").click()
        page.get_by_role("button", name="Go to stop 1").click()
        page.get_by_role("button", name="I am at the stop").click()
        page.get_by_role("button", name="Start before the wait is over").click()
        page.get_by_role("button", name="Record what calls").wait_for()
        return page

    return go


def record(page, seconds=2, button="Record what calls"):
    page.get_by_role("button", name=button).click()
    recorded(page, seconds)
    page.get_by_role("button", name="Stop and keep").click()


def recorded(page, seconds):
    """Wait until so much of the latest one is on the disk."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if any(one["seconds"] > seconds for one in page.evaluate(ON_THE_PHONE)[-1:]):
            return
        page.wait_for_timeout(200)
    pytest.fail(f"{seconds} s were not stored")


def stored(recording) -> bytes:
    with recording.audio.open("rb") as file:
        return file.read()


def test_recorded_without_a_network_killed_and_sent(phone, at_a_stop, observer, route):
    page = at_a_stop()
    record(page)
    page.get_by_label("What calls").select_option("pseudacris-crucifer")
    page.get_by_role("button", name="Done").click()
    page.get_by_text("1 recording on this phone only.").wait_for()

    # The battery dies in the middle of the second one.
    page.get_by_role("button", name="Record what calls").click()
    recorded(page, 3)
    phone.kill()
    phone.start(offline=True)
    page = phone.page
    page.goto(survey_url(observer))
    page.get_by_text("2 recordings on this phone only.").wait_for()
    whole, cut = page.evaluate(ON_THE_PHONE)
    assert (whole["species"], whole["state"]) == ("pseudacris-crucifer", "kept")
    assert (cut["state"], cut["seconds"] >= 3) == ("kept", True)
    assert Recording.objects.count() == 0

    phone.context.set_offline(False)
    page.get_by_role("button", name="entries on this phone only").click()
    # The browser lost its session when it died.
    page.get_by_role("link", name="Sign in").click()
    fill_sign_in(page, observer.person.email)
    page.get_by_text("2 recordings on the server.").wait_for()
    found = {str(one.pk): one for one in Recording.objects.select_related("stop", "species")}
    assert found.keys() == {whole["id"], cut["id"]}
    for here in (whole, cut):
        there = found[here["id"]]
        assert there.state == "complete"
        assert hashlib.sha256(stored(there)).hexdigest() == here["hex"] == there.sha256
        assert (there.bytes, there.stop.number, there.kind) == (here["size"], 1, "voucher")
    assert found[whole["id"]].species.code == "pseudacris-crucifer"
    assert found[cut["id"]].species is None
    assert stored(there)[:4] == bytes.fromhex("1a45dfa3")
    # The phone lets go of the sound, and keeps what is known of it.
    assert [one["size"] for one in page.evaluate(ON_THE_PHONE)] == [0, 0]
