"""What can come between phone and server, and the sentence that the observer then reads.

Nothing is lost and nothing doubled in any of these; the random interleavings show it at large.
"""

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import pytest
from django.contrib.sessions.models import Session
from django.db import connections
from django.utils import timezone

from surveys.models import (
    CheckIn,
    DiscardedDraft,
    Route,
    Visit,
    VisitState,
)
from surveys.protocol.nights import night_of
from surveys.site_mode import Mode, SiteMode, write
from surveys.visits.drafts import (
    discard_draft,
    save_cells,
)
from surveys.visits.sheet.cells import CellChange
from surveys.visits.verbs import (
    send_back,
    submit_visit,
)
from surveys.web.survey import views as survey
from tests.browser.survey.sync.handset import Handset
from tests.browser.survey.sync.wire import (
    FAULTS,
    Answer,
)
from tests.support.builders import (
    make_member,
    make_person,
    make_route,
    make_version,
)

pytestmark = pytest.mark.django_db(transaction=True)

PEEPER = "pseudacris-crucifer"
CALL = f"stops.1.calls.{PEEPER}"
SENT = "All on the server since"

IN_SESSION = re.compile(r"(?<=sessionid=)\w+")
A_KEY = "0b6ee1b2-6f4f-4a6e-9a51-6a2ddc3d2f10"
# Stored as when a phone kept one return time for all who use it.
SEND_RETURN_TIME = f"""async (facts) => {{
  const {{ app }} = await import("/static/survey/app.js");
  const {{ setSetting }} = await import("/static/survey/store.js");
  const {{ start }} = await import("/static/survey/checkin.js");
  await setSetting(`check-in/${{app.config.slug}}`, {{ ...facts, id: "{A_KEY}", sent: false }});
  return new Promise((said) => start(app.config, ({{ kind }}) => said(kind)));
}}"""
KEPT_RETURN_TIME = """async (person) => {
  const { app } = await import("/static/survey/app.js");
  const { setting } = await import("/static/survey/store.js");
  return setting(`check-in/${app.config.slug}/${person}`);
}"""
SEND_REMOVAL = """async (facts) => {
  const { app } = await import("/static/survey/app.js");
  const sounds = await import("/static/survey/soundstore.js");
  while (!app.comingBack) await new Promise((resolve) => setTimeout(resolve, 15));
  await sounds.begin({ ...facts, slug: app.config.slug });
  await sounds.change(facts.id, (it) => Object.assign(it, { state: "removing", begun: true }));
  let isSending = false;
  await new Promise((over) => {
    app.sounds.onStatus(({ kind }) => {
      if (isSending && kind !== "sending") over();
      isSending ||= kind === "sending";
    });
    app.sounds.soon(0);
  });
  return Boolean(await sounds.get(facts.id));
}"""
THROW_AWAY = """async (id) => {
  const { throwAway } = await import("/static/survey/sync.js");
  const { get } = await import("/static/survey/store.js");
  return throwAway(await get("visits", id)).then(() => "", ({ message }) => message);
}"""
CHOOSE_WHO_LEFT = """async (visit) => {
  const { writeCells } = await import("/static/survey/store.js");
  await writeCells(visit, { second_member: "987654321" });
}"""
PORTAL = Answer(status=200, headers=(("Content-Type", "text/html"),), body=b"<p>Welcome</p>")
KEEP_THE_SCREEN = """async () => {
  const { app } = await import("/static/survey/app.js");
  const { installing } = await navigator.serviceWorker.register(app.config.worker);
  if (!installing) return "was there";
  const over = () => ["installed", "activated", "redundant"].includes(installing.state);
  while (!over()) await new Promise((resolve) => { installing.onstatechange = resolve; });
  return installing.state;
}"""
HEAR = """async () => {
  const sync = await import("/static/survey/sync.js");
  window.told = [];
  sync.onStatus(({ kind }) => window.told.push(kind));
}"""
# The event "online" in the very moment in which a sending has failed; what was told until the next.
ONLINE_AS_IT_FAILS = """async (visit) => {
  const [sync, store, { syncWords }] = await Promise.all(
    ["sync", "store", "status"].map((name) => import(`/static/survey/${name}.js`)));
  const told = [];
  await store.writeCells(visit, { notes: "mist" });
  await new Promise((resolve) => {
    sync.onStatus((status) => {
      told.push([status.kind, syncWords(status, [])]);
      if (status.kind === "later") window.dispatchEvent(new Event("online"));
      if (status.kind === "idle" && told.some(([kind]) => kind === "later")) resolve();
    });
    sync.syncAll();
  });
  return told;
}"""

