"""The security log of a program, for its coordinators."""

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from accounts.security_log import details_of, security_acts, words_of

ACTS_PER_PAGE = 100


@require_GET
@needs(Permission.MANAGE)
def security_log(request: ProgramRequest) -> HttpResponse:
    page = Paginator(security_acts(request.membership), ACTS_PER_PAGE).get_page(
        request.GET.get("page")
    )
    for act in page:
        act.words, act.details = words_of(act), details_of(act)
    return render(request, "people/security.html", {"section": "people", "page_obj": page})
