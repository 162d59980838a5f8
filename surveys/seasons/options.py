"""What the filters of Seasons and Trends offer, and the routes that they choose."""

from surveys.models import (
    Program,
    Route,
    Species,
)
from surveys.programs.region_weights import regions_of


def regions(program: Program) -> list[str]:
    return regions_of(program)


def strata(program: Program) -> list[str]:
    """The strata of its routes, retired ones included."""
    named = program.routes.exclude(stratum="").order_by("stratum")
    return list(named.values_list("stratum", flat=True).distinct())


def checklist_species(program: Program) -> list[Species]:
    """Every species that is or was on the checklist, in the program's own order."""
    return list(
        Species.objects.filter(checklist_entries__program=program).order_by(
            "checklist_entries__order", "common_name"
        )
    )


def routes_of(program: Program, *, region: str | None = None, stratum: str | None = None):
    """The routes of a program in order of their code, as a queryset."""
    asked = {"region": region, "stratum": stratum}
    routes = Route.objects.filter(program=program).order_by("code")
    return routes.filter(**{name: value for name, value in asked.items() if value})