# The disk is slow, and the page is gone in the very moment in which the question is put.
RELOAD_ONCE_ASKED = """async (question) => {
  const request = indexedDB.open("duskpool-survey");
  await new Promise((resolve) => { request.onsuccess = resolve; });
  const visits = request.result.transaction(["visits"], "readwrite").objectStore("visits");
  const until = performance.now() + 1_000;
  const hold = () => {
    if (performance.now() < until) visits.count().onsuccess = hold;
    else request.result.close();
  };
  hold();
  const isAsked = (one) => one.checkVisibility() && one.textContent.includes(question);
  const look = () => {
    if ([...document.querySelectorAll(".message")].some(isAsked)) location.reload();
  };
  new MutationObserver(look).observe(document.getElementById("main"),
    { attributes: true, characterData: true, childList: true, subtree: true });
}"""


@pytest.fixture
def route(program, checklist) -> Route:
    return make_route(program, version=make_version(program))


@pytest.fixture
def begun(open_phone, route):
    """A phone on which the member begins the visit of tonight."""

    def begin(member, **options) -> Handset:
        phone = open_phone(member, **options)
        phone.begin(route.code)
        return phone

    return begin


@pytest.fixture
def phone(begun, observer) -> Handset:
    return begun(observer)


def reads(phone: Handset, words: str, tab: int = 0) -> None:
    """The sentence stands in the summary, among the rest."""
    phone.show("summary", tab=tab).get_by_text(words).first.wait_for()


def until(phone: Handset, look: Callable[[], str], wanted: str) -> None:
    for _ in range(200):
        if look() == wanted:
            return
        phone.page.wait_for_timeout(50)
    assert look() == wanted


def press(phone: Handset, name: str) -> None:
    phone.page.get_by_role("button", name=name).first.click()


def tonight() -> dt.date:
    return night_of(timezone.now(), "America/Chicago")


def the_visit() -> Visit:
    return Visit.objects.get()


def submitted(phone: Handset) -> Visit:
    phone.submit()
    reads(phone, "This visit is submitted")
    return the_visit()


# Two tabs


def test_two_tabs_of_one_phone(phone):
    phone.write_notes("mist")
    phone.open_tab()
    assert phone.shown_notes(tab=1) == "mist"
    phone.write_notes(" and rain", tab=1)
    until(phone, phone.shown_notes, "mist and rain")
    phone.write_notes(", calm")
    phone.tap_species(1, PEEPER)
    until(phone, lambda: phone.shown_index(1, PEEPER, tab=1), "1")
    phone.tap_species(1, PEEPER, tab=1)
    phone.wait_stored(CALL, "2")
    # Somebody who was a member when they were chosen, and is not on the phone's list.
    phone.page.evaluate(CHOOSE_WHO_LEFT, phone.visit)
    companion = phone.show("summary", tab=1).locator("#cell-second_member option:checked")
    assert companion.text_content() == "Someone who may have left the program"
    phone.send(tab=1)
    for tab in (0, 1):
        reads(phone, SENT, tab)
    cells = the_visit().cells
    assert (cells["notes"], cells[CALL]) == ("mist and rain, calm", "2")
    assert cells["second_member"] == "987654321"
    # Signed out in one tab, the others do not go on showing what has left the phone.
    phone.open_tab()
    home = phone.tabs[2]
    home.evaluate("location.hash = '#/home'")
    phone.reload(2)  # No visit is open there.
    survey = home.get_by_role("button", name="Survey the night of")
    survey.wait_for()
    phone.page.goto("/accounts/logout/")
    phone.page.get_by_role("button", name="Sign out").last.click()
    other = phone.tabs[1]
    other.get_by_text("The visit is on the server, no longer on this phone.").first.wait_for()
    other.wait_for_url("**#/home")
    survey.wait_for(state="hidden")


