"""The chance to see a fall, in words and rows."""

from collections.abc import Sequence
from dataclasses import dataclass

from surveys.charts.words import share, share_with_interval
from surveys.language import said, said_of
from surveys.trends.estimates import NOT_IDENTIFIED
from surveys.trends.power import PowerCell, SurveyPlan

# Common practice, no source: what a plan should reach.
AIM = 0.8


@dataclass(frozen=True, kw_only=True)
class PowerRow:
    """One number of routes; `cells` are (words, whether it is the plan asked for, visits)."""

    routes: int
    cells: tuple[tuple[str, bool, int], ...]


def power_sentence(name: str, plan: SurveyPlan, cells: Sequence[PowerCell]) -> str:
    """The answer in one sentence."""
    asked = next(cell for cell in cells if (cell.routes, cell.visits) == (plan.routes, plan.visits))
    if NOT_IDENTIFIED in asked.chance.flags:
        return said(
            "With {routes} routes and {times} per year, no decline in the share of stops with "
            "{name} can be shown. Without a second visit in the same season, we cannot separate "
            "missed animals from absent ones.",
            routes=plan.routes,
            times=times(plan.visits),
            name=name,
        )
    return said(
        "With {routes} routes and {times} per year, there is a {share} chance to notice a "
        "decline of {plan}% in {years} years in the share of stops with {name}.",
        routes=plan.routes,
        times=times(plan.visits),
        plan=f"{plan.fall * 100:.0f}",
        years=plan.years,
        name=name,
        share=share(asked.chance.value),
    )


def aim_sentence(plan: SurveyPlan, cells: Sequence[PowerCell]) -> str:
    """The least effort among the cells that reaches the aim."""
    enough = [cell for cell in cells if (cell.chance.value or 0) >= AIM]
    if not enough:
        return said(
            "No plan in the table reaches the usual goal of {share}. More routes, more"
            " visits or more years would help; so would a species that is easier to hear.",
            share=share(AIM),
        )
    least = min(enough, key=lambda cell: (cell.routes * cell.visits, cell.routes))
    if (least.routes, least.visits) == (plan.routes, plan.visits):
        return said(
            "That is at least the usual goal of {share}, with the smallest plan in the table.",
            share=share(AIM),
        )
    return said(
        "The smallest plan in the table that reaches the usual goal of {share}: "
        "{routes} routes and {times} per year.",
        share=share(AIM),
        routes=least.routes,
        times=times(least.visits),
    )


def power_rows(plan: SurveyPlan, cells: Sequence[PowerCell]) -> list[PowerRow]:
    return [
        PowerRow(
            routes=routes,
            cells=tuple(
                (
                    share_with_interval(cell.chance),
                    (cell.routes, cell.visits) == (plan.routes, plan.visits),
                    cell.visits,
                )
                for cell in cells
                if cell.routes == routes
            ),
        )
        for routes in sorted({cell.routes for cell in cells})
    ]


def power_alt(name: str, plan: SurveyPlan, cells: Sequence[PowerCell]) -> str:
    """What the picture says, for who cannot see it."""
    parts = []
    for visits in sorted({cell.visits for cell in cells}):
        same_visits = [cell for cell in cells if cell.visits == visits]
        first, last = same_visits[0], same_visits[-1]
        parts.append(
            said(
                "With {times} per year: {share} with {routes} routes, {share_2} with {routes_2}.",
                times=times(visits),
                share=share(first.chance.value),
                routes=first.routes,
                share_2=share(last.chance.value),
                routes_2=last.routes,
            )
        )
    return said(
        "Chance that a decline of {plan}% in {years} years in {name} shows, "
        "by number of routes. {parts}",
        plan=f"{plan.fall * 100:.0f}",
        years=plan.years,
        name=name,
        parts=" ".join(parts),
    )


def times(visits: int) -> str:
    return said_of("{number} visit", "{number} visits", visits)
