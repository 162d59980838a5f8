"""Forms of the review: filters of the queue, settlements, notes, corrections."""

from __future__ import annotations

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said_of
from surveys.models import (
    Settlement,
    StoredFinding,
    VisitState,
)
from surveys.visits.exceptions import ReasonMissing
from surveys.visits.queue import (
    STATES,
    Choices,
    Claims,
    Order,
    QueueFilters,
)
from surveys.web.numbers import whole_number

LARGEST = 2**31 - 1
ORDERS = {
    Order.ODDNESS: gettext_lazy("What stands out first"),
    Order.SUBMITTED: gettext_lazy("By submission"),
    Order.NIGHT: gettext_lazy("By night"),
    Order.ROUTE: gettext_lazy("By route"),
    Order.OBSERVER: gettext_lazy("By observer"),
}
REASON_MISSING = ReasonMissing.says


class QueueForm(Form):
    """The filters in the query string of the queue. Without `offered` any value is valid."""

    state = forms.CharField(required=False, widget=forms.HiddenInput)
    route = forms.CharField(required=False, widget=forms.Select)
    region = forms.CharField(label=gettext_lazy("Region"), required=False, widget=forms.Select)
    observer = forms.IntegerField(required=False, widget=forms.Select, max_value=LARGEST)
    season_year = forms.IntegerField(
        label=gettext_lazy("Season"), required=False, widget=forms.Select, max_value=LARGEST
    )
    claims = forms.ChoiceField(
        label=gettext_lazy("Claimed"),
        required=False,
        choices=[
            ("", gettext_lazy("All")),
            (Claims.MINE.value, gettext_lazy("By me")),
            (Claims.FREE.value, gettext_lazy("Not by others")),
        ],
    )
    order = forms.ChoiceField(
        label=gettext_lazy("Order"),
        required=False,
        choices=[("", gettext_lazy("Default")), *((o.value, name) for o, name in ORDERS.items())],
    )
    open = forms.BooleanField(label=gettext_lazy("Only with open questions"), required=False)

    def __init__(self, data: QueryDict, offered: Choices | None = None) -> None:
        super().__init__(data)
        self.offered: dict[str, list[tuple[object, str]]] = {}
        if offered is None:
            return
        self.offered = {
            "route": [(route.code, str(route)) for route in offered.routes],
            "region": [(region, region) for region in offered.regions],
            "observer": [(person.pk, person.name) for person in offered.observers],
            "season_year": [(year, str(year)) for year in offered.season_years],
        }
        for name, rows in self.offered.items():
            self.fields[name].widget.choices = [("", gettext("All")), *rows]

    def clean_state(self) -> str:
        state = self.cleaned_data["state"]
        return state if state in STATES else VisitState.SUBMITTED.value

    def clean(self) -> None:
        for name, rows in self.offered.items():
            value = self.cleaned_data.get(name)
            if value not in ("", None) and value not in {row[0] for row in rows}:
                self.add_error(name, gettext("No visit here has this. Choose from the list."))

    @property
    def filters(self) -> QueueFilters:
        """The filters; invalid ones are ignored."""
        self.is_valid()
        data = self.cleaned_data
        return QueueFilters(
            state=data["state"],
            route=data.get("route") or None,
            region=data.get("region") or None,
            observer=data.get("observer"),
            season_year=data.get("season_year"),
            open_only=data.get("open", False),
            claims=Claims(data["claims"]) if data.get("claims") else None,
            order=Order(data["order"]) if data.get("order") else None,
        )

    @property
    def is_narrowed(self) -> bool:
        """Whether any filter besides the state is set."""
        return any(self.data.get(name) for name in self.fields if name not in ("state", "order"))


class SettleForm(Form):
    """The answer to one query, with the reason."""

    settlement = forms.ChoiceField(
        label=gettext_lazy("Answer"),
        choices=Settlement.choices,
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Choose one of the two answers.")},
    )
    reason = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 2}), error_messages={"required": REASON_MISSING}
    )
    whole_kind = forms.BooleanField(required=False)

    def __init__(
        self, finding: StoredFinding | int, data: QueryDict | None = None, *, alike: int = 0
    ) -> None:
        """`alike` are further open queries of the visit that come from the same rule."""
        key, initial = finding, {}
        if isinstance(finding, StoredFinding):
            key = finding.pk
            initial = {"settlement": finding.settlement, "reason": finding.reason}
        super().__init__(data, initial=initial, auto_id=f"finding-{key}-%s")
        self.offer(alike)

    def offer(self, alike: int) -> None:
        self.alike = alike
        self.fields["whole_kind"].label = said_of(
            "And for {number} more question of this kind in this visit",
            "And for {number} more questions of this kind in this visit",
            alike,
        )


class NoteForm(Form):
    """The note that goes with sending back, setting aside or opening again."""

    note = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 4}), error_messages={"required": REASON_MISSING}
    )

    def __init__(self, verb: str, label: str, data: QueryDict | None = None) -> None:
        super().__init__(data, auto_id=f"{verb}-%s")
        self.fields["note"].label = label


class ReasonForm(Form):
    """Why cells of a submitted sheet are corrected."""

    reason = forms.CharField(
        label=gettext_lazy("Reason for the correction"),
        help_text=gettext_lazy(
            "Such as: the observer wrote to say that stops 4 and 5 were swapped."
        ),
        widget=forms.Textarea(attrs={"rows": 2, "form": "sheet"}),
        error_messages={"required": REASON_MISSING},
    )


def posted_revision(posted: QueryDict) -> int:
    """The revision that a form was rendered from; 0, which no visit has, if it is missing."""
    return whole_number(posted.get("revision", "")) or 0