def test_a_draft_thrown_away_in_another_tab(phone):
    phone.send()
    phone.open_tab()
    phone.show("stop", 1, tab=1)
    phone.show("summary")
    press(phone, "Delete draft")
    phone.page.locator("dialog[open]").get_by_role("button", name="Delete draft").click()
    phone.tabs[1].get_by_text(
        "The visit was deleted; it is no longer on this phone"
    ).first.wait_for()
    assert not Visit.objects.exists()


def test_a_draft_that_was_thrown_away_stays_away_until_it_is_brought_back(phone, wire):
    """What was held up on its way brings nothing back; its observer brings back everything."""
    phone.tap_species(1, PEEPER)
    wire.arm(FAULTS["again late"])
    phone.send()
    phone.show("summary")
    press(phone, "Delete draft")
    phone.page.locator("dialog[open]").get_by_role("button", name="Delete draft").click()
    phone.page.get_by_text("The visit was deleted; it is no longer on this phone").first.wait_for()
    wire.deliver()
    assert not Visit.objects.exists()
    phone.page.get_by_text("Deleted drafts (1)").click()
    press(phone, "Restore")
    phone.page.get_by_role("button", name="Go to stop 1").wait_for()
    phone.send()
    reads(phone, SENT)
    assert the_visit().cells[CALL] == "1"
    wire.deliver()
    assert submitted(phone).cells[CALL] == "1"


def test_taps_that_come_quickly_all_count(phone):
    """A reading of the disk that lags behind takes no tap back: 81 taps end at 1."""
    page = phone.show("stop", 1)
    page.evaluate(
        """async (code) => {
          const row = document.querySelector(`[data-species="${code}"]`);
          for (let taps = 0; taps < 81; taps += 1) {
            row.click();
            await new Promise((resolve) => setTimeout(resolve, (taps * 7) % 13));
          }
        }""",
        PEEPER,
    )
    phone.wait_stored(CALL, "1")
    until(phone, lambda: phone.shown_index(1, PEEPER), "1")


# Two phones


def test_two_phones_of_one_observer(phone, begun, observer):
    """Both begin the night without a network; what they hold comes together in one visit, and
    where both wrote the same cell the observer picks."""
    other = begun(observer)
    for one in (phone, other):
        one.set_offline(True)
    phone.write_notes("mist")
    phone.tap_species(1, PEEPER)
    other.write_notes("rain")
    other.tap_species(2, PEEPER)
    for one in (phone, other):
        one.set_offline(False)
        one.send()
    reads(phone, SENT)
    reads(other, "1 entry changed in two places: choose below.")
    reads(other, "Both texts are kept until you choose.")
    reads(other, "Use the other: mist")
    press(other, "Keep mine: rain")
    reads(other, SENT)
    assert submitted(other).cells["notes"] == "rain"
    phone.show("summary")
    phone.write_notes("!")
    phone.send()
    reads(phone, "The visit is already submitted; 1 later entry is saved on this phone only.")
    visit = the_visit()
    heard = {
        (p.stop.number, c.species.code, c.index) for p in visit.periods.all() for c in p.calls.all()
    }
    assert heard == {(1, PEEPER, 1), (2, PEEPER, 1)}
    assert visit.submissions.count() == 1


def test_a_later_entry_arrives_once_the_visit_is_sent_back(phone, observer, coordinator):
    phone.send()
    visit = the_visit()
    submit_visit(observer, visit.pk, revision=visit.revision)
    phone.write_notes("late")
    phone.send()
    reads(phone, "Ask the coordinator to send the visit back, then send again.")
    visit.refresh_from_db()
    send_back(coordinator, visit.pk, note="Was there fog?", revision=visit.revision)
    press(phone, "Try again")
    reads(phone, SENT)
    assert the_visit().cells["notes"] == "late"
    phone.show("route").get_by_text("Was there fog?").wait_for()


