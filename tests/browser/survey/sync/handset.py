"""A phone as its observer holds it: tabs, taps, and a disk that can be looked at."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from playwright.sync_api import BrowserContext, Error, Page, WebError

from accounts.models import Membership
from tests.browser.conftest import (
    PATIENCE_MS,
    fill_sign_in,
    give_session,
    sign_in,
)

# The clock of a phone is wrong by what its owner set.
WRONG_CLOCK = """(() => {
  const real = Date.now;
  Date.now = () => {
    try { return real() + Number(localStorage.getItem("clock-ahead") ?? 0); }
    catch { return real(); }
  };
})()"""
# Between two tries of a request the survey pauses (http.js), and a sentence stays at the
# foot of the screen, over its buttons, for a while (app.js): here a tenth as long.
SHORT_PAUSES = """(() => {
  const real = window.setTimeout;
  window.setTimeout = (work, ms, ...rest) =>
    real(work, [300, 1_000, 3_000, 8_000].includes(ms) ? ms / 10 : ms, ...rest);
})()"""
SCRIPTS = (WRONG_CLOCK, SHORT_PAUSES)
_MODULES = """
  const store = await import("/static/survey/store.js");
  const sync = await import("/static/survey/sync.js");
  const { app } = await import("/static/survey/app.js");
  while (!app.sync) await new Promise((resolve) => setTimeout(resolve, 15));
