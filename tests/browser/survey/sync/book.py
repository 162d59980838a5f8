"""What was written in an evening on several phones, and what of it is lost or doubled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils import timezone

from surveys.models import Visit
from tests.browser.survey.sync.plans import SPECIES, STOPS


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
    if str(visit.second_member_id or "") != final.get("second_member", ""):
        found.append(f"second observer {visit.second_member_id}")
    return found if calls == wanted else [*found, f"calls {calls} instead of {wanted}"]