def test_a_team_mate_surveys_the_same_route_and_night(phone, begun, program):
    """Two accounts make two visits; the coordinator is asked which of them counts."""
    mate = begun(make_member(program))
    for one in (phone, mate):
        one.tap_species(1, PEEPER)
        one.submit()
        reads(one, "This visit is submitted")
    assert Visit.objects.count() == 2
    findings = Visit.objects.order_by("submitted_at").last().findings
    twice = findings.get(code="same-night-twice")
    reads(mate, twice.message)


def test_a_night_that_is_handed_in_is_not_begun_again_unasked(phone, route):
    submitted(phone)
    phone.page.evaluate("location.hash = '#/home'")
    press(phone, "Survey the night of")
    phone.page.get_by_text("If you start another").wait_for()
    press(phone, "Look at the visit")
    reads(phone, "This visit is submitted")
    assert Visit.objects.count() == 1


# A bad network


@pytest.mark.parametrize("fault", ["answer lost", "answer torn", "500 after"])
def test_the_answer_to_submitting_is_lost(phone, wire, fault):
    phone.tap_species(1, PEEPER)
    phone.send()
    wire.arm(FAULTS[fault], lambda one: one.path.endswith("/submit/"), times=20)
    phone.submit()
    reads(phone, "Cannot reach the server. Everything is saved on this phone; we will keep trying.")
    assert the_visit().state == VisitState.SUBMITTED
    wire.heal()
    press(phone, "Send now")
    reads(phone, "This visit is submitted")
    assert the_visit().submissions.count() == the_visit().steps.count() == 1


def test_a_torn_answer_about_a_newer_copy_is_asked_for_again(phone, wire, observer):
    phone.send()
    save_cells(observer, the_visit().pk, {"start.sky": CellChange(was="", now="partly_cloudy")})
    phone.tap_species(1, PEEPER)
    wire.arm(FAULTS["answer torn"], times=20)
    assert phone.send() == "busy"
    wire.heal()
    assert phone.send() == "idle"
    reads(phone, SENT)
    assert {"start.sky": "partly_cloudy", CALL: "1"}.items() <= the_visit().cells.items()


def test_a_broken_connection_is_tried_again_at_once(phone, wire):
    phone.tap_species(1, PEEPER)
    wire.arm(FAULTS["request lost"])
    assert phone.send() == "idle"
    assert the_visit().cells[CALL] == "1"


def test_no_answer_for_a_moment_is_not_told(phone, wire):
    """Each of these comes when a network changes, a phone wakes up or a server starts anew."""
    phone.page.evaluate(HEAR)
    for fault in ("request lost", "answer torn", "500 before"):
        wire.arm(FAULTS[fault], lambda one: True)
    phone.tap_species(1, PEEPER)
    assert phone.send() == "idle"
    assert the_visit().cells[CALL] == "1"
    assert "busy" not in phone.page.evaluate("() => window.told")


def test_the_network_comes_back_as_a_sending_fails(phone, wire):
    """The server asks to wait a minute; the sending that "online" asks for is not put off by it."""
    phone.send()
    wait = (("Content-Type", "application/json"), ("Retry-After", "60"))
    wire.arm(lambda *_: Answer(status=429, headers=wait, body=b"{}"))
    told = phone.page.evaluate(ONLINE_AS_IT_FAILS, phone.visit)
    asked = "The server is busy or closed for maintenance. All is saved on this phone"
    assert [kind for kind, _ in told][-4:] == ["sending", "later", "sending", "idle"]
    assert told[-3][1].startswith(asked)
    assert the_visit().cells["notes"] == "mist"


@pytest.mark.parametrize("mode", [Mode.READ_ONLY, Mode.MAINTENANCE])
def test_the_site_is_closed_for_a_while(phone, settings, tmp_path, mode):
    """Asked once, told, kept, and sent when it is open again."""
    settings.SITE_MODE_FILE = tmp_path / "mode.json"
    write(settings.SITE_MODE_FILE, SiteMode(mode))
    phone.tap_species(1, PEEPER)
    assert phone.send() == "later"
    reads(phone, "closed for maintenance. All is saved on this phone")
    assert not any(CALL in visit.cells for visit in Visit.objects.all())
    write(settings.SITE_MODE_FILE, SiteMode())
    assert phone.send() == "idle"
    assert the_visit().cells[CALL] == "1"


