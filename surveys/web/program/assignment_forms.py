"""Form for assigning a route to an observer."""

from collections.abc import Sequence

from django import forms

from accounts.models import Membership
from surveys.models import Route


class AssignForm(forms.Form):
    route = forms.TypedChoiceField(coerce=int, error_messages={"required": "Choose a route."})
    observer = forms.TypedChoiceField(
        coerce=int, error_messages={"required": "Choose an observer."}
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
            ("", "Choose a route"),
            *((route.pk, str(route)) for route in routes if route.active),
        ]
        self.fields["observer"].choices = [
            ("", "Choose an observer"),
            *((observer.person_id, observer.person.name) for observer in observers),
        ]
