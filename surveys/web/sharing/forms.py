"""Forms for sharing data: settings of the program, access tokens, consent to be named."""

from django import forms
from django.utils.translation import gettext_lazy

from accounts.access import may_have_exact_places
from accounts.form_errors import Form
from accounts.models import (
    Membership,
    Scope,
)
from accounts.tokens import LIFETIMES_DAYS
from surveys.models import (
    DataLicense,
    Program,
    PublicationAudience,
    Sensitivity,
)
from surveys.protocol.words import days
from surveys.web.forms.seen import SeenForm


class SharingForm(SeenForm):
    """The arguments of `change_sharing`."""

    place_sharing = forms.TypedChoiceField(
        label=gettext_lazy("Locations are published"),
        coerce=int,
        choices=[
            (Sensitivity.OPEN, gettext_lazy("exactly, with the names of routes and stops")),
            (Sensitivity.LOW, gettext_lazy("to 0.001°: a square of about 100 m (330 ft)")),
            (Sensitivity.MEDIUM, gettext_lazy("to 0.01°: a square of about 1 km (0.6 mi)")),
            (Sensitivity.HIGH, gettext_lazy("to 0.1°: a square of about 10 km (6 mi)")),
            (Sensitivity.EXTREME, gettext_lazy("not at all: the region of the route only")),
        ],
        widget=forms.RadioSelect,
        help_text=gettext_lazy(
            "If a sensitive species was recorded on a route, all its stops may be blurred more, "
            "never less. The table below shows what a reader will see."
        ),
    )
    publication_audience = forms.ChoiceField(
        label=gettext_lazy("Publications are seen by"),
        choices=[
            (PublicationAudience.MEMBERS, gettext_lazy("members of the program only")),
            (PublicationAudience.LINK, gettext_lazy("members and anyone with the link")),
            (PublicationAudience.PUBLIC, gettext_lazy("everyone")),
        ],
        widget=forms.RadioSelect,
        help_text=gettext_lazy(
            "Takes effect right away, for earlier publications too. People keep the files they "
            "downloaded."
        ),
    )
    data_license = forms.ChoiceField(
        label=gettext_lazy("License of the data"),
        choices=DataLicense.choices,
        widget=forms.RadioSelect,
        help_text=gettext_lazy("For new publications; earlier versions keep theirs."),
    )

    def __init__(self, *args: object, program: Program, **options: object) -> None:
        initial = {name: getattr(program, name) for name in self.base_fields}
        super().__init__(*args, initial=initial, **options)


class TokenForm(Form):
    """The arguments of `make_token`."""

    name = forms.CharField(
        label=gettext_lazy("What it is for"),
        max_length=60,
        help_text=gettext_lazy("To tell your tokens apart, such as “yearly report”."),
    )
    scope = forms.ChoiceField(
        label=gettext_lazy("Gives access to"),
        choices=Scope.choices,
        initial=Scope.RECORDS,
        widget=forms.RadioSelect,
    )
    days = forms.TypedChoiceField(
        label=gettext_lazy("Valid for"),
        coerce=int,
        choices=lambda: [(number, days(number)) for number in LIFETIMES_DAYS],
        initial=90,
    )

    def __init__(self, *args: object, member: Membership, **options: object) -> None:
        super().__init__(*args, **options)
        if not may_have_exact_places(member):
            self.fields["scope"].choices = [
                choice for choice in Scope.choices if choice[0] != Scope.EXACT
            ]


class NamedForm(Form):
    named = forms.BooleanField(
        label=gettext_lazy("My name may appear in publications"),
        required=False,
        help_text=gettext_lazy(
            "In the tables of visits and the acknowledgments. Otherwise you appear under a "
            "pseudonym, such as “Observer K7Q2M4X9TB”. Earlier publications never change."
        ),
    )
