"""The part of the guide that a phone keeps: the pages for observers, and the species around it."""

from django.core.cache import cache

from surveys.guide.pages import FOR_OBSERVERS, guide_pages
from surveys.language import gettext, language, said
from surveys.models import CallingRegion, Program
from surveys.web.guide.species import page_of_region

# The catalog changes with a release; a phone may learn of it that much later.
_KEPT_S = 3600


def guide_for_phones(program: Program) -> list[dict[str, str]]:
    """Title, safe HTML and language of each page, under the last part of its address. A title that
    is too long for the phone's bar has a `short` one beside it. A program without a calling region
    has no page of species."""
    pages = [
        {"slug": page.slug, "title": page.title, "html": page.html, "language": page.language}
        for page in guide_pages()[: len(FOR_OBSERVERS)]
    ]
    region = program.calling_region
    return [*pages, _species_page(region, program.date_order)] if region else pages


def _species_page(region: CallingRegion, date_order: str) -> dict[str, str]:
    """Seasons are written as the program writes days."""
    key = f"phone-guide:{region.pk}:{language()}:{date_order}"
    html = cache.get_or_set(key, lambda: page_of_region(region), _KEPT_S)
    return {
        "slug": "species",
        "title": said("Species: {region}", region=region),
        "short": gettext("Species"),
        "html": html,
        "language": language(),
    }
