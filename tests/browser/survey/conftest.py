"""A route to survey, a server and a phone whose clocks turn, and a phone that can be killed."""

import contextlib
import datetime as dt
import os
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Error,
    Page,
    Response,
    ViewportSize,
    WebError,
)
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from surveys.models import (
    Assignment,
    CallingRegion,
    ChecklistEntry,
    LookAlikes,
    Program,
    Route,
    SeasonMark,
)
from surveys.web.survey import views as survey
from tests.browser.conftest import (
    CHROMIUM,
    FLAGS,
    PATIENCE_MS,
    PHONE,
    axe_findings,
    give_session,
)
from tests.browser.survey.kept import KeptPhones
from tests.browser.survey.sync.handset import FETCH_PACKET, kill_browser
from tests.support.builders import (
    make_checklist,
    make_route,
    make_species,
    make_version,
)

# 15 April 2024, 20:30 in Chicago: 49 minutes after sunset at 43.07 N, 89.40 W.
EVENING = dt.datetime(2024, 4, 16, 1, 30, tzinfo=dt.UTC)
NIGHT = "2024-04-15"
NAMES = {
    "Pseudacris crucifer": "Spring peeper",
    "Pseudacris maculata": "Boreal chorus frog",
    "Lithobates pipiens": "Northern leopard frog",
    "Lithobates sylvaticus": "Wood frog",
    "Anaxyrus americanus": "American toad",
    "Lithobates clamitans": "Green frog",
    "Lithobates catesbeianus": "American bullfrog",
}
# It beeps.
REFUSED = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream=deny"]
MICROPHONE = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
SENT = "All on the server since"
PICTURES = os.environ.get("SURVEY_PICTURES")
LEAST_TARGET = 48
SMALL = f"""() => [...document.querySelectorAll("button, a.btn, summary, input")]
  .filter((one) => one.checkVisibility() && !one.closest("label.choice"))
  .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 90)])
  .filter(([box]) => box.width && (box.width < {LEAST_TARGET} || box.height < {LEAST_TARGET}))
  .map(([box, html]) => `${{Math.round(box.width)}}x${{Math.round(box.height)}} ${{html}}`)"""
# A sentence on what was just saved lies over no control; what is scrolled behind the bar is not
# its doing.
COVERED = """() => {
  const note = document.querySelector("#snack > div")?.getBoundingClientRect();
  const bar = document.querySelector(".bar");
  const under = bar.getBoundingClientRect().bottom;
  return [...document.querySelectorAll("button, a, summary, input, textarea")]
    .filter((one) => note && one.checkVisibility() && !one.closest("#snack"))
    .map((one) => [one, one.getBoundingClientRect()])
    .filter(([one, box]) => bar.contains(one) || box.top >= under)
    .filter(([, box]) => box.left < note.right - 1 && box.right > note.left + 1)
    .filter(([, box]) => box.top < note.bottom - 1 && box.bottom > note.top + 1)
    .map(([one]) => `the sentence covers ${one.outerHTML.slice(0, 90)}`);
}"""
# A thumb that wants one must not press the other.
TOUCHING = """() => [...document.querySelectorAll("button + button")]
  .filter((one) => one.checkVisibility() && one.previousElementSibling.checkVisibility())
  .map((one) => [one, one.getBoundingClientRect()])
  .map(([one, box]) => [one, box, one.previousElementSibling.getBoundingClientRect()])
  .filter(([, a, b]) => Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom) < 3)
  .map(([one]) => `touches the one before: ${one.outerHTML.slice(0, 90)}`)"""
# A small phone, and one on its side.
OTHER_SIZES = ({"width": 320, "height": 568}, {"width": 844, "height": 390})
if PICTURES:
    OTHER_SIZES += ({"width": 1280, "height": 800},)
