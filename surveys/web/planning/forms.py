"""When an observer cannot go, an offer of help, and the wish for a free route."""

from collections.abc import Mapping, Sequence

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.planning.free_routes import FreeRoute
from surveys.web.forms.fields import DateField

WHOLE = "*"


class AbsenceForm(Form):
    first = DateField(label=gettext_lazy("First night"))
    last = DateField(label=gettext_lazy("Last night"))
    note = forms.CharField(
        label=gettext_lazy("Note to the coordinators"), required=False, max_length=200
    )


class OfferForm(Form):
    region = forms.ChoiceField(label=gettext_lazy("Where"), required=False)
    note = forms.CharField(
        label=gettext_lazy("Note to the coordinators"), required=False, max_length=200
    )

    def __init__(self, *args: object, regions: Sequence[str], **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["region"].choices = [
            ("", gettext("Anywhere")),
            *((region, region) for region in regions),
        ]


class SubstituteForm(Form):
    observer = forms.TypedChoiceField(
        label=gettext_lazy("Who will fill in for you"),
        coerce=int,
        error_messages={"required": gettext_lazy("Choose who will fill in for you.")},
    )

    def __init__(self, *args: object, people: Mapping[int, str], **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["observer"].choices = [("", gettext("Choose an observer")), *people.items()]


class WishForm(Form):
    """For which window of a free route, or for all that is left of the season."""

    window = forms.ChoiceField(
        label=gettext_lazy("When"), error_messages={"required": gettext_lazy("Choose when.")}
    )
    note = forms.CharField(
        label=gettext_lazy("Note to the coordinators"), required=False, max_length=500
    )

    def __init__(self, *args: object, free: FreeRoute, is_taken: bool, **options: object) -> None:
        super().__init__(*args, auto_id=f"route-{free.route.pk}-%s", **options)
        whole = [(WHOLE, gettext("Whole season"))] if free.is_whole else []
        self.fields["window"].choices = [
            *whole,
            *((window.name, window.name) for window in free.windows),
        ]
        if is_taken:
            del self.fields["note"]

    def clean_window(self) -> str:
        """Blank for the whole season."""
        window = self.cleaned_data["window"]
        return "" if window == WHOLE else window