"""
_EMPTY = """async () => {
  localStorage.clear();
  const name = "duskpool-survey";
  if (!(await indexedDB.databases()).some((one) => one.name === name)) return;
  await new Promise((resolve) => {
    indexedDB.open(name).onsuccess = ({ target: { result: database } }) => {
      const stores = [...database.objectStoreNames];
      const transaction = database.transaction(stores, "readwrite");
      for (const store of stores) transaction.objectStore(store).clear();
      transaction.oncomplete = () => resolve(database.close());
    };
  });
}"""
# Every write throws from now on; what was said of it before is taken away.
FULL_DISK = """() => {
  for (const note of document.querySelectorAll(".trouble")) note.remove();
  document.getElementById("alarm").textContent = "";
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = () => {
    throw new DOMException("Encountered full disk", "QuotaExceededError");
  };
  window.freeDisk = () => { IDBObjectStore.prototype.put = put; };
}"""
FULL_AFTER = """(puts) => {
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function (...given) {
    if (puts-- > 0) return put.apply(this, given);
    throw new DOMException("Encountered full disk", "QuotaExceededError");
  };
  window.freeDisk = () => { IDBObjectStore.prototype.put = put; };
}"""
FETCH_PACKET = """async (url) => {
  const { keepPacket } = await import("/static/survey/model.js");
  await keepPacket(url.split("/")[1], await (await fetch(url)).json());
}"""
# The policy of the pages forbids Playwright's own way of waiting.
_WAIT = f"""async () => {{{{
  const patience = performance.now() + {PATIENCE_MS};
  while (!({{condition}})) {{{{
    if (performance.now() > patience) throw new Error(`not in time: {{condition}}`);
    await new Promise((resolve) => setTimeout(resolve, 15));
  }}}}
}}}}"""


class Handset:
    """The phone of a member, who has signed in on `server`.

    `launch` opens its browser, with SCRIPTS in its pages; `folder` is its disk where it can be
    killed."""

    def __init__(
        self,
        launch: Callable[[], BrowserContext],
        *,
        close: Callable[[BrowserContext], None],
        member: Membership,
        server: str,
        folder: Path | None = None,
    ) -> None:
        self._launch, self._close, self._email = launch, close, member.person.email
        self._member, self._server = member, server
        slug = member.program.slug
        self._home, self._tonight = f"/{slug}/survey/", f"/{slug}/tonight/"
        self.folder = folder
        self.offline = False
        self.visit = self._packet = ""
        self.problems: list[str] = []
        self.start()
        give_session(self.context, member, server)

    def start(self) -> None:
        self.context = self._launch()
        self.context.set_default_timeout(PATIENCE_MS)
        self.context.on("weberror", self._failed)
        self.context.set_offline(self.offline)
        self.tabs = [self.context.pages[0] if self.context.pages else self.context.new_page()]

    def _failed(self, error: WebError) -> None:
        self.problems.append(str(error.error))

    @property
    def page(self) -> Page:
        return self.tabs[0]

    # The browser

    def take_along(self, code: str) -> None:
        """Take a route along; the screen is then kept on the phone."""
        self.page.goto(f"{self._tonight}{code}/")
        self.page.get_by_role("button", name="Save tonight on this phone").click()
        self.page.get_by_text("You can survey without signal.").wait_for()

    def begin(self, code: str, *, hours: float = 0) -> None:
        """An empty phone that takes along one route and begins the visit of tonight; its clock
        is wrong by `hours`."""
        while len(self.tabs) > 1:
            self.close_tab()
        self.set_offline(False)
        self._packet = f"{self._home}packets/{code}.json"
        if self.page.url == "about:blank":
            self.page.goto("/static/web/mark.svg")  # any small file of the site
        else:
            self._empty()
        self.turn_clock(hours)
        self.page.evaluate(FETCH_PACKET, self._packet)
        self.page.goto(self._home)
        self._wait_ready(self.page)
        self.page.get_by_role("button", name="Survey the night of").click()
        self.page.get_by_role("button", name="Go to stop 1").wait_for()
        self.page.locator("body[data-ready=offline]").wait_for()
        self.visit = self.page.evaluate("location.hash.split('/').at(-1)")

    def _empty(self) -> None:
        give_session(self.context, self._member, self._server)
        self.page.goto(self._tonight)
        self.page.evaluate(_EMPTY)

    def reload(self, tab: int = 0) -> None:
        self.tabs[tab].reload()
        self._wait_ready(self.tabs[tab])

    def kill(self) -> None:
        """The process dies at once, as with an empty battery; then the phone is started again."""
        assert self.folder is not None
        kill_browser(self.folder)
        with contextlib.suppress(Error):
            self.context.close()
        self.start()
        self.page.goto(self._home)
        self._wait_ready(self.page)

    def close(self) -> None:
        self.context.remove_listener("weberror", self._failed)
        with contextlib.suppress(Error):
            self._close(self.context)

    def set_offline(self, offline: bool) -> None:
        self.offline = offline
        self.context.set_offline(offline)

    def open_tab(self) -> None:
        self.tabs.append(self.context.new_page())
        self.tabs[-1].goto(self._home)
        self._wait_ready(self.tabs[-1])

    def close_tab(self) -> None:
        self.tabs.pop().close()

    def sign_in(self) -> None:
        """By the link of the survey, as its sentence asks."""
        page = self.show("summary")
        page.get_by_role("link", name="Sign in").click()
        fill_sign_in(page, self._email)
        self._wait_ready(page)

    def sign_in_as(self, email: str) -> None:
        """Somebody signs in on this phone and opens the survey."""
        self.context.clear_cookies()
        sign_in(self.page, email)
        self.page.goto(self._home)
        self._wait_ready(self.page)

    def use_session_of(self, member: Membership) -> None:
        """From now on the cookies are theirs, as after the sign-in form, which renews the token to
        write with, too; all tabs are loaded."""
        self.context.clear_cookies(name=settings.CSRF_COOKIE_NAME)
        give_session(self.context, member, self._server)
        self._go_home()

    def sign_out(self) -> None:
        """By the site's page; then the survey is opened again, as the phone keeps it."""
        self.page.goto("/accounts/logout/")
        if "/login" not in self.page.url:
            self.page.get_by_role("button", name="Sign out").last.click()
            self.page.wait_for_url("**/accounts/login/**")
        self._go_home()

    def _go_home(self) -> None:
        for tab in self.tabs:
            tab.goto(f"{self._home}#/home")
            self._wait_ready(tab)

    def turn_clock(self, hours: float) -> None:
        self.page.evaluate("ms => localStorage.setItem('clock-ahead', ms)", hours * 3_600_000)

    @staticmethod
    def _wait_ready(page: Page) -> None:
        page.evaluate(_WAIT.format(condition="document.body?.dataset.ready"))

    def route_is_here(self) -> bool:
        """Whether the visit can be gone on with on this phone."""
        return self._run(
            "const visit = await store.get('visits', given);"
            "return Boolean(visit && (await store.get('packets', visit.packet)));",
            self.visit,
        )

    def take_route(self) -> bool:
        """Have route and open visit on the phone again; False where the server does not give it."""
        if not self.route_is_here() and not self.offline:
            with contextlib.suppress(Error):
                self.page.evaluate(FETCH_PACKET, self._packet)
        return self.route_is_here()

    # The screen

    def show(self, name: str, stop: int | None = None, tab: int = 0) -> Page:
        page = self.tabs[tab]
        wanted = "/".join(str(part) for part in (name, self.visit, stop) if part is not None)
        page.evaluate("hash => { location.hash = hash; }", f"#/{wanted}")
        title = {"route": "Tonight’s visit", "summary": "Summary", "stop": f"Stop {stop} of"}[name]
        page.get_by_role("heading", name=title).wait_for()
        return page

    def tap_species(self, stop: int, code: str, tab: int = 0) -> None:
        self.show("stop", stop, tab).locator(f'[data-species="{code}"]').click()

    def tap_on_a_full_disk(self, stop: int, code: str, tab: int = 0) -> None:
        page = self.show("stop", stop, tab)
        page.evaluate(FULL_DISK)
        page.locator(f'[data-species="{code}"]').click()
        page.get_by_text("This phone is full: your last entry was not saved.").first.wait_for()
        page.evaluate("() => window.freeDisk()")

    def pick(self, address: str, option: str, tab: int = 0) -> None:
        """Answer a quick picker of the weather at the start."""
        page = self.show("route", tab=tab)
        page.locator(f'[data-cell="{address}"]').click()
        page.locator("dialog[open]").get_by_role("button", name=option).first.click()

    def choose_companion(self, person: str, tab: int = 0) -> bool:
        """Choose who came along, by id; False where the phone's list does not have them."""
        select = self.show("summary", tab=tab).locator("#cell-second_member")
        if not select.locator(f"option[value='{person}']").count():
            return False
        select.select_option(person)
        return True

    def write_notes(self, words: str, tab: int = 0) -> None:
        """Type at the end of the notes, letter by letter."""
        notes = self.show("summary", tab=tab).get_by_label("Notes on the evening")
        notes.press("End")
        notes.press_sequentially(words)

    def shown_index(self, stop: int, code: str, tab: int = 0) -> str:
        page = self.show("stop", stop, tab)
        label = page.locator(f'[data-species="{code}"]').get_attribute("aria-label") or ""
        after = label.rpartition("call index ")[2]
        return after[0] if "call index " in label else ""

    def shown_notes(self, tab: int = 0) -> str:
        return self.show("summary", tab=tab).get_by_label("Notes on the evening").input_value()

    def submit(self) -> None:
        page = self.show("summary")
        page.get_by_role("button", name="Submit the visit").click()
        page.get_by_role("button", name="Yes, submit").click()

    # The disk and the sending

    def _run(self, body: str, argument: Any = None, tab: int = 0) -> Any:
        return self.tabs[tab].evaluate(f"async (given) => {{ {_MODULES} {body} }}", argument)

    def stored(self) -> dict[str, dict[str, Any]]:
        """Cells of the visit on the disk by address: text, base, sent and perhaps theirs."""
        cells = self._run("return store.cellsOf(given);", self.visit)
        return {cell["address"]: cell for cell in cells}

    def texts(self) -> dict[str, str]:
        return {at: cell["text"] for at, cell in self.stored().items() if cell["text"]}

    def pending(self) -> dict[str, str]:
        """Texts that the server may not have."""
        cells = self.stored().items()
        return {at: cell["text"] for at, cell in cells if cell["text"] != cell["base"]}

    def record(self, visit: str = "") -> dict[str, Any] | None:
        return self._run("return store.get('visits', given);", visit or self.visit)

    def wait_stored(self, address: str, *texts: str) -> str:
        """Which of the texts the disk holds, as soon as it does."""
        cell = "(await store.get('cells', given.slice(0, 2)))"
        condition = f"given[2].includes({cell}?.text ?? '')"
        given = [self.visit, address, list(texts)]
        self._run(f"return ({_WAIT.format(condition=condition)})();", given)
        return self.texts().get(address, "")

    def send(self, tab: int = 0) -> str:
        """Send what waits; what the phone then says of the sending."""
        return self._run("await sync.syncAll(); return sync.status.kind;", tab=tab)

    def send_on_a_full_disk(self, puts: int, tab: int = 0) -> None:
        """Send while there is room for so many writes and for none after them."""
        self.tabs[tab].evaluate(FULL_AFTER, puts)
        with contextlib.suppress(Error):
            self.send(tab)
        self.tabs[tab].evaluate("() => window.freeDisk()")


def kill_browser(folder: Path) -> None:
    """SIGKILL to every process that runs on the profile in `folder`."""
    wanted = f"--user-data-dir={folder}"
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if wanted in entry.read_bytes().decode(errors="replace").split("\0"):
                os.kill(int(entry.parent.name), signal.SIGKILL)
