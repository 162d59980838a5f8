"""Access tokens of the person who is signed in, and the consent to be named."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from accounts.people import set_named
from accounts.tokens import (
    make_token,
    revoke_token,
    tokens_of,
)
from surveys.web.forms.refusals import tried
from surveys.web.sharing.forms import (
    NamedForm,
    TokenForm,
)


@require_http_methods(["GET", "POST"])
@needs(Permission.READ_RESULTS)
def tokens(request: ProgramRequest) -> HttpResponse:
    """The list, a form for a new one and, right after making it, the token itself."""
    member = request.membership
    form = TokenForm(request.POST if request.method == "POST" else None, member=member)
    made = None
    if request.method == "POST" and form.is_valid():
        made = tried(form, make_token, member, **form.cleaned_data)
        if made:
            form = TokenForm(member=member)
    context = {"tokens": tokens_of(member), "form": form, "made": made, "now": timezone.now()}
    response = render(request, "tokens/tokens.html", context, status=422 if form.errors else 200)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
@needs(Permission.READ_RESULTS)
def token_take_back(request: ProgramRequest, handle: uuid.UUID) -> HttpResponse:
    name = revoke_token(request.membership, handle)
    messages.success(request, f"The token “{name}” opens nothing any more.")
    return redirect("web:tokens", program=request.membership.program.slug)


@require_http_methods(["GET", "POST"])
def named(request: HttpRequest) -> HttpResponse:
    """Whether one's own name may appear in publications."""
    form = NamedForm(
        request.POST if request.method == "POST" else None,
        initial={"named": request.user.named_in_reports},
    )
    if request.method == "POST" and form.is_valid():
        set_named(request.user, named=form.cleaned_data["named"])
        messages.success(request, "Saved.")
        return redirect("web:named")
    return render(request, "tokens/named.html", {"form": form})
