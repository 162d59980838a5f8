"""What the filters of Seasons and Trends offer."""

from surveys.models import (
    Program,
    Route,
    Species,
)


def regions(program: Program) -> list[str]:
    return list(
        Route.objects.filter(program=program)
        .exclude(region="")
        .order_by("region")
        .values_list("region", flat=True)
        .distinct()
    )


def checklist_species(program: Program) -> list[Species]:
    """Every species that is or was on the checklist, in the program's own order."""
    return list(
        Species.objects.filter(checklist_entries__program=program).order_by(
            "checklist_entries__order", "common_name"
        )
    )
