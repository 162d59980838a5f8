"""Forms for assigning a route to an observer, naming who stands in, and answering a request."""

from collections.abc import Sequence

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from accounts.training import validity_in_words
from surveys.language import gettext, said
from surveys.models import Program, Route
from surveys.programs.assignments import today_of
from surveys.programs.schedule import DueWindow
from surveys.web.forms.seen import SeenForm


def name_with_test(member: Membership, program: Program) -> str:
    """What stands in a list of names to pick from."""
    return said(
        "{name} ({test})",
        name=member.person.name,
        test=validity_in_words(member, today_of(program)),
    )


class AssignForm(Form):
    route = forms.TypedChoiceField(
        coerce=int, error_messages={"required": gettext_lazy("Choose a route.")}
    )
    observer = forms.TypedChoiceField(
        coerce=int, error_messages={"required": gettext_lazy("Choose an observer.")}
    )

    def __init__(
        self,
        *args: object,
        program: Program,
        routes: Sequence[Route],
        observers: Sequence[Membership],
        **options: object,
    ) -> None:
        super().__init__(*args, **options)
        self.fields["route"].choices = [
            ("", gettext("Choose a route")),
            *((route.pk, str(route)) for route in routes if route.active),
        ]
        self.fields["observer"].choices = [
            ("", gettext("Choose an observer")),
            *((one.person_id, name_with_test(one, program)) for one in observers),
        ]


class PlanForm(SeenForm):
    """One candidate's button: `instead_of` is the assignment in whose place they go in `window`."""

    observer = forms.IntegerField(error_messages={"required": gettext_lazy("Choose an observer.")})
    window = forms.ChoiceField(required=False)
    instead_of = forms.IntegerField(required=False)

    def __init__(self, *args: object, windows: Sequence[DueWindow], **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["window"].choices = [
            ("", gettext("Whole season")),
            *((window.name, window.name) for window in windows),
        ]


class AnswerForm(Form):
    answer = forms.CharField(
        label=gettext_lazy("Note to the observer"),
        required=False,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