def test_somebody_else_answers_for_the_server(phone, wire):
    """A page to sign in to a network, as in a hotel, is no answer of the server."""
    wire.arm(lambda *_: PORTAL, lambda one: True, times=200)
    phone.tap_species(1, PEEPER)
    assert phone.send() == "busy"
    reads(phone, "Cannot reach the server.")
    wire.heal()
    assert phone.send() == "idle"


# Its own worker stands; the one at the root is there for addresses without a network.
SCREEN_KEPT = """async () => {
  const own = () => navigator.serviceWorker.getRegistration(location.pathname);
  while (!(await own())?.active?.scriptURL.endsWith("/survey/sw.js"))
    await new Promise((done) => setTimeout(done, 20));
}"""


def test_somebody_else_answers_for_a_file_of_the_screen(open_phone, observer, route, wire):
    """The phone keeps the screen once all of it came from the server."""
    phone = open_phone(observer, new=True)
    wire.arm(lambda *_: PORTAL, lambda one: one.path.endswith("/take.js"), times=200)
    phone.begin(route.code)
    assert phone.page.evaluate(KEEP_THE_SCREEN) == "redundant"
    assert phone.page.evaluate("caches.keys()") == []
    wire.heal()
    phone.reload()
    phone.page.evaluate(SCREEN_KEPT)
    phone.set_offline(True)
    phone.open_tab()
    phone.tap_species(1, PEEPER, tab=1)
    phone.wait_stored(CALL, "1")


def test_a_request_that_arrives_late_takes_nothing_back(phone, wire):
    """It was held up, the phone gave up waiting, and the observer took the entry back."""
    phone.send()
    wire.arm(FAULTS["held up"], times=20)
    phone.tap_species(1, PEEPER)
    assert phone.send() == "busy"
    wire.heal()
    for _ in range(3):
        phone.tap_species(1, PEEPER)
    phone.wait_stored(CALL, "")
    phone.send()
    wire.deliver()
    assert CALL not in the_visit().cells
    assert CALL not in submitted(phone).cells


# Signing in


def test_the_session_ends_in_the_middle_of_sending(phone, wire):
    def signed_out(wire, message):
        Session.objects.all().delete()
        connections.close_all()
        return wire.pass_on(message)

    phone.tap_species(1, PEEPER)
    wire.arm(signed_out)
    assert phone.send() == "signed-out"
    reads(phone, "You are signed out. Nothing is lost. Sign in to send the rest.")
    phone.sign_in()
    reads(phone, SENT)
    assert the_visit().cells[CALL] == "1"


def test_somebody_else_signs_in_on_the_phone(begun, wire, program, observer):
    """Also in the very moment of sending: a visit never gets to the wrong observer."""
    other = make_member(program, person=make_person("Kim Alder"))
    # Until then nothing gets through, for the phone sends by itself.
    wire.arm(FAULTS["request lost"], times=100)
    phone = begun(observer)
    phone.tap_species(1, PEEPER)
    phone.sign_in_as(other.person.email)
    wire.heal()
    assert phone.send() == "other-person"
    reads(phone, "You are signed in as Kim Alder, but a visit belongs to Robin Fenwick.")
    reads(phone, "It is saved here until Robin Fenwick signs in.")
    assert not Visit.objects.exists()
    phone.sign_in_as(observer.person.email)
    phone.send()
    assert the_visit().observer == observer.person


