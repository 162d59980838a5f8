"""The signed-in person's access tokens, and their consent to be named."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
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
from surveys.language import gettext, said
from surveys.web.forms.refusals import run_verb
from surveys.web.sharing.forms import (
    NamedForm,
    TokenForm,
)


@require_http_methods(["GET", "POST"])
@needs(Permission.READ_RESULTS)
def tokens(request: ProgramRequest) -> HttpResponse:
    """The list, the form for a new token and, once after it is made, the token itself."""
    member = request.membership
    form = TokenForm(request.POST if request.method == "POST" else None, member=member)
    new_token = None
    if request.method == "POST" and form.is_valid():
        new_token = run_verb(form, make_token, member, **form.cleaned_data)
        if new_token:
            form = TokenForm(member=member)
    context = {
        "tokens": tokens_of(member),
        "form": form,
        "new_token": new_token,
        "now": timezone.now(),
        "calls_url": request.build_absolute_uri(
            reverse("api:records_calls", kwargs={"program": member.program.slug})
        ),
    }
    return render(request, "tokens/tokens.html", context, status=422 if form.errors else 200)


@require_POST
@needs(Permission.READ_RESULTS)
def token_take_back(request: ProgramRequest, handle: uuid.UUID) -> HttpResponse:
    name = revoke_token(request.membership, handle)
    messages.success(request, said("The token “{name}” is revoked.", name=name))
    return redirect("web:tokens", program=request.membership.program.slug)


@require_http_methods(["GET", "POST"])
def named(request: HttpRequest) -> HttpResponse:
    """The person's consent to appear by name in publications."""
    form = NamedForm(
        request.POST if request.method == "POST" else None,
        initial={"named": request.user.named_in_reports},
    )
    if request.method == "POST" and form.is_valid():
        set_named(request.user, named=form.cleaned_data["named"])
        messages.success(request, gettext("Saved."))
        return redirect("web:named")
    return render(request, "tokens/named.html", {"form": form})
