"""How often the interval of a share with borrowed detection holds the true share: species of one
season, most of them visited three times, one of them once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from surveys.trends.borrowed import FEWEST_LENDERS, borrowed_share, can_lend
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_estimates import detection_share
from surveys.trends.numerics.intervals import wilson, wilson_clustered
from tests.published.trends.calibration.counting import estimator

SEED = 20261201
STOPS, VISITS = 10, 3


@dataclass(frozen=True, kw_only=True)
class Borrowing:
    """``lenders`` species with a chance of ``detection`` on a visit, spread by ``spread`` on the
    logit scale as that of the borrower is; ``share`` of the stops have the borrower, of a route
    more or fewer by ``route_sd``."""

    name: str
    lenders: int = 8
    routes: int = 20
    detection: float = 0.5
    spread: float = 0.6
    share: float = 0.3
    route_sd: float = 0.0


BORROWINGS = (
    Borrowing(name="8 species"),
    Borrowing(name="5 species", lenders=5),
    Borrowing(name="20 species", lenders=20),
    Borrowing(name="species all alike", spread=0.0),
    Borrowing(name="species very unlike", spread=1.2),
    Borrowing(name="heard badly", detection=0.25, share=0.5),
    Borrowing(name="heard well, common", detection=0.7, share=0.7),
    Borrowing(name="rare", share=0.08),
    Borrowing(name="routes unlike", route_sd=1.0),
    Borrowing(name="10 routes, unlike", routes=10, route_sd=1.0),
)
HEAD = (
    "# How often the interval of a share with borrowed detection holds the truth\n\n"
    "Written by `deploy/calibrate --borrowed`. Of one season: the share of stops of a species that "
    "was visited once, with the detection of others that were visited three times. 95 % intervals. "
    "Last column: were the mean chance of the others that of the species."
)


@dataclass(frozen=True, kw_only=True)
class BorrowedCount:
    """Of ``programs`` with a share, those in which the interval ``held`` the truth, and the mean
    ``width``; ``certain`` counts those in which an interval would hold it that takes the mean
    chance of the others as that of the species."""

    case: Borrowing
    programs: int
    held: int
    certain: int
    width: float


def count_borrowing(case: Borrowing, programs: int) -> BorrowedCount:
    outcomes = [
        outcome
        for number in range(programs)
        if (outcome := _outcome(case, np.random.default_rng([SEED, number]))) is not None
    ]
    held, certain, widths = (np.array(column) for column in zip(*outcomes, strict=True))
    return BorrowedCount(
        case=case,
        programs=len(outcomes),
        held=int(held.sum()),
        certain=int(certain.sum()),
        width=float(widths.mean()),
    )


def _outcome(case: Borrowing, rng: np.random.Generator) -> tuple[bool, bool, float] | None:
    route = np.repeat(np.arange(case.routes), STOPS)
    chances = expit(logit(case.detection) + rng.normal(0, case.spread, case.lenders + 1))
    lenders = []
    for chance in chances[1:]:
        there = rng.random(len(route)) < expit(rng.normal(0, case.route_sd, case.routes))[route]
        heard = there[:, None] & (rng.random((len(route), VISITS)) < chance)
        estimate = detection_share(fit_occupancy(heard, clusters=route), interval="clustered")
        if can_lend(estimate):
            lenders.append(estimate)
    shares = _shares(case, rng.normal(0, case.route_sd, case.routes))
    heard = rng.random(len(route)) < shares[route] * chances[0]
    if len(lenders) < FEWEST_LENDERS or not heard.any():
        return None
    share = borrowed_share(wilson_clustered(heard, np.ones(len(heard)), route), lenders).share
    mean = float(np.mean([lender.value for lender in lenders]))
    plain = wilson(int(heard.sum()), len(heard))
    return (
        share.low <= case.share <= share.high,
        plain.low / mean <= case.share <= plain.high / mean,
        share.high - share.low,
    )


def _shares(case: Borrowing, routes: np.ndarray) -> np.ndarray:
    """Of each route, so that the mean over all routes there could be is ``share``."""
    if not case.route_sd:
        return np.full(len(routes), case.share)
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    levels = np.linspace(-6, 6, 2401)
    means = expit(levels[:, None] + case.route_sd * nodes) @ weights / weights.sum()
    return expit(np.interp(case.share, means, levels) + routes)


def document(programs: int) -> str:
    """Every case counted, in Markdown."""
    counts = [count_borrowing(case, programs) for case in BORROWINGS]
    return f"{HEAD} Code of `surveys/trends`: {estimator()}.\n\n{borrowed_table(counts)}"


def borrowed_table(counts: Iterable[BorrowedCount]) -> str:
    head = (
        "| case | programs | coverage % (95 %) | mean width | coverage % with detection taken as "
        "known |\n|---|---:|---|---:|---:|"
    )
    lines = [head]
    for count in counts:
        held = wilson(count.held, count.programs)
        lines.append(
            f"| {count.case.name} | {count.programs} | {100 * held.value:.1f} "
            f"({100 * held.low:.1f} to {100 * held.high:.1f}) | {count.width:.2f} "
            f"| {100 * count.certain / count.programs:.1f} |"
        )
    return "\n".join(lines) + "\n"