def test_somebody_else_signs_in_in_the_moment_of_sending(
    begun, wire, program, route, observer, client_for
):
    """From the first writing request on, the session is another person's. The token to write with
    is still the same: an answer that was on its way has set it again."""
    session = client_for(make_member(program)).cookies["sessionid"].value
    changed = []

    def by_the_other(wire, message):
        changed.append(message)
        headers = [(name, IN_SESSION.sub(session, text)) for name, text in message.headers]
        return wire.pass_on(replace(message, headers=tuple(headers)))

    wire.arm(by_the_other, lambda one: one.writes or bool(changed), times=100)
    phone = begun(observer)
    phone.tap_species(1, PEEPER)
    assert phone.send() == "other-person"
    assert not Visit.objects.exists()
    # Nor does a return time: it waits until its observer signs in.
    changed.clear()
    now = timezone.now().isoformat()
    facts = {"person": observer.person_id, "route": route.code, "back_by": now, "back_at": now}
    assert phone.page.evaluate(SEND_RETURN_TIME, facts) == "other-person"
    assert [one.method for one in changed if "/check-ins/" in one.path] == ["PUT"]
    kept = phone.page.evaluate(KEPT_RETURN_TIME, observer.person_id)
    assert kept == facts | {"id": A_KEY, "sent": False}
    assert not CheckIn.objects.exists()
    # Nor does the phone forget a recording that is still to be deleted on the server.
    changed.clear()
    assert phone.page.evaluate(SEND_REMOVAL, {"id": A_KEY, "person": observer.person_id})
    assert [one.method for one in changed if "/recordings/" in one.path] == ["DELETE"]
    # Nor a draft: neither where the other has none of that id, nor where it never arrived.
    changed.clear()
    refusal = phone.page.evaluate(THROW_AWAY, phone.visit)
    assert "only Robin Fenwick can delete this draft" in refusal
    assert [one.method for one in changed if "/visits/" in one.path] == ["DELETE"]
    assert phone.record() is not None
    assert not DiscardedDraft.objects.exists()


# Protocol, visit and packet that are old


def newer_version(route: Route) -> None:
    old = route.protocol.versions.get()
    route.protocol.versions.create(
        number=old.number + 1, in_force_from=dt.date(2001, 1, 1), listening_time_s=300
    )


def test_the_protocol_was_changed_meanwhile(phone, route):
    phone.set_offline(True)
    phone.tap_species(1, PEEPER)
    newer_version(route)
    phone.set_offline(False)
    assert submitted(phone).protocol_version.number == 1
    reads(phone, "The protocol has changed since you saved this route.")
    reads(phone, "Your visit will be checked against the version saved on this phone.")


def test_a_packet_of_last_week(open_phone, observer, route, monkeypatch):
    """Taken along and surveyed a week ago; the network comes back today."""
    phone = open_phone(observer)
    phone.take_along(route.code)
    with monkeypatch.context() as last_week:
        then = SimpleNamespace(now=lambda: timezone.now() - dt.timedelta(days=7))
        last_week.setattr(survey, "timezone", then)
        phone.begin(route.code, hours=-7 * 24)
    phone.set_offline(True)
    phone.tap_species(1, PEEPER)
    phone.wait_stored(CALL, "1")
    phone.turn_clock(0)
    newer_version(route)
    phone.reload()
    phone.set_offline(False)
    visit = submitted(phone)
    assert tonight() - visit.night == dt.timedelta(days=7)
    assert visit.protocol_version.number == 1
    assert visit.cells[CALL] == "1"


def test_the_visit_was_thrown_away_on_the_server(phone, observer):
    phone.tap_species(1, PEEPER)
    phone.send()
    discard_draft(observer, the_visit().pk)
    phone.tap_species(2, PEEPER)
    phone.send()
    reads(phone, "This visit was deleted on the server.")
    press(phone, "Send this copy again")
    reads(phone, SENT)
    assert {CALL, f"stops.2.calls.{PEEPER}"} <= the_visit().cells.keys()


def test_both_sides_changed_several_cells(phone, observer):
    """Field by field: each cell has its own choice."""
    phone.write_notes("mist")
    phone.tap_species(1, PEEPER)
    phone.send()
    visit = the_visit()
    theirs = {
        "notes": CellChange(was="mist", now="fog 449 2001"),
        CALL: CellChange(was="1", now="3"),
    }
    assert save_cells(observer, visit.pk, theirs).conflicts == ()
    phone.write_notes(" low")
    phone.tap_species(1, PEEPER)
    phone.send()
    reads(phone, "2 entries changed in two places: choose below.")
    reads(phone, f"Stop 1: {PEEPER.replace('-', ' ')}")
    press(phone, "Use the other: fog 449 2001")
    press(phone, "Keep mine: 2")
    reads(phone, SENT)
    cells = submitted(phone).cells
    assert (cells["notes"], cells[CALL]) == ("fog 449 2001", "2")


