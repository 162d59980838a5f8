"""Random evenings on one or two phones, carried out step by step.

Beside the observer there is a companion, who may sign in on the same phone; a coordinator closes
and moves stops and ends roles meanwhile.
"""

from __future__ import annotations

import datetime as dt
import random
import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from django.contrib.sessions.models import Session
from django.db import connection
from django.utils import timezone
from playwright.sync_api import TimeoutError as PlaywrightTimeout

from accounts.models import Membership
from surveys.models import (
    Route,
    Stop,
    Visit,
    VisitState,
)
from surveys.protocol.nights import night_of
from tests.browser.survey.sync.book import Book
from tests.browser.survey.sync.handset import Handset
from tests.browser.survey.sync.plans import SPECIES, WINDS, Plan, Step
from tests.browser.survey.sync.wire import (
    FAULTS,
    TRIES,
    Answer,
    Message,
    Wire,
)

NEXT = {"": "1", "1": "2", "2": "3", "3": ""}
# Steps at a screen of the visit, which opens where its route is on the phone.
ON_A_SCREEN = {"tap", "pick", "write", "kill in a tap", "full disk", "companion"}
_ROUNDS = 15


class StuckError(AssertionError):
    """What was entered does not get to the server, or the visit cannot be submitted."""


class Evening:
    """Carries out a plan. `phones` opens the phone of that number; the second one is opened
    when a step first needs it. `people`: the observer, a companion, and a third member."""

    def __init__(
        self,
        plan: Plan,
        wire: Wire,
        route: Route,
        people: Sequence[Membership],
        phones: Callable[[int], Handset],
    ) -> None:
        self.plan, self.wire, self._route = plan, wire, route
        self.observer, self.companion, self._third = people
        self._tonight = night_of(timezone.now(), route.program.time_zone)
        self._open = phones
        self.book = Book()
        self.phones = [phones(0)]
        # Numbers of phones from which the route may be gone; somebody else may be signed in there.
        self._astray: set[int] = set()
        self._chance = random.Random(plan.seed)

    def carry_out(self) -> None:
        for step in self.plan.steps:
            if step.phone and len(self.phones) == 1:
                if self.phones[0].offline or not self._has_role():
                    continue
                self.wire.heal()
                self.phones.append(self._open(1))
            self._do(step, self.phones[step.phone])

    def _do(self, step: Step, phone: Handset) -> None:
        astray = step.phone in self._astray
        if astray and step.what in ON_A_SCREEN and not phone.take_route():
            return
        try:
            _DO[step.what](self, step, phone, step.tab % len(phone.tabs))
        except PlaywrightTimeout:
            # The route went in the very moment in which the screen was to open.
            if not astray or phone.route_is_here():
                raise

    def _has_role(self) -> bool:
        return Membership.objects.get(pk=self.observer.pk).active

    # Steps

    def tap(self, step: Step, phone: Handset, tab: int) -> None:
        stop, code = step.more
        address = f"stops.{stop}.calls.{code}"
        seen = self._fresh(phone, address, lambda: phone.shown_index(stop, code, tab))
        phone.tap_species(stop, code, tab)
        # The other phone's index may have come just before the tap.
        others = [one.text for one in self.book.written.get(address, ()) if one.phone != step.phone]
        possible = {NEXT[text]: text for text in others if NEXT[text] != seen} | {NEXT[seen]: seen}
        text = phone.wait_stored(address, *possible)
        self.book.write(step.phone, address, text, possible[text])

    def pick(self, step: Step, phone: Handset, tab: int) -> None:
        (force,) = step.more
        seen = phone.texts().get("start.beaufort", "")
        phone.pick("start.beaufort", WINDS[force], tab)
        self._wrote(step, phone, "start.beaufort", force, seen)

    def write(self, step: Step, phone: Handset, tab: int) -> None:
        seen = self._fresh(phone, "notes", lambda: phone.shown_notes(tab))
        phone.write_notes(step.more[0], tab)
        self._wrote(step, phone, "notes", seen + step.more[0], seen)

    def kill_in_a_tap(self, step: Step, phone: Handset, tab: int) -> None:
        """Only the key press of that moment may be gone."""
        stop, code = step.more
        address = f"stops.{stop}.calls.{code}"
        if phone.folder is None:
            return
        seen = self._fresh(phone, address, lambda: phone.shown_index(stop, code))
        phone.tap_species(stop, code)
        phone.kill()
        kept = phone.texts().get(address, "")
        assert kept in (seen, NEXT[seen]), f"{address} holds {kept!r} after a kill"
        if kept != seen:
            self.book.write(step.phone, address, kept, seen)
        self._check_disk(step.phone, phone)

    def kill(self, step: Step, phone: Handset, tab: int) -> None:
        if phone.folder is not None:
            phone.kill()
            self._check_disk(step.phone, phone)

    def reload(self, step: Step, phone: Handset, tab: int) -> None:
        phone.reload(tab)
        self._check_disk(step.phone, phone)

    def send(self, step: Step, phone: Handset, tab: int) -> None:
        phone.send(tab)

    def fault(self, step: Step, phone: Handset, tab: int) -> None:
        what, where = step.more
        noticed = (what, where) == ("500 before", "hello")
        fits = _writes if where == "write" else _hello
        self.wire.arm(FAULTS[what], fits, times=TRIES if noticed else 1)

    def full_disk(self, step: Step, phone: Handset, tab: int) -> None:
        """A tap while writes throw is neither stored nor shown, and the phone says so."""
        stop, code = step.more
        address = f"stops.{stop}.calls.{code}"
        seen = self._fresh(phone, address, lambda: phone.shown_index(stop, code, tab))
        phone.tap_on_a_full_disk(stop, code, tab)
        kept = phone.texts().get(address, "")
        others = {one.text for one in self.book.written.get(address, ()) if one.phone != step.phone}
        assert kept in {seen, *others}, f"{address} holds {kept!r} after a tap on a full disk"
        self._fresh(phone, address, lambda: phone.shown_index(stop, code, tab))

    def close_stop(self, step: Step, phone: Handset, tab: int) -> None:
        """A coordinator ends a stop, so that it is not part of the route on the night."""
        self._end_stop(step.more[0])

    def move_stop(self, step: Step, phone: Handset, tab: int) -> None:
        """Another stop has its number from the night on."""
        if old := self._end_stop(step.more[0]):
            self._route.stops.create(
                number=old.number, name="New", place=old.place, active_from=self._tonight
            )

    def _end_stop(self, number: int) -> Stop | None:
        stop = self._route.stops.filter(number=number, active_until=None).first()
        if stop is None or stop.active_from == self._tonight:
            return None
        stop.active_until = self._tonight - dt.timedelta(days=1)
        stop.save()
        return stop

    def full_disk_while_sending(self, step: Step, phone: Handset, tab: int) -> None:
        """Sending writes down what it does; from one of these writes on there is no room."""
        phone.send_on_a_full_disk(step.more[0], tab)

    def companion_chosen(self, step: Step, phone: Handset, tab: int) -> None:
        person = ["", str(self.companion.person_id), str(self._third.person_id)][step.more[0]]
        seen = phone.texts().get("second_member", "")
        if phone.choose_companion(person, tab):
            self._wrote(step, phone, "second_member", person, seen)

    def sign_in(self, step: Step, phone: Handset, tab: int) -> None:
        if phone.offline or phone.send() != "signed-out":
            return
        self.wire.heal()
        if step.phone in self._astray:
            phone.use_session_of(self.observer)
        else:
            phone.sign_in()

    def sign_out(self, step: Step, phone: Handset, tab: int) -> None:
        """By the site's page, which takes routes and what is sent off the phone; the survey stays,
        and somebody signs in again or nobody does."""
        if phone.offline:
            return
        if phone.route_is_here():
            self.tap(replace(step, more=(1, SPECIES[0])), phone, tab)  # What is not sent yet.
        before = phone.pending()
        phone.sign_out()
        self._astray.add(step.phone)
        kept = phone.pending()
        gone = dict(before.items() - kept.items())
        assert not gone or self._reached(gone), f"{gone} of {before} are gone, {kept} are left"
        if step.more[0] != "nobody":
            phone.use_session_of(getattr(self, step.more[0]))

    def _reached(self, texts: dict[str, str]) -> bool:
        """Whether the server has had the texts: they were sent while somebody signed out."""
        visit = Visit.objects.filter(pk=self.phones[0].visit).first()
        return visit is not None and all(
            any(event.cells.get(address, "") == text for event in visit.events.all())
            for address, text in texts.items()
        )

    def other_signs_in(self, step: Step, phone: Handset, tab: int) -> None:
        """The companion on the observer's phone: nothing is sent in that name."""
        if not phone.offline:
            self._astray.add(step.phone)
            phone.use_session_of(self.companion)
            phone.send()

    def role_ends(self, step: Step, phone: Handset, tab: int) -> None:
        """At once, or when the next request that writes is on its way."""
        who, moment = step.more
        ends = Membership.objects.filter(pk=getattr(self, who).pk)
        self._astray.update((0, 1))

        def in_sending(wire: Wire, message: Message) -> Answer:
            ends.update(active=False)
            connection.close()  # Of the thread of this request, which nobody else closes.
            return wire.pass_on(message)

        if moment == "now":
            ends.update(active=False)
        else:
            self.wire.arm(in_sending)

    def role_returns(self, step: Step, phone: Handset, tab: int) -> None:
        self._everybody().update(active=True)

    def _everybody(self):
        return Membership.objects.filter(program=self.observer.program)

    def open_tab(self, step: Step, phone: Handset, tab: int) -> None:
        if len(phone.tabs) == 1:
            phone.open_tab()

    def close_tab(self, step: Step, phone: Handset, tab: int) -> None:
        if len(phone.tabs) == 2:
            phone.close_tab()

    def _wrote(self, step: Step, phone: Handset, address: str, text: str, seen: str) -> None:
        self.book.write(step.phone, address, text, seen)
        phone.wait_stored(address, text)

    def _fresh(self, phone: Handset, address: str, look: Callable[[], str]) -> str:
        """What a tab shows, once it shows what the disk holds."""
        for _ in range(40):
            shown, kept = look(), phone.texts().get(address, "")
            if shown == kept:
                return shown
            phone.page.wait_for_timeout(50)
        raise AssertionError(f"A tab shows {shown!r} at {address}, the disk holds {kept!r}")

    def _check_disk(self, number: int, phone: Handset) -> None:
        if len(self.phones) > 1:
            return
        if number in self._astray and phone.record() is None:
            return  # It was sent, so it went when its observer signed out.
        kept = phone.texts()
        for address, text in self.book.expected(number).items():
            assert kept.get(address, "") == text, f"{address} holds {kept.get(address)!r}"

    # The end

    def finish(self) -> Visit:
        """With a sound wire again: all sent, what both sides changed chosen, then submitted."""
        self.wire.heal()
        self.wire.deliver()
        self._everybody().update(active=True)
        for number, phone in enumerate(self.phones):
            phone.set_offline(False)
            # An answer to a request of the session before may take the new cookie away.
            for _ in range(2 if number in self._astray else 0):
                phone.use_session_of(self.observer)
                if phone.take_route():
                    break
            is_here = number not in self._astray or phone.route_is_here()
            assert is_here, "neither phone nor server has the visit"
        for _ in range(_ROUNDS):
            settled = [self._settle(number) for number in range(len(self.phones))]
            if all(settled):
                break
        else:
            raise StuckError(f"Sending does not come to rest: {self._standing()}")
        return self._submit(self._chance.randrange(len(self.phones)))

    def _settle(self, number: int) -> bool:
        """One round of sending; whether nothing was left to do."""
        phone = self.phones[number]
        if not self._sent(phone) or self._choose(number):
            return False
        record = phone.record()
        assert record is not None, "the visit is gone from the phone"
        if record["trouble"] and record["trouble"]["stops"]:
            raise StuckError(f"The visit is put aside: {record['trouble']}")
        waits = [at for at, cell in phone.stored().items() if cell["text"] != cell["base"]]
        return not waits

    @staticmethod
    def _sent(phone: Handset) -> bool:
        """Whether the phone sent what it could; else somebody signed in for the next time."""
        kind = phone.send()
        if kind not in ("idle", "signed-out"):
            raise StuckError(f"the wire is sound, but the phone says {kind}")
        if kind == "signed-out":
            phone.sign_in()
        return kind == "idle"

    def _choose(self, number: int) -> bool:
        """Choose by chance where both sides changed a cell; both texts must be on offer."""
        phone = self.phones[number]
        clashes = {at: cell for at, cell in phone.stored().items() if "theirs" in cell}
        for address, cell in clashes.items():
            box = phone.show("summary").locator("#main fieldset.group").first
            mine, theirs = cell["text"], cell["theirs"]
            for words, text in (("Keep mine", mine), ("Use the other", theirs)):
                name = re.compile(f"^{words}: ({re.escape(text)}|{re.escape(self._said(text))})$")
                box.get_by_role("button", name=name).wait_for()
                self.book.offered.add((address, text))
            keep = self._chance.random() < 0.5
            box.get_by_role("button", name="Keep mine" if keep else "Use the other").click()
            chosen, other = (mine, theirs) if keep else (theirs, mine)
            self.book.write(number, address, chosen, other)
            phone.wait_stored(address, chosen)
        return bool(clashes)

    def _said(self, text: str) -> str:
        people = (self.companion, self._third)
        return {"": "(blank)", **{str(one.person_id): one.person.name for one in people}}.get(
            text, text
        )

    def _submit(self, number: int) -> Visit:
        phone = self.phones[number]
        if self.plan.last_fault:
            self.wire.arm(FAULTS[self.plan.last_fault])
        for _ in range(_ROUNDS):
            record = phone.record()
            if record["state"] == VisitState.SUBMITTED:
                visit = Visit.objects.get(pk=phone.visit)
                assert phone.texts() == visit.cells
                self._nothing_comes_later(visit)
                return visit
            if not record["wants_submit"] and not self._choose(number):
                phone.submit()
            if phone.send() == "signed-out":
                phone.sign_in()
        raise StuckError(f"The visit is not submitted: {self._standing()}")

    def _nothing_comes_later(self, visit: Visit) -> None:
        self.wire.deliver()
        after = Visit.objects.get(pk=visit.pk)
        assert (after.cells, after.revision, after.state) == (
            visit.cells,
            visit.revision,
            visit.state,
        )

    def _standing(self) -> Sequence[object]:
        return [(phone.record(), phone.stored()) for phone in self.phones]