CUT = """() => {
  const { scrollWidth: width, clientWidth } = document.documentElement;
  const title = ".bar__title:not(:has(+ .snack > div))";
  const all = `${title}, .dock button, .bar button, dialog[open] button`;
  const cut = [...document.querySelectorAll(all)]
    .filter((one) => one.checkVisibility())
    .filter(
      (one) =>
        one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1,
    );
  return [
    ...(width > clientWidth ? [`${width} px wide`] : []),
    ...cut.map((one) => `cut: ${one.outerHTML.slice(0, 90)}`),
  ];
}"""
# WCAG 2.2, 1.4.4: text twice as large. That the dock leaves two thirds is common practice, no
# source.
LARGE_TEXT = """() => {
  const dock = document.querySelector(".dock");
  const share = (dock?.offsetHeight ?? 0) / innerHeight;
  const cut = [...(dock?.querySelectorAll("button") ?? [])].filter(
    (one) => one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1,
  );
  // A phone that shows a wider page zooms out, and innerWidth with it.
  const { scrollWidth: width, clientWidth } = document.documentElement;
  return [
    ...(width > clientWidth ? [`${width} px wide`] : []),
    ...(share > 1 / 3 ? [`the dock takes ${Math.round(100 * share)}% of the screen`] : []),
    ...cut.map((one) => `cut: ${one.innerText}`),
  ];
}"""
SUMMER_ONLY = ("Lithobates clamitans", "Lithobates catesbeianus")


@pytest.fixture(scope="session")
def kept_phones() -> Iterator[KeptPhones]:
    made = KeptPhones()
    yield made
    made.close()


@pytest.fixture(scope="session")
def browser_with_microphone(browser) -> Iterator[Browser]:
    args = [*FLAGS, *MICROPHONE]
    chromium = browser.browser_type.launch(executable_path=CHROMIUM, args=args)
    yield chromium
    chromium.close()


@pytest.fixture
def browser_that_refuses(browser) -> Iterator[Browser]:
    """It has a microphone, and its person said no when it asked."""
    args = [*FLAGS, *REFUSED]
    chromium = browser.browser_type.launch(executable_path=CHROMIUM, args=args)
    yield chromium
    chromium.close()


@pytest.fixture
def program(db) -> Program:
    """Under the same name in every test, so that kept phones have its screen."""
    return Program.objects.create(
        name="Example Wetlands",
        slug="example",
        time_zone="America/Chicago",
        temperature_unit="C",
    )


@pytest.fixture
def region(program) -> CallingRegion:
    """Of the program, with a species whose call is described."""
    species = make_species("Pseudacris crucifer")
    species.call = "clear rising peep"
    species.save()
    made = CallingRegion.objects.create(code="marsh-country", name="Marsh country")
    made.species.create(species=species, mark=SeasonMark.SURE)
    alike = LookAlikes.objects.create(code="peepers", name="Peepers", how="By ear alone.")
    alike.members.add(species)
    program.calling_region = made
    program.save()
    return made


@pytest.fixture
def route(program, observer) -> Route:
    """Ten stops; a settling wait of a minute and three minutes to listen, limits on all weather."""
    version = make_version(
        program,
        settling_wait_s=60,
        listening_time_s=180,
        earliest_start_after_sunset_min=30,
        latest_end_clock=dt.time(1, 0),
        max_beaufort=3,
        forbidden_skies=["snow", "heavy_rain"],
        loudest_noise="loud_only",
        windows=[{"name": "Early", "min_air_temperature": "5"}],
    )
    for scientific_name, common_name in NAMES.items():
        make_species(scientific_name, common_name)
    make_checklist(program, *NAMES)
    ChecklistEntry.objects.filter(species__scientific_name__in=SUMMER_ONLY).update(
        calls_from_month=5, calls_from_day=15, calls_to_month=8, calls_to_day=31
    )
    route = make_route(program, version=version, stops=10)
    Assignment.objects.create(route=route, observer=observer.person, season_year=2024)
    return route


class Clock:
    """Begins on the evening, runs as time does, and can be turned on."""

    def __init__(self) -> None:
        self._begun = time.monotonic()
        self._turned = dt.timedelta()

    def now(self) -> dt.datetime:
        return EVENING + self._turned + dt.timedelta(seconds=time.monotonic() - self._begun)

    def turn(self, length: dt.timedelta) -> None:
        self._turned += length


