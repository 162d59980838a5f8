"""Withdrawing a publication, and which ones now say too much."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import said
from surveys.publishing.exceptions import PublishingError
from surveys.publishing.withdrawing import too_exact, withdraw_publication
from surveys.web.publications.forms import WithdrawForm
from surveys.web.publications.views import public_url, publication_or_404, tombstone


@require_http_methods(["GET", "POST"])
@needs(Permission.PUBLISH)
def withdraw(request: ProgramRequest, season_year: int, version: int) -> HttpResponse:
    published = publication_or_404(request, season_year, version)
    if published.withdrawn:
        return tombstone(request, published)
    form = WithdrawForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            withdraw_publication(
                request.membership,
                season_year,
                version,
                reason=form.cleaned_data["reason"],
                here=public_url(request, published),
            )
        except PublishingError as error:
            form.add_error(None, str(error))
        else:
            text = said("“{title}” is withdrawn. Its files are deleted.", title=published.title)
            messages.success(request, text)
            return redirect("web:publications", program=request.membership.program.slug)
    context = {"publication": published, "form": form}
    status = 422 if form.errors else 200
    return render(request, "publications/withdraw.html", context, status=status)


@require_GET
@needs(Permission.PUBLISH)
def too_exact_publications(request: ProgramRequest) -> HttpResponse:
    rows = too_exact(request.membership.program)
    return render(request, "publications/too_exact.html", {"rows": rows})