# A clock that is wrong


def test_the_clock_is_a_day_and_two_hours_ahead(open_phone, observer, route):
    """Lengths are right whatever the clock says; times and the night are put right by a tap."""
    phone = open_phone(observer)
    phone.begin(route.code, hours=26)
    phone.page.evaluate("location.hash = '#/home'")
    words = "This phone’s clock was 26 h fast when it last reached the server."
    phone.page.get_by_text(f"{words} Correct it before the survey.").wait_for()
    began, ended = listen(phone)
    written = times(phone)
    length = written["finished_at"] - written["started_at"]
    assert ended[0] - began[1] <= length <= ended[1] - began[0]
    ahead = dt.timedelta(hours=26)
    assert began[0] + ahead <= written["started_at"] <= began[1] + ahead
    phone.send()
    reads(phone, f"{words} If it was off during the survey, your times are off by the same amount.")
    press(phone, "Correct the times of this visit")
    reads(phone, "The times are already corrected.")
    visit = submitted(phone)
    (period,) = visit.periods.all()
    slack = dt.timedelta(minutes=1)
    assert began[0] - slack <= period.started_at <= began[1] + slack
    assert period.finished_at - period.started_at == length
    assert visit.night == tonight()


def test_the_clock_is_set_back_while_listening(phone):
    listen(phone, finish=False)
    phone.turn_clock(-3)
    phone.page.get_by_text("The phone’s clock was set back. Start listening over.").wait_for()
    press(phone, "Start listening over")
    phone.page.get_by_role("button", name="I am at the stop").wait_for()


def test_the_clock_leaps_ahead_while_listening(phone):
    """Set by hand or slept away, which nobody but the observer knows; nothing ends unasked."""
    listen(phone, finish=False)
    began = phone.texts()["stops.1.started_at"]
    question = "The phone’s clock jumped 3 h ahead. Was the phone asleep, or was its clock changed?"
    phone.page.evaluate(RELOAD_ONCE_ASKED, question)
    with phone.page.expect_event("load"):
        phone.turn_clock(3)
    phone.page.locator(".message", has_text=question).wait_for()
    assert "stops.1.finished_at" not in phone.texts()
    press(phone, "Clock was changed: keep listening")
    phone.page.locator(".message", has_text=question).wait_for(state="hidden")
    phone.page.locator(".phase__what", has_text="Listening").wait_for()
    moved = phone.texts()["stops.1.started_at"]
    lead = dt.datetime.fromisoformat(moved) - dt.datetime.fromisoformat(began)
    assert abs(lead - dt.timedelta(hours=3)) < dt.timedelta(minutes=1)
    phone.turn_clock(6)
    phone.page.locator(".message", has_text=question).wait_for()
    press(phone, "Phone was asleep: keep the time")
    phone.page.locator(".phase__what", has_text="Stop done").wait_for()
    assert phone.texts()["stops.1.started_at"] == moved


def listen(phone: Handset, *, finish: bool = True) -> list[tuple[dt.datetime, dt.datetime]]:
    """Listen at stop 1 for a moment; between which instants it began and ended."""
    phone.show("stop", 1)
    press(phone, "I am at the stop")
    taps = [("Start listening", "Listening")]
    if finish:
        taps.append(("Stop listening early", "Stop done"))
    between = []
    for name, then in taps:
        before = timezone.now()
        press(phone, name)
        phone.page.locator(".phase__what", has_text=then).wait_for()
        between.append((before, timezone.now()))
    return between


def times(phone: Handset) -> dict[str, dt.datetime]:
    cells = phone.texts()
    names = ("started_at", "finished_at")
    return {name: dt.datetime.fromisoformat(cells[f"stops.1.{name}"]) for name in names}