@pytest.fixture
def server_clock(monkeypatch) -> Clock:
    """The server's clock as the survey views read it."""
    clock = Clock()
    monkeypatch.setattr(survey, "timezone", SimpleNamespace(now=clock.now))
    return clock


class Phone:
    """A browser of one person. It can be killed and started again where it has a `disk`."""

    def __init__(self, launch: Callable[..., BrowserContext], clock: Clock, disk: Path | None):
        self._launch, self._clock, self._disk = launch, clock, disk
        self.problems: list[str] = []
        self.context: BrowserContext | None = None
        self.start()

    def start(self, *, offline: bool = False) -> Page:
        self.context = self._launch()
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.on("weberror", self._failed)
        self.context.on("response", self._heard)
        self.context.set_offline(offline)
        self.context.clock.install(time=self._clock.now())
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        return self.page

    def _failed(self, error: WebError) -> None:
        self.problems.append(str(error.error))

    def _heard(self, response: Response) -> None:
        if response.status >= 500:
            self.problems.append(f"{response.url} answered {response.status}")

    def pass_time(self, **length: int) -> None:
        """Turn both clocks on, as when the phone slept."""
        step = dt.timedelta(**length)
        self._clock.turn(step)
        self.context.clock.fast_forward(int(step.total_seconds() * 1000))

    def kill(self) -> None:
        """The process dies at once, as with an empty battery."""
        assert self._disk is not None
        kill_browser(self._disk)
        with contextlib.suppress(Error):
            self.context.close()

    def close(self, close: Callable[[BrowserContext], None]) -> None:
        self.context.remove_listener("weberror", self._failed)
        self.context.remove_listener("response", self._heard)
        with contextlib.suppress(Error):
            close(self.context)


@pytest.fixture
def phone_options() -> dict:
    """What a test wants of its phone: `permissions`, and to be `new`, without the screen that other
    tests left, `killable`, which takes a process of its own, or that its person `refuses` the
    microphone."""
    return {"permissions": ["geolocation"]}


@pytest.fixture
def phone(
    request, browser, live_server, server_clock, tmp_path, phone_options, kept_phones
) -> Iterator[Phone]:
    has_microphone = "microphone" in phone_options["permissions"]
    if has_microphone:
        browser = request.getfixturevalue("browser_with_microphone")
    elif phone_options.get("refuses"):
        browser = request.getfixturevalue("browser_that_refuses")
    options = {
        "viewport": PHONE,
        "device_scale_factor": 2 if PICTURES else 1,
        "is_mobile": True,
        "has_touch": True,
        "base_url": live_server.url,
        "locale": "en-US",
        "timezone_id": "America/Chicago",
        "geolocation": {"latitude": 43.08, "longitude": -89.41, "accuracy": 8},
        "permissions": phone_options["permissions"],
    }
    disk, close = None, BrowserContext.close
    if phone_options.get("killable"):
        disk = tmp_path / "phone"
        launch = partial(
            browser.browser_type.launch_persistent_context,
            disk,
            executable_path=CHROMIUM,
            args=[*FLAGS, *(MICROPHONE if has_microphone else [])],
            **options,
        )
    elif phone_options.get("new"):
        launch = partial(browser.new_context, **options)
    else:
        launch, close = partial(kept_phones.take, browser, "phone", **options), kept_phones.lay_down
    made = Phone(launch, server_clock, disk)
    yield made
    made.close(close)
    assert made.problems == []


@pytest.fixture
def take_along(phone, phone_options, live_server, observer, route) -> Callable[[], Page]:
    """Signed in, with the route on the phone; the survey then stands open.

    `by_the_page` goes the way of an observer, as phones must that are new or can be killed: the
    screen is then kept. Else the route is stored without that page, under the screen that other
    tests left. It has name, language, clock and dates of the program: a test that changes these
    takes a new phone."""

    def take(night: str = "15 April 2024", *, by_the_page: bool = False) -> Page:
        page = phone.page
        give_session(phone.context, observer, live_server.url)
        if by_the_page or phone_options.keys() & {"new", "killable"}:
            page.goto(f"/{observer.program.slug}/tonight/{route.code}/?night={NIGHT}")
            page.get_by_role("button", name="Save tonight on this phone").click()
            page.get_by_text("You can survey without signal.").wait_for()
        else:
            page.goto("/static/web/mark.svg")  # any small file of the site
            page.evaluate(FETCH_PACKET, f"{survey_url(observer)}packets/{route.code}.json")
        page.goto(survey_url(observer))
        page.get_by_role("button", name=f"Survey the night of {night}").wait_for()
        page.locator("body[data-ready=offline]").wait_for()
        return page

    return take


