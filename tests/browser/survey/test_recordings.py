"""Recording at the roadside: on the disk second by second, and whole on the server in the end.

Chromium's fake microphone beeps; what it gives is WebM as of RFC 8794.
"""

import datetime as dt
import hashlib
import time

import pytest

from surveys.models import (
    Recording,
    RecordingPiece,
    Visit,
)
from tests.browser.conftest import PATIENCE_MS, fill_sign_in
from tests.browser.survey.conftest import (
    send,
    survey_url,
)

pytestmark = pytest.mark.django_db(transaction=True)
WITH_MICROPHONE = {"permissions": ["geolocation", "microphone"]}
# Every recording on the phone's disk, with the checksum of its sound.
ON_THE_PHONE = """async () => {
  const { all, fileOf } = await import("/static/survey/soundstore.js");
  const slug = JSON.parse(document.getElementById("survey-config").textContent).slug;
  return Promise.all((await all(slug)).map(async (one) => {
    const sound = await (await fileOf(one)).arrayBuffer();
    const digest = await crypto.subtle.digest("SHA-256", sound);
    const hex = [...new Uint8Array(digest)].map((b) => b.toString(16).padStart(2, "0")).join("");
    return { ...one, size: sound.byteLength, hex };
  }));
}"""

# How many dots of a picture are not blank.
INK = """(canvas) => {
  const { width, height } = canvas;
  const { data } = canvas.getContext("2d").getImageData(0, 0, width, height);
  return data.filter((value, at) => at % 4 === 3 && value > 0).length;
}"""

# A microphone that hears a whistle of this loudness; full scale is 1.
HEAR = """(loudness) => {
  navigator.mediaDevices.getUserMedia = async () => {
    const context = new AudioContext();
    const whistle = new OscillatorNode(context, { frequency: 2800 });
    const gain = new GainNode(context, { gain: loudness });
    const heard = new MediaStreamAudioDestinationNode(context);
    whistle.connect(gain).connect(heard);
    whistle.start();
    await context.resume();
    return heard.stream;
  };
}"""


@pytest.fixture
def phone_options() -> dict:
    return WITH_MICROPHONE


@pytest.fixture
def at_a_stop(phone, take_along):
    """The first stop, listening."""

    def go(*, offline: bool = True):
        page = take_along()
        phone.context.set_offline(offline)
        page.get_by_role("button", name="Survey the night of 15 April 2024").click()
        page.get_by_role("button", name="Go to stop 1").click()
        page.get_by_role("button", name="I am at the stop").click()
        page.get_by_role("button", name="Start listening early").click()
        page.get_by_role("button", name="Record this call").wait_for()
        return page

    return go


def record(page, seconds=2, button="Record this call"):
    page.get_by_role("button", name=button).click()
    recorded(page, seconds)
    page.get_by_role("button", name="Stop and save").click()


def recorded(page, seconds):
    """Wait until so much of the latest one is on the disk."""
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < deadline:
        if any(one["seconds"] > seconds for one in page.evaluate(ON_THE_PHONE)[-1:]):
            return
        page.wait_for_timeout(200)
    pytest.fail(f"{seconds} s were not stored")


def stored(recording) -> bytes:
    with recording.audio.open("rb") as file:
        return file.read()


@pytest.mark.parametrize("phone_options", [{**WITH_MICROPHONE, "killable": True}], ids=["killable"])
def test_recorded_without_a_network_killed_and_sent(phone, at_a_stop, observer, route):
    page = at_a_stop()
    record(page)
    picture = page.get_by_role("img", name="Picture of the sound")
    picture.wait_for()
    assert picture.evaluate(INK) > 100
    assert "Loudest pitch: about" in page.get_by_role("dialog").inner_text()
    page.get_by_label("Species").select_option("pseudacris-crucifer")
    page.get_by_role("button", name="Done").click()
    page.get_by_text("1 recording on this phone only.").wait_for()

    # The battery dies in the middle of the second one.
    page.get_by_role("button", name="Record this call").click()
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

    # Chromium stores cookies every 30 s only: the session may or may not have outlived it.
    phone.context.clear_cookies()
    phone.context.set_offline(False)
    page.get_by_role("button", name="entries on this phone only").click()
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
    assert found[whole["id"]].recorded_at == dt.datetime.fromisoformat(whole["begun_at"])
    assert found[whole["id"]].species.code == "pseudacris-crucifer"
    assert found[cut["id"]].species is None
    assert stored(there)[:4] == bytes.fromhex("1a45dfa3")
    # The phone lets go of the sound, and keeps what is known of it.
    assert [one["size"] for one in page.evaluate(ON_THE_PHONE)] == [0, 0]


