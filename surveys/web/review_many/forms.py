"""Forms of "Review many": which visits, and the answer to one kind of question."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Settlement
from surveys.visits.many import Selection
from surveys.visits.queue import choices


class SelectionForm(Form):
    """Which submitted visits; what is empty does not narrow."""

    route = forms.ChoiceField(label=gettext_lazy("Route"), required=False)
    season_year = forms.TypedChoiceField(
        label=gettext_lazy("Season"), required=False, coerce=int, empty_value=None
    )
    upload = forms.TypedChoiceField(
        label=gettext_lazy("Imported file"), required=False, coerce=uuid.UUID, empty_value=None
    )

    def __init__(self, member: Membership, data: Any) -> None:
        super().__init__(data)
        offered = choices(member)
        files = member.program.imports.filter(committed_at__isnull=False, undone_at=None)
        every = [("", gettext("All"))]
        self.fields["route"].choices = [*every, *((r.code, str(r)) for r in offered.routes)]
        self.fields["season_year"].choices = [*every, *((y, y) for y in offered.season_years)]
        self.fields["upload"].choices = [*every, *files.values_list("pk", "file_name")]

    @property
    def selection(self) -> Selection | None:
        """None when what was sent is not among the choices."""
        if not self.is_valid():
            return None
        data = self.cleaned_data
        return Selection(
            route=data["route"] or None, season_year=data["season_year"], upload=data["upload"]
        )


class ResolveForm(Form):
    rule = forms.CharField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput)
    settlement = forms.ChoiceField(
        label=gettext_lazy("Decision"), choices=Settlement.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=500)
