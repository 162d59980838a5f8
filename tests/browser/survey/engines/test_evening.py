"""An evening from signing in to the server, in browsers of other makes than the usual one.

Nothing of them is played: the phone's clock runs, and the server is gone while the observer is out.
A stop takes a second, and it is evening in the program at whatever hour the test runs.
"""

import datetime as dt

import pytest

from surveys.demo.catalog import load_species
from surveys.models import Program, Route, Visit, VisitState
from surveys.visits.media.pictures import make_picture
from tests.browser.survey.engines.playing import plays_all, recordings_of_all_kinds
from tests.support.builders import (
    PASSWORD,
    make_checklist,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db(transaction=True)

STOPS = 10
EVENING_HOUR = 21
# Each index once: a tap more takes as long as a double tap that the phone ignores.
HEARD = {n: {"pseudacris-crucifer": index} for n, index in ((1, 2), (2, 3), (9, 1))}
AT_STOP_1 = {"sky": "clear", "beaufort": "2", "noise": "quiet"}
SHOWN = {"sky": "clear", "beaufort": "2 light breeze", "noise": "quiet"}
STORED = """async () => {
  const { getAll } = await import("/static/survey/store.js");
  const cells = await getAll("cells");
  return Object.fromEntries(cells.filter((c) => c.text).map((c) => [c.address, c.text]));
}"""

# The call of a computer as this browser would sound it, and its loudest pitch in Hz.
MADE = """async (species) => {
  const { RATE_HZ: madeHz, scene } = await import("/static/calls/synthesis.js");
  const { check, RATE_HZ } = await import("/static/survey/screens/sounds/soundcheck.js");
  const { getAll } = await import("/static/survey/store.js");
  const [{ calls }] = await getAll("packets");
  const made = scene({ voices: [{ call: calls[species].call, index: 1 }], seconds: 4 });
  const context = new OfflineAudioContext(1, 4 * RATE_HZ, RATE_HZ);
  const source = context.createBufferSource();
  const buffer = context.createBuffer(1, made.length, madeHz);
  buffer.copyToChannel(made, 0);
  source.buffer = buffer;
  source.connect(context.destination);
  source.start();
  return check((await context.startRendering()).getChannelData(0)).loudestHz;
}"""


def zone_where_it_is_evening() -> str:
    """Of those without daylight saving time; their names count westward."""
    ahead = EVENING_HOUR - dt.datetime.now(dt.UTC).hour
    return f"Etc/GMT{-ahead if ahead <= 14 else 24 - ahead:+d}"


@pytest.fixture
def program(db) -> Program:
    return Program.objects.create(
        name="Example Wetlands",
        slug="example",
        time_zone=zone_where_it_is_evening(),
        temperature_unit="C",
    )


@pytest.fixture
def route(program) -> Route:
    make_checklist(program, "Pseudacris crucifer", "Lithobates sylvaticus")
    load_species()  # Their calls can be played.
    version = make_version(program, listening_time_s=1)
    return make_route(program, version=version, stops=STOPS)


class Evening:
    """Keeps a book of what was entered."""

    def __init__(self, hand, member, route) -> None:
        self._hand, self._member, self._route = hand, member, route
        self._home = f"/{member.program.slug}/survey/"
        self.book: dict[str, str] = {}

    def saves_tonight(self) -> None:
        hand = self._hand
        hand.open(f"/{self._member.program.slug}/tonight/{self._route.code}/")
        hand.fill("input[type=email]", self._member.person.email)
        hand.fill("input[type=password]", PASSWORD)
        hand.tap("Sign in")
        hand.tap("Save tonight on this phone")
        hand.sees("You can survey without signal.")

    def opens(self, address: str = "") -> None:
        self._hand.open(address or self._home)
        self._hand.stands("body[data-ready=offline]")

    def practices(self) -> None:
        """A question, answered without a network."""
        self._hand.tap("Practice calls")
        self._hand.tap("", "form label.choice")
        self._hand.tap("Answer", "form button")
        self._hand.sees("Listen for:")
        self._hand.sees("1 answer waits for signal.")

    def begins(self) -> None:
        self._hand.tap("Survey the night of")

    def surveys(self) -> None:
        self._hand.tap("Go to stop 1")
        self._hears_a_call()
        for number in range(1, STOPS + 1):
            self._stop(number)

    def _hears_a_call(self) -> None:
        """Without a network, before the stop is reached. Firefox has no device that would start."""
        self._hand.tap("", '[aria-label^="How it sounds"]')
        self._hand.tap("Play one", "dialog button")
        if self._hand.run("() => navigator.userAgent.includes('Firefox')"):
            self._hand.sees("The sound does not start.")
        else:
            self._hand.tap("Stop", 'dialog [aria-label^="Play one"]')
        self._hand.tap("Done", "dialog button")

    def _stop(self, number: int) -> None:
        hand = self._hand
        hand.sees(f"Stop {number} of {STOPS}")
        hand.tap("I am at the stop")
        if number == 1:
            self._reads_the_weather()
        else:
            hand.tap("Same, 12°")
        hand.tap("Start listening")
        if number == 1:
            self._records()
        for code, index in HEARD.get(number, {}).items():
            for _ in range(index):
                hand.tap("", f'[data-species="{code}"]')
            hand.stands(f'[data-species="{code}"][aria-label*="call index {index}"]')
            self.book[f"stops.{number}.calls.{code}"] = str(index)
        readings = {**AT_STOP_1, "air_temperature": "12", "status": "listened"}
        self.book |= {f"stops.{number}.{name}": text for name, text in readings.items()}
        hand.sees("Stop done")
        hand.tap(f"Next: stop {number + 1}" if number < STOPS else "Go to the summary")

    def _records(self) -> None:
        self._hand.tap("Record this call")
        self._hand.sees("0:02")
        self._hand.tap("Stop and save")
        self._hand.tap("Done", "dialog button")

    def _reads_the_weather(self) -> None:
        for name, words in SHOWN.items():
            self._hand.tap("", f'[data-cell="stops.1.{name}"]')
            self._hand.tap(words, "dialog button")
        self._hand.tap("", '[data-cell="stops.1.air_temperature"]')
        self._hand.fill("dialog input", "12")
        self._hand.tap("Done", "dialog button")

    def hands_in(self) -> None:
        self._hand.tap("Submit the visit")
        self._hand.tap("Yes, submit")

    def stored(self) -> dict[str, str]:
        return self._hand.run(STORED)


def test_an_evening(hand, wire, coordinator, route):
    evening = Evening(hand, coordinator, route)
    evening.saves_tonight()
    wire.close()
    evening.opens()
    evening.practices()
    evening.opens()
    evening.begins()
    evening.surveys()
    evening.hands_in()
    hand.sees("Everything is saved on this phone")
    entered = evening.stored()
    assert evening.book.items() <= entered.items()
    assert not Visit.objects.exists()

    wire.mend()
    hand.tap("Send now")
    hand.sees("This visit is submitted")
    visit = Visit.objects.get()
    assert visit.cells == entered
    assert (visit.state, visit.source) == (VisitState.SUBMITTED, "phone")
    assert visit.periods.count() == STOPS
    hand.sees("1 recording on the server.")
    (recording,) = visit.recordings.all()
    picture = make_picture(recording.pk)
    assert picture.image.size
    assert (
        picture.seconds > 0.5
    )  # A second or two were recorded, less what a busy machine cuts off.
    others = recordings_of_all_kinds(coordinator, visit)
    hand.open(f"/{coordinator.program.slug}/review/{visit.pk}/")
    plays_all(hand, [recording, *others])
    for period in visit.periods.all():
        assert period.finished_at - period.started_at == dt.timedelta(seconds=1)
    # A spring peeper whistles near 2,800 Hz, one male up to a tenth higher or lower. Last: Firefox
    # may start sound that it would not start otherwise once it has rendered some.
    evening.opens()
    assert 2500 < hand.run(MADE, "pseudacris-crucifer") < 3100