@pytest.fixture
def lights() -> tuple[str, ...]:
    """Other lights of the night that `look` judges: 0.2 s of computing a look."""
    return ()


@pytest.fixture
def look(phone, lights) -> Iterator[Callable[[str], None]]:
    """Judge the screen as it stands, by night, in the `lights` and by day, on a small phone and one
    on its side, and with text twice as large; keep pictures where they are wanted."""
    found = []

    def judge(name: str) -> None:
        for theme in ("day", "night"):
            show_theme(phone.page, theme)
            if PICTURES:
                Path(PICTURES).mkdir(exist_ok=True, parents=True)
                phone.page.screenshot(path=f"{PICTURES}/{name}-{theme}.png")
            found.extend(f"{name}, {theme}: {words}" for words in axe_findings(phone.page, theme))
            found.extend(f"{name}, {theme}: {words}" for words in phone.page.evaluate(SMALL))
        for light in lights:
            found.extend(faults_in_light(phone.page, name, light))
        phone.page.evaluate("document.documentElement.dataset.night = 'red'")
        for faults in (COVERED, CUT, TOUCHING):
            found.extend(f"{name}: {words}" for words in phone.page.evaluate(faults))
        for size in OTHER_SIZES:
            found.extend(faults_in_size(phone.page, name, size))
        phone.page.set_viewport_size(PHONE)
        phone.page.evaluate("document.documentElement.style.fontSize = '200%'")
        if PICTURES:
            phone.page.screenshot(path=f"{PICTURES}/{name}-large.png")
        for faults in (LARGE_TEXT, COVERED):
            found.extend(f"{name}, large: {words}" for words in phone.page.evaluate(faults))
        phone.page.evaluate("document.documentElement.style.fontSize = ''")

    yield judge
    assert found == []


def faults_in_light(page: Page, name: str, light: str) -> list[str]:
    """What a light of the night changes is colors. Red is the usual one."""
    page.evaluate("(light) => { document.documentElement.dataset.night = light; }", light)
    if PICTURES:
        page.screenshot(path=f"{PICTURES}/{name}-night-{light}.png")
    return [f"{name}, {light}: {words}" for words in axe_findings(page, "night")]


def faults_in_size(page: Page, name: str, size: ViewportSize) -> list[str]:
    page.set_viewport_size(size)
    label = "{width}x{height}".format(**size)
    if PICTURES:
        page.screenshot(path=f"{PICTURES}/{name}-{label}.png")
    faults = [*page.evaluate(CUT), *page.evaluate(COVERED)]
    return [f"{name}, {label}: {words}" for words in faults]


def show_theme(page: Page, theme: str) -> None:
    """Day or night, also while a dialog covers the switch."""
    page.evaluate(
        "(name) => import('/static/survey/theme.js').then(({ choose }) => choose(name))", theme
    )
    page.locator(f'html[data-theme="{theme}"]').wait_for()


def survey_url(member) -> str:
    return f"/{member.program.slug}/survey/"


def until(page: Page, holds: Callable[[], bool]) -> None:
    """Wait, as long as a page would, for something that is not on it."""
    for _ in range(600):
        if holds():
            return
        page.wait_for_timeout(100)
    pytest.fail("It did not happen within a minute.")


def send(page: Page) -> None:
    """Press "Send now", unless the phone was quicker and has sent it by itself."""
    button = page.get_by_role("button", name="Send now")
    with contextlib.suppress(PlaywrightTimeout):
        button.or_(page.get_by_text(SENT)).first.wait_for(timeout=1_500)
        if button.is_visible():
            button.click(timeout=1_500)
