"""What the filters of Seasons and Trends offer."""

from surveys.models import Programme, Route, Species


def regions(programme: Programme) -> list[str]:
    return list(
        Route.objects.filter(programme=programme)
        .exclude(region="")
        .order_by("region")
        .values_list("region", flat=True)
        .distinct()
    )


def checklist_species(programme: Programme) -> list[Species]:
    """Every species that is or was on the checklist, in the programme's own order."""
    return list(
        Species.objects.filter(checklist_entries__programme=programme).order_by(
            "checklist_entries__order", "common_name"
        )
    )
