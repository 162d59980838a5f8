"""Choosing a contact for return times."""

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from surveys.language import gettext
from surveys.visits.companions import companions_of


class MemberForm(Form):
    """A member of the program."""

    member = forms.TypedChoiceField(
        label=gettext_lazy("A member of the program"),
        coerce=int,
        error_messages={"invalid_choice": gettext_lazy("Choose a member of the program.")},
    )

    def __init__(self, *args: object, member: Membership, **options: object) -> None:
        super().__init__(*args, **options)
        people = companions_of(member.program, observer_id=member.person_id)
        self.fields["member"].choices = [("", gettext("Choose")), *people.items()]


class AddressForm(Form):
    """Somebody else, who is asked by mail."""

    name = forms.CharField(label=gettext_lazy("Their name"), max_length=120)
    email = forms.EmailField(label=gettext_lazy("Their email"))
