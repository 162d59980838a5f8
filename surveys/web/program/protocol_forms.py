"""The form for the limits of a protocol version."""

import datetime as dt
from collections.abc import Iterator

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.models import Program, ProtocolVersion
from surveys.programs.versions import units_of
from surveys.protocol.limits.limit import Group, Kind
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import (
    Protocol,
    SeasonWindow,
)
from surveys.web.forms.fields import (
    DateField,
    MonthDayField,
)
from surveys.web.forms.seen import SeenForm
from surveys.web.program.limit_fields import limit_field

# Kinds whose fields take the whole width of the form.
_WIDE = {Kind.FORCE, Kind.CHOICE, Kind.CHOICES, Kind.CODE_TABLE, Kind.YES_NO}


class LimitsForm(SeenForm):
    """The limits of a protocol in the program's units. Empty means: no such limit.

    Has a field for each limit, of its name; the field reads and shows what is stored.
    """

    name = forms.CharField(max_length=120, help_text=gettext_lazy("Such as: Roadside, spring."))
    in_force_from = DateField(
        label=gettext_lazy("In effect from"),
        help_text=gettext_lazy("The first night that is surveyed under this version."),
    )
    season_begins = MonthDayField(
        label=gettext_lazy("The season year starts on"),
        help_text=gettext_lazy(
            "Choose a day when no window is open. A season year is named after the "
            "calendar year in which it ends."
        ),
    )
    source = forms.CharField(
        label=gettext_lazy("Where the limits come from"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def __init__(
        self,
        *args: object,
        program: Program,
        protocol: Protocol | None,
        in_force_from: dt.date,
        source: str = "",
        is_new_protocol: bool = False,
        **options: object,
    ) -> None:
        """`protocol` is what the form begins from; without one it begins from the defaults."""
        initial = {"in_force_from": in_force_from, "source": source}
        if protocol:
            initial |= {"name": protocol.name, "season_begins": protocol.season_year_begins}
        for limit in LIMITS:
            value = getattr(protocol, limit.name) if protocol else limit.default
            initial[limit.name] = limit.to_column(value)
        super().__init__(*args, initial=initial, **options)
        self.protocol = protocol
        units = units_of(program)
        self.fields |= {limit.name: limit_field(limit, units) for limit in LIMITS}
        if not is_new_protocol:
            del self.fields["name"]

    def groups(self) -> Iterator[tuple[str, list[BoundField], list[BoundField]]]:
        """Legend of each group of limits, its narrow fields and its wide ones."""
        for group in Group:
            limits = [limit for limit in LIMITS if limit.group is group]
            yield (
                gettext(group.value),
                [self[limit.name] for limit in limits if limit.kind not in _WIDE],
                [self[limit.name] for limit in limits if limit.kind in _WIDE],
            )

    def limits(self, windows: tuple[SeasonWindow, ...]) -> Protocol:
        """The protocol as typed. Only after `is_valid`."""
        return Protocol(
            name=self.cleaned_data.get("name") or (self.protocol.name if self.protocol else ""),
            version=self.protocol.version if self.protocol else 1,
            season_year_begins=self.cleaned_data["season_begins"],
            windows=windows,
            **{limit.name: limit.from_column(self._stored(limit.name)) for limit in LIMITS},
        )

    def _stored(self, name: str) -> object:
        """What is to be stored: as it was where it was left as shown, whatever rounding did."""
        return self.cleaned_data[name] if name in self.changed_data else self.initial[name]


class CompareVersionsForm(Form):
    """Two versions of the program's protocols; without a choice the newest two of one protocol."""

    first = forms.ModelChoiceField(queryset=None, label=gettext_lazy("Version"), empty_label=None)
    second = forms.ModelChoiceField(
        queryset=None, label=gettext_lazy("Compared with"), empty_label=None
    )

    def __init__(self, *args: object, program: Program, **options: object) -> None:
        versions = ProtocolVersion.objects.filter(protocol__program=program).select_related(
            "protocol__program"
        )
        self.versions = versions.prefetch_related("windows").order_by("protocol__name", "number")
        second, first = self._newest()
        super().__init__(*args, initial={"first": first, "second": second}, **options)
        for name in ("first", "second"):
            self.fields[name].queryset = self.versions

    def chosen(self) -> tuple[ProtocolVersion, ProtocolVersion] | None:
        """None where there are no two versions, or an address names one that is not there."""
        if self.is_bound:
            return (
                (self.cleaned_data["first"], self.cleaned_data["second"])
                if self.is_valid()
                else None
            )
        pair = self.initial["first"], self.initial["second"]
        return pair if all(pair) else None

    def _newest(self) -> tuple[ProtocolVersion | None, ProtocolVersion | None]:
        by_age = sorted(self.versions, key=lambda version: (version.in_force_from, version.pk))
        newest = by_age[-1] if by_age else None
        others = [one for one in by_age if newest and one.protocol_id == newest.protocol_id]
        return newest, (others[-2] if len(others) > 1 else by_age[0] if len(by_age) > 1 else None)
