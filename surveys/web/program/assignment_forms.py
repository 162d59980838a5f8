"""Form for assigning a route to an observer."""

from collections.abc import Sequence

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Route


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
            *((observer.person_id, observer.person.name) for observer in observers),
        ]