def _writes(message: Message) -> bool:
    return message.writes


def _hello(message: Message) -> bool:
    return "/hello" in message.path


_DO: dict[str, Callable[[Evening, Step, Handset, int], None]] = {
    "tap": Evening.tap,
    "pick": Evening.pick,
    "write": Evening.write,
    "send": Evening.send,
    "fault": Evening.fault,
    "offline": lambda evening, step, phone, tab: phone.set_offline(True),
    "online": lambda evening, step, phone, tab: phone.set_offline(False),
    "reload": Evening.reload,
    "expire": lambda evening, step, phone, tab: Session.objects.all().delete(),
    "sign in": Evening.sign_in,
    "open tab": Evening.open_tab,
    "close tab": Evening.close_tab,
    "clock": lambda evening, step, phone, tab: phone.turn_clock(step.more[0]),
    "deliver": lambda evening, step, phone, tab: evening.wire.deliver(),
    "close stop": Evening.close_stop,
    "full disk": Evening.full_disk,
    "full disk while sending": Evening.full_disk_while_sending,
    "sign out": Evening.sign_out,
    "other signs in": Evening.other_signs_in,
    "companion": Evening.companion_chosen,
    "role ends": Evening.role_ends,
    "role returns": Evening.role_returns,
    "move stop": Evening.move_stop,
    "kill": Evening.kill,
    "kill in a tap": Evening.kill_in_a_tap,
}
