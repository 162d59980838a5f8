"""Forms for people: inviting, role and training, accepting an invitation."""

from django import forms
from django.conf import settings
from django.forms import model_to_dict
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.inviting_many import ROLES
from accounts.joining_links import LIFETIMES_DAYS, MOST_USES
from accounts.models import (
    Membership,
    Role,
)
from surveys.language import gettext, said, said_of
from surveys.web.forms.fields import DateField
from surveys.web.forms.seen import SeenForm

ROLE_HELP = gettext_lazy(
    "Observers enter visits. Coordinators also review them and set up the program. Partners "
    "read trends and publications."
)


class InviteForm(Form):
    email = forms.EmailField(label=gettext_lazy("Email"))
    name = forms.CharField(
        max_length=120, required=False, help_text=gettext_lazy("The name you know this person by.")
    )
    role = forms.ChoiceField(choices=Role.choices, initial=Role.OBSERVER, help_text=ROLE_HELP)


class InviteManyForm(Form):
    """People as lines of text; a file is read into the same lines."""

    people = forms.CharField(
        label=gettext_lazy("People, one per line"),
        required=False,
        max_length=100_000,
        help_text=gettext_lazy(
            "Ada Reed <ada@example.org>, or name and email with a comma, a semicolon or a tab "
            "between them. Rows copied from a spreadsheet will do."
        ),
        widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false"}),
    )
    file = forms.FileField(
        label=gettext_lazy("Or a file"),
        required=False,
        allow_empty_file=True,
        help_text=gettext_lazy("CSV or XLSX, up to 10 MB, with a column of emails and of names."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
    )
    role = forms.ChoiceField(
        label=gettext_lazy("Role"),
        choices=[(role.value, role.label) for role in ROLES],
        initial=Role.OBSERVER,
        help_text=gettext_lazy(
            "Observers enter visits. Partners read trends and publications. Invite coordinators "
            "one by one."
        ),
    )


class JoiningLinkForm(Form):
    name = forms.CharField(
        label=gettext_lazy("What it is for"),
        max_length=80,
        help_text=gettext_lazy("Such as “spring workshop”. Only coordinators see this."),
    )
    days = forms.TypedChoiceField(
        label=gettext_lazy("Valid for"),
        coerce=int,
        choices=lambda: [
            (days, said_of("{number} day", "{number} days", days)) for days in LIFETIMES_DAYS
        ],
        initial=30,
    )
    most_uses = forms.IntegerField(
        label=gettext_lazy("How many people may join with it"),
        min_value=1,
        max_value=MOST_USES,
        initial=30,
    )


class AskToJoinForm(Form):
    """What somebody types who has a joining link."""

    name = forms.CharField(
        label=gettext_lazy("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    email = forms.EmailField(
        label=gettext_lazy("Your email"),
        help_text=gettext_lazy("We email you a link that opens your account."),
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
    )


class PersonForm(SeenForm):
    """Role and training of one member."""

    role = forms.ChoiceField(choices=Role.choices, help_text=ROLE_HELP)
    trained_on = DateField(
        label=gettext_lazy("Trained on"),
        required=False,
        help_text=gettext_lazy(
            "Date of training or of the call-identification test. Leave empty if there is no "
            "record."
        ),
    )
    trained_until = DateField(
        label=gettext_lazy("Call-identification test valid until"),
        required=False,
        help_text=gettext_lazy("Leave empty if it does not expire."),
    )
    exact_places = forms.BooleanField(
        label=gettext_lazy("May download exact locations"),
        required=False,
        help_text=gettext_lazy(
            "Exact coordinates and names of all stops, also on private land and with sensitive "
            "species. Each download is logged under Sharing. Coordinators always have this right."
        ),
    )

    # Shown where the role of a coordinator is given away or given up.
    sure = forms.BooleanField(
        label=gettext_lazy("Yes, change the role"), required=False, widget=forms.HiddenInput
    )

    def __init__(
        self, *args: object, membership: Membership, is_own: bool = False, **options: object
    ) -> None:
        initial = model_to_dict(membership, fields=self.base_fields)
        super().__init__(*args, initial=initial, **options)
        self.membership, self.is_own = membership, is_own

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        question = self._question(cleaned.get("role"))
        if question and not cleaned.get("sure"):
            self.fields["sure"].widget = forms.CheckboxInput()
            self.add_error("sure", question)
        return cleaned

    def _question(self, role: object) -> str:
        """What is asked before the change; empty where nothing is."""
        was, manages = self.membership.role, Role.COORDINATOR
        if role in (None, was):
            return ""
        if role == manages:
            return said(
                "{name} will see exact locations, review visits and be able to remove you. Check"
                " the box if you are sure.",
                name=self.membership.person.name,
            )
        if was == manages and self.is_own:
            return gettext(
                "You will no longer review visits or set up this program. Only another coordinator"
                " can change this back. Check the box if you are sure."
            )
        if was == manages:
            return said(
                "{name} will no longer review visits or set up this program. Check the box if you"
                " are sure.",
                name=self.membership.person.name,
            )
        return ""


class JoinForm(Form):
    """Name and password of a new person."""

    name = forms.CharField(
        label=gettext_lazy("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    password = forms.CharField(
        label=gettext_lazy("Choose a password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    password_again = forms.CharField(
        label=gettext_lazy("Repeat the password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["password"].widget.attrs["minlength"] = settings.PASSWORD_LENGTHS[0]
        self.fields["password"].help_text = said(
            "At least {number} characters. Three or four unrelated words make a good one.",
            number=settings.PASSWORD_LENGTHS[0],
        )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        first, again = cleaned.get("password"), cleaned.get("password_again")
        if first and again and first != again:
            self.add_error("password_again", gettext("The two passwords differ. Type both again."))
        return cleaned
