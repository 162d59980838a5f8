"""Who will go to a route in a window: those who left, are away, or have somebody stand in."""

import datetime as dt

from accounts.models import Membership, Person, Role
from surveys.programs.cover import Assigned, Away, can_go, cover_of
from surveys.programs.schedule import DueWindow


def day(number: int) -> dt.date:
    return dt.date(2025, 4, number)


APRIL = DueWindow(name="April", opens=day(10), closes=day(20))
MAY = DueWindow(name="May", opens=dt.date(2025, 5, 10), closes=dt.date(2025, 5, 20))


def member(number: int, name: str, *, active: bool = True, role: str = Role.OBSERVER) -> Membership:
    person = Person(pk=number, name=name, email=f"{name}@example.org", is_active=True)
    return Membership(pk=number, person=person, active=active, role=role)


FIRST = day(1)
ANN, BO = member(1, "Ann"), member(2, "Bo")
DI, PARTNER = member(3, "Di", active=False), member(4, "Pat", role=Role.PARTNER)


def assigned(one: Membership, windows=(), **substitutes: Membership) -> Assigned:
    return Assigned(id=one.pk, member=one, windows=tuple(windows), substitutes=substitutes)


def away(**nights: tuple[int, int]) -> dict[int, list[Away]]:
    known = {"ann": 1, "bo": 2}
    return {
        known[name]: [Away(first=day(first), last=day(last))]
        for name, (first, last) in nights.items()
    }


def told(parts, absences=None, today=FIRST, window=APRIL):
    cover = cover_of(window, parts, absences or {}, today)
    going = [
        f"{one.member.person.name} for {one.instead_of.person.name}"
        if one.instead_of
        else one.member.person.name
        for one in cover.going
    ]
    return (
        going,
        [one.person.name for one in cover.away],
        [one.person.name for one in cover.left],
    )


def test_the_whole_season_or_the_windows_named():
    assert told([assigned(ANN)]) == (["Ann"], [], [])
    assert told([assigned(ANN, ["April"])]) == (["Ann"], [], [])
    assert told([assigned(ANN, ["April"])], window=MAY) == ([], [], [])


def test_who_left_or_cannot_enter_visits_is_no_cover():
    assert told([assigned(DI), assigned(PARTNER)]) == ([], [], ["Di", "Pat"])
    erased = member(5, "Observer 5")
    erased.person.email, erased.person.is_active = None, False
    assert told([assigned(erased)]) == ([], [], ["Observer 5"])


def test_away_for_all_nights_that_are_left_is_no_cover():
    assert told([assigned(ANN)], away(ann=(10, 20))) == ([], ["Ann"], [])
    assert told([assigned(ANN)], away(ann=(10, 19))) == (["Ann"], [], [])
    # On the 15th, five nights of the window are over.
    assert told([assigned(ANN)], away(ann=(14, 20)), today=day(14)) == ([], ["Ann"], [])
    assert told([assigned(ANN)], away(ann=(14, 20)), today=day(13)) == (["Ann"], [], [])


def test_a_substitute_goes_in_one_window_only():
    parts = [assigned(ANN, April=BO)]
    assert told(parts) == (["Bo for Ann"], [], [])
    assert told(parts, window=MAY) == (["Ann"], [], [])
    # Ann's own absence no longer matters in April.
    assert told(parts, away(ann=(1, 30))) == (["Bo for Ann"], [], [])


def test_a_substitute_who_left_or_cannot_go_is_no_cover():
    assert told([assigned(ANN, April=DI)]) == (["Ann"], [], ["Di"])
    assert told([assigned(ANN, April=BO)], away(ann=(1, 30), bo=(1, 30))) == (
        [],
        ["Bo", "Ann"],
        [],
    )


def test_who_is_assigned_and_stands_in_goes_once():
    assert told([assigned(ANN, April=BO), assigned(BO)]) == (["Bo"], [], [])


def test_absences_that_follow_each_other():
    nights = [Away(first=day(16), last=day(20)), Away(first=day(9), last=day(15))]
    assert not can_go(nights, day(10), day(20), day(1))
    assert can_go(nights[:1], day(10), day(20), day(15))
    # A window that is over is judged by all of its nights.
    assert can_go(nights[:1], day(10), day(20), day(25))