def test_a_poor_recording_is_made_again_before_the_stop_is_left(at_a_stop):
    page = at_a_stop()
    shown = page.get_by_role("dialog")
    page.evaluate(HEAR, 5)
    record(page, 1)
    shown.get_by_text("Too loud: part of the sound is cut off.").wait_for()
    page.evaluate(HEAR, 0)
    shown.get_by_role("button", name="Record again").click()
    # A twentieth of it may be the end of the noise before, which a busy machine hands on late.
    recorded(page, 8)
    page.get_by_role("button", name="Stop and save").click()
    shown.get_by_text("Hardly anything is on it.").wait_for()
    page.evaluate(HEAR, 0.3)
    shown.get_by_role("button", name="Record again").click()
    recorded(page, 1)
    page.get_by_role("button", name="Stop and save").click()
    shown.get_by_text("Loudest pitch: about 2,800 Hz.").wait_for()
    assert shown.get_by_role("button", name="Record again").count() == 0
    shown.get_by_role("button", name="Done").click()
    assert [one["stop"] for one in page.evaluate(ON_THE_PHONE)] == [1, 1, 1], "none is lost"


def test_screens(phone, at_a_stop, look):
    page = at_a_stop()
    look("20-stop")
    page.get_by_role("button", name="Record this call").click()
    recorded(page, 1)
    look("21-recording")
    page.get_by_role("button", name="Stop and save").click()
    page.get_by_label("Species").wait_for()
    look("22-recorded")
    page.get_by_role("button", name="Play").click()
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Unknown call").click()
    look("23-cannot-name")
    page.get_by_role("button", name="Voice note").click()
    recorded(page, 1)
    look("24-voice-note")
    page.get_by_role("button", name="Stop and save").click()
    page.get_by_text("2 recordings on this phone only.").wait_for()
    page.get_by_role("heading", name="Recordings").evaluate("node => node.scrollIntoView()")
    look("25-kept")
    page.locator("[data-recording]").first.click()
    page.get_by_role("button", name="Delete this recording").click()
    look("26-delete")
    page.get_by_role("button", name="Cancel").click()
    page.get_by_text("Correct the times").click()
    page.get_by_label("Listening from").wait_for()
    phone.pass_time(seconds=8)
    page.locator("#snack > div").wait_for(state="detached")
    page.mouse.wheel(0, 5000)
    look("27-times")
    page.get_by_role("button", name="on this phone only").first.click()
    page.get_by_role("heading", name="Recordings").evaluate("node => node.scrollIntoView()")
    look("28-summary")
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Back").click()
    page.get_by_text("2 recordings on this phone only.").first.wait_for()
    look("29-home")
    phone.context.set_offline(False)
    page.get_by_role("button", name="Send now").click()
    page.get_by_text("2 recordings on the server.").wait_for()
    look("30-sent")


# A recording of 1.2 MB, as from some minutes of sound: five pieces on the way.
LONG = """async () => {
  const { begin, append, finish } = await import("/static/survey/soundstore.js");
  const config = JSON.parse(document.getElementById("survey-config").textContent);
  const { model } = await import("/static/survey/model.js");
  const about = { slug: config.slug, visit: model.visit.id, person: model.visit.person.id };
  const id = crypto.randomUUID();
  const said = { stop: 1, species: "", kind: "voucher", media_type: "audio/webm" };
  await begin({ ...about, ...said, id, begun_at: "2024-04-16T01:30:00.000Z" });
  for (let number = 0; number < 30; number += 1) {
    const piece = crypto.getRandomValues(new Uint8Array(40_000));
    if (number === 0) piece.set([0x1a, 0x45, 0xdf, 0xa3]);
    await append(id, number, piece.buffer, number + 1);
  }
  await finish(id);
}"""
ANSWERS_LOST = {2: "after", 3: "before", 5: "after", 6: "garbled"}


def test_answers_are_lost_and_the_upload_goes_on(phone, at_a_stop):
    """tus 1.0.0, Core Protocol: after a failure HEAD tells the offset; nothing is sent twice
    that the server has, and nothing is doubled."""
    page = at_a_stop()
    page.evaluate(LONG)
    page.get_by_text("1 recording on this phone only.").wait_for()
    (here,) = page.evaluate(ON_THE_PHONE)
    assert here["size"] == 1_200_000
    sent = []

    def lose(route):
        request = route.request
        if request.method != "PATCH":
            return route.fallback()
        sent.append(int(request.headers["upload-offset"]))
        how = ANSWERS_LOST.get(len(sent))
        if how == "after":
            route.fetch()
        if how in ("after", "before"):
            return route.abort("connectionreset")
        if how == "garbled":
            body = bytearray(request.post_data_buffer)
            body[100] ^= 1
            return route.continue_(post_data=bytes(body))
        return route.fallback()

    phone.context.route("**/recordings/**", lose)
    phone.context.set_offline(False)
    page.get_by_role("button", name="on this phone only").first.click()
    send(page)
    arrived = page.get_by_text("1 recording on the server.")
    tried_later = page.get_by_text("we will keep trying")
    arrived.or_(tried_later).first.wait_for()
    while tried_later.first.is_visible():
        # While nothing is under way: turning the clock on ends the patience with a request.
        phone.pass_time(seconds=301)
        page.wait_for_timeout(500)
        arrived.or_(tried_later).first.wait_for()
    arrived.wait_for()
    there = Recording.objects.get()
    assert hashlib.sha256(stored(there)).hexdigest() == here["hex"]
    assert not RecordingPiece.objects.exists()
    # Five pieces, one lost on its way, one damaged on its way.
    assert sorted(sent) == sorted([*range(0, 1_200_000, 262_144), *repeated(sent)])
    assert len(repeated(sent)) == 2


