"""Reminders: what a program sends and in which words; and the page that stops them."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys import dates
from surveys.language import gettext, said
from surveys.models import Program, ReminderKind, ReminderSetting
from surveys.programs.assignments import current_season_year, today_of
from surveys.reminders import settings as verbs
from surveys.reminders.due import expiry_line, window_line
from surveys.reminders.stopping import find_stop_link, is_stopped, resume, stop
from surveys.reminders.texts import PLACES, Words, check_words, filled_words, usual_words
from surveys.seasons.coverage import coverage
from surveys.web.forms.refusals import add_refusal, run_verb
from surveys.web.reminders.forms import ReminderForm

# Lines of a preview.
SAMPLES = 2


@require_GET
@needs(Permission.MANAGE)
def reminders(request: ProgramRequest) -> HttpResponse:
    context = {
        "section": "reminders",
        "settings": verbs.settings_of(request.membership.program),
    }
    return render(request, "reminders/list.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def reminder(request: ProgramRequest, reminder: str) -> HttpResponse:
    """One kind. Posting with `preview` shows the mail and saves nothing."""
    if reminder not in ReminderKind.values:
        raise Http404(gettext("There is no such reminder."))
    program = request.membership.program
    setting = verbs.setting_of(program, ReminderKind(reminder))
    form = ReminderForm(request.POST if request.method == "POST" else None, setting=setting)
    form.show(verbs.setting_facts(setting))
    words = Words(subject=setting.subject, text=setting.text)
    if request.method == "POST" and form.is_valid():
        facts = form.cleaned_data
        words = Words(subject=facts["subject"], text=facts["text"])
        if "preview" in request.POST:
            _check(form, words)
        elif run_verb(
            form,
            verbs.change_setting,
            request.membership,
            reminder,
            seen=form.seen,
            site_url=request.build_absolute_uri("/"),
            **facts,
        ):
            messages.success(request, gettext("The reminder is saved."))
            return redirect("web:reminders", program=program.slug)
    return _page(request, setting, form, words)


def _check(form: ReminderForm, words: Words) -> None:
    try:
        check_words(words.subject, words.text)
    except ValidationError as refusal:
        add_refusal(form, refusal)


def _page(
    request: ProgramRequest, setting: ReminderSetting, form: ReminderForm, words: Words
) -> HttpResponse:
    program, kind = request.membership.program, ReminderKind(setting.kind)
    shown = filled_words(
        kind,
        words,
        program,
        name=request.user.name,
        lines=_sample_lines(program, kind),
        link=request.build_absolute_uri(f"/{program.slug}/tonight/"),
    )
    context = {
        "section": "reminders",
        "kind": kind,
        "form": form,
        "usual": usual_words(kind),
        "shown": shown,
        "places": [("{" + name + "}", gettext(meaning)) for name, meaning in PLACES.items()],
    }
    return render(request, "reminders/reminder.html", context)


def _sample_lines(program: Program, kind: ReminderKind) -> list[str]:
    """Of the first two routes, as a mail of the kind would name them."""
    if kind in (ReminderKind.SENT_BACK, ReminderKind.NOT_SUBMITTED):
        night = dates.day(today_of(program))
        return [
            said("Route {route}, night of {night}", route=route, night=night)
            for route in program.routes.filter(active=True).order_by("code")[:SAMPLES]
        ]
    if kind is ReminderKind.TEST_EXPIRES:
        return [expiry_line(today_of(program))]
    table = coverage(program, current_season_year(program))
    first_windows = ((row, next(filter(None, row.cells))) for row in table.rows[:SAMPLES])
    return [window_line(row, cell.window) for row, cell in first_windows]


@csrf_exempt
@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def stop_reminders(request: HttpRequest, token: str) -> HttpResponse:
    """A mail program posts `List-Unsubscribe=One-Click` without cookies (RFC 8058), so this takes
    no token against forgery: the link is the only secret, and all it can do is stop mail. Opening
    it changes nothing, because scanners open every link of a mail."""
    link = find_stop_link(token)
    dates.use(link.member.program.date_style)
    if request.method == "POST":
        (resume if "resume" in request.POST else stop)(link)
    context = {"link": link, "stopped": is_stopped(link)}
    return render(request, "reminders/stop.html", context)
