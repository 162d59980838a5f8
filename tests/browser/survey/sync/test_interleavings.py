"""Random interleavings of taps, kills, faults of the wire, tabs and phones: nothing is lost,
nothing doubled, nothing stuck. SYNC_SEEDS="7 12" runs those seeds alone."""

import os
import sys
import time
import traceback
from collections import Counter
from pathlib import Path

import pytest
from django.core.cache import cache

from surveys.models import Route
from tests.browser.survey.sync.book import doubled, history_of
from tests.browser.survey.sync.handset import Handset
from tests.browser.survey.sync.interleavings import Evening, StuckError
from tests.browser.survey.sync.plans import Plan, plan_of
from tests.support.builders import make_member, make_person, make_route

pytestmark = pytest.mark.django_db(transaction=True)

OTHERS = ("Kim Alder", "Lee Sedge")
# Four in which every step is taken, by a phone that is killed and by two phones.
FEW, MANY = (2, 26, 53, 55), range(200)
CUTTING_S = float(os.environ.get("SYNC_CUT_S", "90"))
# What was lost, what doubled, what is stuck.
Verdict = tuple[list[str], list[str], list[str]]


@pytest.fixture
def handsets(open_phone, observer):
    """Phones by number and by whether they can be killed; opened once, used by every evening."""
    kept: dict[tuple[int, bool], Handset] = {}

    def phone(number: int, killable: bool, route: Route) -> Handset:
        key = (number, killable and number == 0)
        if key not in kept:
            opened = open_phone(observer, killable=key[1])
            opened.take_along(route.code)
            kept[key] = opened
        kept[key].begin(route.code)
        return kept[key]

    return phone


@pytest.fixture
def evening(wire, observer, checklist, handsets):
    """Runs a plan on a route of its own; what was lost and what doubled."""
    others = [make_member(observer.program, person=make_person(name)) for name in OTHERS]

    def run(plan: Plan) -> tuple[list[str], list[str]]:
        wire.heal()
        wire.deliver()
        cache.clear()
        observer.program.memberships.update(active=True)
        route = make_route(observer.program)
        tonight = Evening(
            plan,
            wire,
            route,
            (observer, *others),
            lambda number: handsets(number, plan.killable, route),
        )
        tonight.carry_out()
        visit = tonight.finish()
        problems = [words for one in tonight.phones for words in one.problems]
        for one in tonight.phones:
            one.problems.clear()
        lost = tonight.book.losses(visit.cells, history_of(visit))
        return lost + problems, doubled(visit, visit.cells)

    return run


def explore(evening, seeds) -> None:
    steps: Counter[str] = Counter()
    wrong: dict[Plan, Verdict] = {}
    for seed in seeds:
        plan = plan_of(seed)
        steps.update(step.what for step in plan.steps)
        begun = time.monotonic()
        if verdict := _verdict(evening, plan):
            wrong[plan] = verdict
        say(f"seed {seed}: {len(plan.steps)} steps, {time.monotonic() - begun:.1f} s", verdict)
    counts = (sum(bool(one[part]) for one in wrong.values()) for part in range(3))
    found = "lost {}, doubled {}, stuck {}".format(*counts)
    say(f"interleavings {len(seeds)}, steps {steps.total()}, {found}")
    say(dict(steps))
    if wrong:
        pytest.fail(_explain(evening, *next(iter(wrong.items()))))


def say(*words: object) -> None:
    sys.stdout.write(" ".join(str(word) for word in words if word is not None) + "\n")
    sys.stdout.flush()


def _verdict(evening, plan: Plan) -> Verdict | None:
    """None when all is well. Any other error on the way is a loss."""
    try:
        lost, twice = evening(plan)
    except StuckError as error:
        return [], [], [str(error)]
    except Exception as error:  # noqa: BLE001 - whatever went wrong is the finding
        place = traceback.extract_tb(error.__traceback__)[-1]
        return [f"{type(error).__name__}: {error} ({place.name}, line {place.lineno})"], [], []
    return (lost, twice, []) if lost or twice else None


def _explain(evening, plan: Plan, verdict: Verdict) -> str:
    """The plan cut down to the steps without which it does not fail."""
    deadline = time.monotonic() + CUTTING_S
    size = len(plan.steps) // 2
    while size and time.monotonic() < deadline:
        place = 0
        while place < len(plan.steps) and time.monotonic() < deadline:
            shorter = plan.without(place, size)
            if found := _verdict(evening, shorter):
                plan, verdict = shorter, found
            else:
                place += size
        size //= 2
    steps = "\n".join(f"  {step}" for step in plan.steps)
    return (
        f'again: SYNC_SEEDS="{plan.seed}" pytest {Path(__file__).name} -k few\n'
        f"seed {plan.seed} cut down, last fault {plan.last_fault!r}:\n{steps}\n{verdict}"
    )


def test_few_interleavings(evening):
    chosen = os.environ.get("SYNC_SEEDS", "")
    explore(evening, [int(seed) for seed in chosen.split()] or FEW)


@pytest.mark.slow
def test_many_interleavings(evening):
    explore(evening, MANY)