def repeated(offsets):
    return [offset for offset in set(offsets) for _ in range(offsets.count(offset) - 1)]


def test_two_tabs_send_at_once(phone, at_a_stop, observer):
    page = at_a_stop()
    page.evaluate(LONG)
    page.evaluate(LONG)
    other = phone.context.new_page()
    phone.context.set_offline(False)
    other.goto(survey_url(observer))
    other.locator("body[data-ready]").wait_for()
    for tab in (page, other):
        tab.evaluate("() => import('/static/survey/recordings.js').then(({ soon }) => soon(0))")
    for tab in (page, other):
        tab.get_by_text("2 recordings on the server.").wait_for()
    here = {one["sha256"] for one in page.evaluate(ON_THE_PHONE)}
    assert {hashlib.sha256(stored(one)).hexdigest() for one in Recording.objects.all()} == here
    assert Recording.objects.count() == len(here) == 2


def test_no_room_on_the_server_is_said_and_the_recording_waits(phone, at_a_stop):
    page = at_a_stop()
    page.evaluate(LONG)
    words = "Your photos, recordings and imported files would have more than 5 GB."
    full = {"status": 507, "json": {"detail": words}}
    phone.context.route("**/recordings/", lambda route: route.fulfill(**full))
    phone.context.set_offline(False)
    page.get_by_role("button", name="on this phone only").first.click()
    send(page)
    page.get_by_text(words).first.wait_for()
    assert page.evaluate(ON_THE_PHONE)[0]["trouble"] == {"words": words, "stops": False}
    assert [problem.endswith(" 507") for problem in phone.problems] == [True]
    phone.problems.clear()
    phone.context.unroute("**/recordings/")
    page.evaluate("() => import('/static/survey/recordings.js').then(({ soon }) => soon(0))")
    page.get_by_text("1 recording on the server.").wait_for()


def test_one_deleted_and_one_without_a_name(phone, at_a_stop):
    """What was deleted before it was sent never reaches the server; an unknown call leaves a
    line in the note, whatever becomes of its sound."""
    page = at_a_stop()
    record(page, 1)
    page.get_by_role("button", name="Delete this recording").click()
    page.get_by_role("button", name="Delete it").click()
    page.locator("[data-recording]").wait_for(state="detached")
    assert page.evaluate(ON_THE_PHONE) == []
    page.get_by_role("button", name="Unknown call").click()
    page.get_by_role("button", name="Voice note").click()
    recorded(page, 1)
    page.get_by_role("button", name="Stop and save").click()
    page.locator("#snack > div", has_text="a line added to the note of stop 1").wait_for()
    phone.context.set_offline(False)
    page.get_by_role("button", name="entries on this phone only").click()
    send(page)
    page.get_by_text("1 recording on the server.").wait_for()
    there = Recording.objects.select_related("visit").get()
    assert (there.kind, there.species, there.state) == ("note", None, "complete")
    assert there.visit.cells["stops.1.note"] == "Unknown call at 20:30."


# Chromium on a desktop does not say what kind of network it has; a phone's does.
ON_MOBILE_DATA = """() => {
  Object.defineProperty(navigator.connection, "type", { value: "cellular" });
}"""


def test_by_wifi_only(phone, at_a_stop):
    """The visit goes at once; the sound waits until it is asked for."""
    page = at_a_stop(offline=False)
    page.evaluate(ON_MOBILE_DATA)
    page.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Back").click()
    page.get_by_text("Settings").click()
    page.get_by_label("Send recordings over Wi-Fi only").check()
    page.evaluate(LONG)
    page.get_by_role("button", name="a draft").click()
    phone.pass_time(seconds=8)  # No sentence stands over the buttons any more.
    page.get_by_role("button", name="Finish route: weather, notes and submit").click()
    page.get_by_text("Recordings wait for Wi-Fi.").wait_for()
    page.get_by_text("All on the server since").wait_for()
    assert (Visit.objects.count(), Recording.objects.count()) == (1, 0)
    page.get_by_role("button", name="Send now").click()
    page.get_by_text("1 recording on the server.").wait_for()
    assert Recording.objects.get().state == "complete"


class TestNoMicrophone:
    @pytest.fixture
    def phone_options(self) -> dict:
        """A phone whose owner said no."""
        return {"permissions": ["geolocation"]}

    def test_what_is_wrong_and_how_to_mend_it(self, at_a_stop, look):
        page = at_a_stop()
        page.get_by_role("button", name="Record this call").click()
        words = page.locator(".trouble")
        words.wait_for()
        assert any(
            remedy in words.inner_text() for remedy in ("allow the microphone", "Plug one in")
        )
        look("31-no-microphone")
        page.get_by_role("button", name="Close").click()
        assert page.evaluate(ON_THE_PHONE) == []
