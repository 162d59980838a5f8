"""The guide: how to survey, what the rules require and why, how trends are estimated."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from surveys.guide.pages import (
    FOR_OBSERVERS,
    guide_page,
    guide_pages,
    rule_sections,
)
from surveys.language import gettext
from surveys.models import CallingRegion
from surveys.protocol.rules.table import RULES
from surveys.visits.sheet.reading_rules import READING_RULES
from surveys.web.guide.species import species_of_region


@require_GET
def guide(request: HttpRequest) -> HttpResponse:
    pages = guide_pages()
    first = len(FOR_OBSERVERS)
    groups = [
        (gettext("On a survey night"), pages[:first]),
        (gettext("Running a program and reading results"), pages[first:]),
    ]
    return render(request, "guide/index.html", {"groups": groups})


@require_GET
def page(request: HttpRequest, slug: str) -> HttpResponse:
    content = guide_page(slug)
    if content is None:
        raise Http404(gettext("The guide has no such page."))
    return render(request, "guide/page.html", {"page": content, "pages": guide_pages()})


@require_GET
def rule(request: HttpRequest, code: str) -> HttpResponse:
    """The section of the guide about one rule."""
    shown = next((rule for rule in (*RULES, *READING_RULES) if rule.code == code), None)
    if shown is None:
        raise Http404(gettext("There is no such rule."))
    return render(
        request,
        "guide/rule.html",
        {"rule": shown, "html": rule_sections()[code], "pages": guide_pages()},
    )


@require_GET
def species(request: HttpRequest) -> HttpResponse:
    """The regions of the catalog."""
    return render(request, "guide/species.html", {"regions": CallingRegion.objects.all()})


@require_GET
def species_in_region(request: HttpRequest, region: str) -> HttpResponse:
    """The species of a region: how they call, when, and what sounds like them."""
    shown = get_object_or_404(CallingRegion, code=region)
    context = {"region": shown, "listed": species_of_region(shown)}
    return render(request, "guide/species_in_region.html", context)
