"""Inviting a list of people: typed or read from a file, looked at, then sent."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from accounts.invited_lists import lines_of
from accounts.inviting_many import InvitationPlan, plan_invitations
from accounts.inviting_many import invite_many as invite
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import read_table
from surveys.language import said_of
from surveys.web.forms.refusals import run_verb
from surveys.web.people.forms import InviteManyForm


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def invite_many(request: ProgramRequest) -> HttpResponse:
    """The list is looked at first. Only the button under the preview sends, and only what it
    showed."""
    form = InviteManyForm(request.POST or None, request.FILES or None)
    plan: InvitationPlan | None = None
    if request.method == "POST" and form.is_valid():
        text, role = form.cleaned_data["people"], form.cleaned_data["role"]
        if form.cleaned_data["file"]:
            form, text = _with_file(form)
        elif "send" in request.POST:
            sent = run_verb(
                form,
                invite,
                request.membership,
                text,
                role=role,
                site_url=request.build_absolute_uri("/"),
            )
            if sent is not None:
                _say_sent(request, len(sent))
                return redirect("web:people", program=request.membership.program.slug)
        if form.is_valid():
            plan = plan_invitations(request.membership.program, text)
    context = {"section": "people", "form": form, "plan": plan}
    return render(request, "people/invite_many.html", context)


def _with_file(form: InviteManyForm) -> tuple[InviteManyForm, str]:
    """The form with the rows of its file as lines, which can be corrected on the page."""
    file = form.cleaned_data["file"]
    typed = form.cleaned_data["people"]
    try:
        table = read_table(file.read())
    except UnreadableFileError as error:
        form.add_error("file", str(error))
        return form, typed
    rows = [table.headers, *(row.texts for row in table.rows)]
    text = "\n".join(filter(None, (typed.strip(), lines_of(rows))))
    return InviteManyForm({"people": text, "role": form.cleaned_data["role"]}), text


def _say_sent(request: ProgramRequest, number: int) -> None:
    messages.success(
        request,
        said_of(
            "{number} invitation is on its way.", "{number} invitations are on their way.", number
        ),
    )
