"""Return times at a desk: contacts, and "we are back" from any device."""

import uuid

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.check_ins.contacts import (
    MOST_CONTACTS,
    add_address,
    add_member,
    confirm,
    contacts_of,
    decline,
    remove,
)
from surveys.check_ins.links import find_by_link
from surveys.check_ins.mailing import GRACE
from surveys.check_ins.verbs import open_check_in, say_back
from surveys.language import gettext
from surveys.web.check_ins.forms import AddressForm, MemberForm
from surveys.web.forms.refusals import run_verb


@require_http_methods(["GET", "POST"])
@needs(Permission.SURVEY)
def check_in(request: ProgramRequest) -> HttpResponse:
    """The open return time, the contacts, and two forms that add one."""
    member, posted = request.membership, request.POST if request.method == "POST" else None
    by_mail = posted is not None and "email" in posted
    person = MemberForm(None if by_mail else posted, member=member)
    address = AddressForm(posted if by_mail else None)
    site = request.build_absolute_uri("/")
    form = address if by_mail else person
    if posted is not None and form.is_valid():
        facts = form.cleaned_data
        if by_mail:
            added = run_verb(form, add_address, member, site_url=site, **facts)
        else:
            added = run_verb(form, add_member, member, facts["member"], site_url=site)
        if added:
            said_yes = gettext("Added. You can choose them on the phone.")
            asked = gettext("We asked by email. You can choose them once they say yes.")
            messages.success(request, asked if by_mail else said_yes)
            return redirect("web:check_in", program=member.program.slug)
    context = {
        "person_form": person,
        "address_form": address,
        "contacts": contacts_of(member),
        "open": open_check_in(member),
        "most": MOST_CONTACTS,
        "minutes": int(GRACE.total_seconds() // 60),
    }
    return render(request, "check_ins/check_in.html", context)


@require_POST
@needs(Permission.SURVEY)
def remove_contact(request: ProgramRequest, contact: int) -> HttpResponse:
    remove(request.membership, contact)
    messages.success(request, gettext("Removed. The name and the address are deleted."))
    return redirect("web:check_in", program=request.membership.program.slug)


@require_POST
@needs(Permission.SURVEY)
def back(request: ProgramRequest, check_in: uuid.UUID) -> HttpResponse:
    say_back(request.membership, check_in)
    messages.success(
        request, gettext("Good to have you back. If we emailed your contact, we tell them now.")
    )
    return redirect("web:check_in", program=request.membership.program.slug)


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def contact(request: HttpRequest, token: str) -> HttpResponse:
    """Opening it changes nothing, because scanners open every link of a mail."""
    found = find_by_link(token)
    if request.method == "POST":
        (confirm if "yes" in request.POST else decline)(found)
        return redirect("web:check_in_contact", token=token)
    return render(request, "check_ins/contact.html", {"contact": found})
