"""Random evenings on one or two phones, and a book of what was written there.

A seed makes a plan: steps as plain data. Every step can be carried out in any state, so a plan
that fails can be cut down step by step and run again.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from django.contrib.sessions.models import Session
from django.utils import timezone

from surveys.models import (
    Route,
    Stop,
    Visit,
    VisitState,
)
from surveys.protocol.nights import night_of
from tests.browser.survey.sync.handset import Handset
from tests.browser.survey.sync.wire import (
    FAULTS,
    TRIES,
    Message,
    Wire,
)

SPECIES = ("pseudacris-crucifer", "lithobates-sylvaticus")
STOPS = (1, 2, 3)
WINDS = {"0": "0 calm", "1": "1 light air", "2": "2 light breeze"}
NEXT = {"": "1", "1": "2", "2": "3", "3": ""}
_ROUNDS = 15
_WEIGHTS = {
    "tap": 30,
    "pick": 6,
    "write": 10,
    "send": 16,
    "fault": 14,
    "offline": 4,
    "online": 8,
    "reload": 4,
    "expire": 3,
    "sign in": 3,
    "open tab": 3,
    "close tab": 1,
    "clock": 2,
    "deliver": 4,
    "close stop": 2,
    "move stop": 2,
    "full disk": 3,
}


@dataclass(frozen=True)
class Step:
    """`phone` and `tab` are taken modulo what there is at that time."""

    what: str
    phone: int = 0
    tab: int = 0
    more: tuple[str | int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Plan:
    seed: int
    steps: tuple[Step, ...]
    last_fault: str | None
    killable: bool

    def without(self, place: int, count: int) -> Plan:
        steps = self.steps[:place] + self.steps[place + count :]
        return Plan(seed=self.seed, steps=steps, last_fault=self.last_fault, killable=self.killable)


def plan_of(seed: int) -> Plan:
    draw = random.Random(seed)
    killable, two_phones = draw.random() < 0.3, draw.random() < 0.35
    weights = {**_WEIGHTS, **({"kill": 5, "kill in a tap": 5} if killable else {})}
    steps = []
    for _ in range(draw.randint(14, 28)):
        what = draw.choices(list(weights), list(weights.values()))[0]
        phone = int(two_phones and draw.random() < 0.4)
        steps.append(Step(what, phone, draw.randint(0, 1), _details(what, draw)))
    last_fault = draw.choice([None, *FAULTS])
    return Plan(seed=seed, steps=tuple(steps), last_fault=last_fault, killable=killable)


def _details(what: str, draw: random.Random) -> tuple[str | int, ...]:
    if what in ("tap", "kill in a tap", "full disk"):
        return draw.choice(STOPS), draw.choice(SPECIES)
    if what == "pick":
        return (draw.choice(list(WINDS)),)
    if what in ("close stop", "move stop"):
        return (draw.choice(STOPS),)
    if what == "write":
        return (draw.choice(["fog ", "rain ", "é ", "🐸 ", "“dry” "]) + str(draw.randint(0, 999)),)
    if what == "fault":
        return draw.choice(list(FAULTS)), draw.choice(["write", "write", "write", "hello"])
    if what == "clock":
        return (draw.choice([-30, -5, -1, 2, 7, 26]),)
    return ()


@dataclass(frozen=True, kw_only=True)
class Written:
    """A text that an observer wrote on a phone, and the text that the phone showed before."""

    phone: int
    text: str
    seen: str
    at: dt.datetime = field(default_factory=timezone.now)


# The cells of a visit on the server, each with the time since which they stood so.
History = Sequence[tuple[dt.datetime, Mapping[str, str]]]


@dataclass
class Book:
    """Everything that was written, by cell address, in the order of writing."""

    written: dict[str, list[Written]] = field(default_factory=dict)
    offered: set[tuple[str, str]] = field(default_factory=set)

    def write(self, phone: int, address: str, text: str, seen: str) -> None:
        self.written.setdefault(address, []).append(Written(phone=phone, text=text, seen=seen))

    def expected(self, phone: int) -> dict[str, str]:
        """What was written last on that phone, by address."""
        return {
            address: mine[-1]
            for address, all_written in self.written.items()
            if (mine := [one.text for one in all_written if one.phone == phone])
        }

    def losses(self, final: Mapping[str, str], history: History) -> list[str]:
        """Texts that are gone although nobody wrote over them knowingly or chose against them,
        and texts that nobody wrote.

        A text that the server held after it was written is not gone either: another phone had
        written the same, and the server lets only those write over it who say that they saw it.
        """
        found = []
        for address, all_written in self.written.items():
            kept = final.get(address, "")
            if kept not in {one.text for one in all_written}:
                found.append(f"{address} holds {kept!r}, which nobody wrote")
            for phone in {one.phone for one in all_written}:
                place = max(n for n, one in enumerate(all_written) if one.phone == phone)
                text = all_written[place].text
                overwritten = any(later.seen == text for later in all_written[place + 1 :])
                overwritten |= _held(history, address, text, since=all_written[place].at)
                if text != kept and not overwritten and (address, text) not in self.offered:
                    found.append(f"{address} lost {text!r} of phone {phone}; it holds {kept!r}")
        unwritten = final.keys() - self.written.keys() - {"night", "temperature_unit", "rain_unit"}
        return found + [f"{address} was never written" for address in sorted(unwritten)]


def _held(history: History, address: str, text: str, *, since: dt.datetime) -> bool:
    """Whether the server had this text at the address at some time after `since`."""
    ends = [at for at, _ in history[1:]] + [None]
    return any(
        cells.get(address, "") == text and (end is None or end > since)
        for (_, cells), end in zip(history, ends, strict=True)
    )


def history_of(visit: Visit) -> History:
    events = visit.events.order_by("pgh_id")
    return [(event.pgh_created_at, event.cells) for event in events]


class Evening:
    """Carries out a plan. `phones` opens the phone of that number; the second one is opened
    when a step first needs it."""

    def __init__(
        self, plan: Plan, wire: Wire, route: Route, phones: Callable[[int], Handset]
    ) -> None:
        self.plan, self.wire, self._route = plan, wire, route
        self._tonight = night_of(timezone.now(), route.program.time_zone)
        self._open = phones
        self.book = Book()
        self.phones = [phones(0)]
        self._chance = random.Random(plan.seed)

    def carry_out(self) -> None:
        for step in self.plan.steps:
            if step.phone and len(self.phones) == 1:
                if self.phones[0].offline:
                    continue
                self.wire.heal()
                self.phones.append(self._open(1))
            phone = self.phones[step.phone]
            _DO[step.what](self, step, phone, step.tab % len(phone.tabs))

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

    def sign_in(self, step: Step, phone: Handset, tab: int) -> None:
        if phone.offline or phone.send() != "signed-out":
            return
        self.wire.heal()
        phone.sign_in()

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
        kept = phone.texts()
        for address, text in self.book.expected(number).items():
            assert kept.get(address, "") == text, f"{address} holds {kept.get(address)!r}"

    # The end

    def finish(self) -> Visit:
        """With a sound wire again: all sent, what both sides changed chosen, then submitted."""
        self.wire.heal()
        self.wire.deliver()
        for phone in self.phones:
            phone.set_offline(False)
        for _ in range(_ROUNDS):
            settled = [self._settle(number) for number in range(len(self.phones))]
            if all(settled):
                break
        else:
            raise AssertionError(f"Sending does not come to rest: {self._standing()}")
        return self._submit(self._chance.randrange(len(self.phones)))

    def _settle(self, number: int) -> bool:
        """One round of sending; whether nothing was left to do."""
        phone = self.phones[number]
        if not self._sent(phone) or self._choose(number):
            return False
        record = phone.record()
        assert record is not None, "the visit is gone from the phone"
        assert record["trouble"] is None or not record["trouble"]["stops"], record["trouble"]
        waits = [at for at, cell in phone.stored().items() if cell["text"] != cell["base"]]
        return not waits

    @staticmethod
    def _sent(phone: Handset) -> bool:
        """Whether the phone sent what it could; else somebody signed in for the next time."""
        kind = phone.send()
        assert kind in ("idle", "signed-out"), f"the wire is sound, but the phone says {kind}"
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
                box.get_by_role("button", name=f"{words}: {text or '(blank)'}").wait_for()
                self.book.offered.add((address, text))
            keep = self._chance.random() < 0.5
            box.get_by_role("button", name="Keep mine" if keep else "Use the other").click()
            chosen, other = (mine, theirs) if keep else (theirs, mine)
            self.book.write(number, address, chosen, other)
            phone.wait_stored(address, chosen)
        return bool(clashes)

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
        raise AssertionError(f"The visit is not submitted: {self._standing()}")

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
    "move stop": Evening.move_stop,
    "kill": Evening.kill,
    "kill in a tap": Evening.kill_in_a_tap,
}


def doubled(visit: Visit, final: Mapping[str, str]) -> list[str]:
    """What stands twice, or not at all, among the rows of the submitted visit."""
    found = []
    visits = Visit.objects.filter(route=visit.route).count()
    calls = sorted(
        (period.stop.number, call.species.code, call.index)
        for period in visit.periods.all()
        for call in period.calls.all()
    )
    wanted = sorted(
        (stop, code, int(final[address]))
        for stop in STOPS
        for code in SPECIES
        if final.get(address := f"stops.{stop}.calls.{code}")
    )
    for name, count, right in (
        ("visits", visits, 1),
        ("submissions", visit.submissions.count(), 1),
        ("steps", visit.steps.count(), 1),
        ("periods", visit.periods.count(), len({stop for stop, _, _ in wanted})),
    ):
        if count != right:
            found.append(f"{count} {name} instead of {right}")
    return found if calls == wanted else [*found, f"calls {calls} instead of {wanted}"]
