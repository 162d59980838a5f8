"""Form for how a species is listed."""

import datetime as dt
from collections.abc import Callable, Mapping

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import gettext, said, said_of
from surveys.models import (
    ChecklistEntry,
    Program,
    Sensitivity,
    Species,
)
from surveys.programs.assignments import today_of
from surveys.programs.checklist import (
    Listing,
    visits_between,
)
from surveys.programs.checklist_table import TableRow, TypedListing
from surveys.programs.own_species import Names
from surveys.programs.regional import RegionalSeason
from surveys.web.forms.fields import (
    DateField,
    MonthDayField,
)
from surveys.web.forms.seen import SeenForm

# How many visits come to have zeros when a listing begins on a night; None is the program's start.
PastVisits = Callable[[dt.date | None], int]


class PastListingForm(SeenForm):
    """Asks before silence on past visits becomes zeros."""

    listened = forms.BooleanField(
        label=gettext_lazy("Observers listened for it on those visits"), required=False
    )

    def __init__(self, *args: object, past: PastVisits, **options: object) -> None:
        super().__init__(*args, **options)
        self._past = past
        if not self.is_bound:
            self.fields.pop("listened", None)

    def ask_about_past(self, cleaned: Mapping[str, object]) -> None:
        visits = self._past(cleaned["listed_from"]) if "listed_from" in cleaned else 0
        if not visits:
            self.fields.pop("listened", None)
        elif not cleaned["listened"]:
            self.add_error(
                "listed_from",
                said_of(
                    "Silence on {number} past visit would become a zero. Choose a later night, or "
                    "check below that observers listened for it.",
                    "Silence on {number} past visits would become a zero. Choose a later night, or "
                    "check below that observers listened for it.",
                    visits,
                ),
            )


class ListingForm(PastListingForm):
    calls_from = MonthDayField(
        label=gettext_lazy("Calls from"),
        required=False,
        help_text=gettext_lazy(
            "Leave both empty if it may call at any time. A season can cross New Year."
        ),
    )
    calls_to = MonthDayField(label=gettext_lazy("Calls until"), required=False)
    sensitivity = forms.TypedChoiceField(
        coerce=int,
        choices=Sensitivity.choices,
        initial=Sensitivity.OPEN,
        help_text=gettext_lazy("How much locations are blurred when data leave the program."),
    )
    listed_from = DateField(
        label=gettext_lazy("Listed from"),
        required=False,
        help_text=gettext_lazy(
            "From this night on, a silent stop counts as a zero. Do not choose a night before "
            "observers listened for it. Leave empty if it was listed from the start."
        ),
    )
    listed_until = DateField(label=gettext_lazy("Listed until"), required=False)

    def __init__(
        self,
        *args: object,
        entry: ChecklistEntry | None = None,
        offered: RegionalSeason | None = None,
        **options: object,
    ) -> None:
        """`offered` is what a new entry begins with."""
        if offered and offered.season:
            begins, ends = offered.season
            options["initial"] = {**options["initial"], "calls_from": begins, "calls_to": ends}
        if entry:
            begins, ends = entry.calling_season or (None, None)
            options["initial"] = {
                "calls_from": begins,
                "calls_to": ends,
                "sensitivity": entry.sensitivity,
                "listed_from": entry.listed_from,
                "listed_until": entry.listed_until,
            }
        super().__init__(*args, **options)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        self.ask_about_past(cleaned)
        if self.errors:
            return cleaned
        if bool(cleaned["calls_from"]) != bool(cleaned["calls_to"]):
            missing = "calls_to" if cleaned["calls_from"] else "calls_from"
            self.add_error(missing, gettext("Give both ends of the season, or leave both empty."))
        return cleaned

    @property
    def listing(self) -> Listing:
        facts = self.cleaned_data
        begins, ends = facts["calls_from"], facts["calls_to"]
        return Listing(
            season=(begins, ends) if begins and ends else None,
            sensitivity=facts["sensitivity"],
            listed_from=facts["listed_from"],
            listed_until=facts.get("listed_until"),
        )


class NamesForm(SeenForm):
    """The names, the call and the members of an own species."""

    scientific_name = forms.CharField(
        label=gettext_lazy("Scientific name"),
        max_length=120,
        help_text=gettext_lazy("Genus and species, without author and year."),
    )
    common_name = forms.CharField(label=gettext_lazy("Common name"), max_length=120)
    synonyms = forms.CharField(
        label=gettext_lazy("Former and other names"),
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy(
            "One on each line. Files and sheets with these names are matched to this species."
        ),
    )
    call = forms.CharField(
        label=gettext_lazy("Call"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("How it sounds, as observers read it on the phone."),
    )
    note = forms.CharField(
        label=gettext_lazy("Note"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("What else to know, such as when in the night it calls."),
    )
    members = forms.MultipleChoiceField(
        label=gettext_lazy("Joint entry for"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy(
            "Only for species that cannot be told apart by ear, or for one that was split: check "
            "the new species. Species on the checklist can be members."
        ),
    )

    def __init__(
        self,
        *args: object,
        possible: list[Species],
        species: Species | None = None,
        **options: object,
    ) -> None:
        """`possible` are the species that may be members."""
        members = list(species.members.all()) if species else []
        if species:
            options["initial"] = {
                "scientific_name": species.scientific_name,
                "common_name": species.common_name,
                "synonyms": "\n".join(species.synonyms),
                "call": species.call,
                "note": species.note,
                "members": [one.code for one in members],
            }
        super().__init__(*args, **options)
        offered = {one.code: one.name for one in (*possible, *members) if one != species}
        self.fields["members"].choices = list(offered.items())
        if not offered:
            del self.fields["members"]

    @property
    def names(self) -> Names:
        facts = self.cleaned_data
        lines = [" ".join(line.split()) for line in facts["synonyms"].splitlines()]
        return Names(
            scientific_name=" ".join(facts["scientific_name"].split()),
            common_name=" ".join(facts["common_name"].split()),
            synonyms=tuple(line for line in lines if line),
            call=facts["call"],
            note=facts["note"],
            members=frozenset(facts.get("members", ())),
        )


class OwnSpeciesForm(NamesForm, ListingForm):
    """A new own species, with how it is listed."""

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)
        del self.fields["listed_until"]


class ChecklistTableForm(PastListingForm):
    """Every species of the table: its season and sensitivity, and whether it is added."""

    species = forms.MultipleChoiceField(
        required=False,
        error_messages={
            "invalid_choice": gettext_lazy(
                "A species that you checked is on the list now, or no longer called for in your "
                "region. Check the table again."
            )
        },
    )
    listed_from = DateField(
        label=gettext_lazy("Listed from"),
        required=False,
        help_text=gettext_lazy(
            "For the species that you add. From this night on, a silent stop counts as a zero for "
            "them. Do not choose a night before observers listened for them. Leave empty if they "
            "were listed from the start."
        ),
    )

    def __init__(
        self, *args: object, rows: list[TableRow], first: dt.date | None, **options: object
    ) -> None:
        """A new list begins with all species of the region; a list that is there stays as it is
        until more are checked."""
        self.rows = rows
        offered = [row.species for row in rows if row.offered]
        is_new = not any(row.entry for row in rows)
        initial = {
            "species": [one.code for one in offered] if is_new else [],
            "listed_from": first,
        }
        super().__init__(*args, initial=initial, **options)
        self.fields["species"].choices = [(one.code, one.name) for one in offered]
        for row in rows:
            begins, ends = row.listing.season or (None, None)
            name, code = row.species.name, row.species.code
            self.fields |= {
                f"calls_from-{code}": MonthDayField(
                    label=said("{species} calls from", species=name), required=False, initial=begins
                ),
                f"calls_to-{code}": MonthDayField(
                    label=said("{species} calls until", species=name), required=False, initial=ends
                ),
                f"sensitivity-{code}": forms.TypedChoiceField(
                    label=said("Sensitivity of {species}", species=name),
                    coerce=int,
                    choices=Sensitivity.choices,
                    initial=row.listing.sensitivity,
                ),
            }

    def shown_rows(self) -> list[dict[str, object]]:
        chosen = self["species"].value() or []
        return [
            {
                "row": row,
                "is_chosen": row.species.code in chosen,
                "calls_from": self[f"calls_from-{row.species.code}"],
                "calls_to": self[f"calls_to-{row.species.code}"],
                "sensitivity": self[f"sensitivity-{row.species.code}"],
            }
            for row in self.rows
        ]

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        self.ask_about_past(cleaned if cleaned.get("species") else {})
        for row in self.rows:
            ends = [f"calls_from-{row.species.code}", f"calls_to-{row.species.code}"]
            if any(name in self.errors for name in ends):
                continue
            missing = [name for name in ends if not cleaned[name]]
            if len(missing) == 1:
                self.add_error(
                    missing[0], gettext("Give both ends of the season, or leave both empty.")
                )
        if not self.errors and not cleaned["species"] and not any(row.entry for row in self.rows):
            self.add_error("species", gettext("Check the species that observers listen for."))
        return cleaned

    def typed(self) -> dict[str, TypedListing]:
        return {row.species.code: self._typed(row.species.code) for row in self.rows}

    def _typed(self, code: str) -> TypedListing:
        facts = self.cleaned_data
        begins, ends = facts[f"calls_from-{code}"], facts[f"calls_to-{code}"]
        return TypedListing(
            season=(begins, ends) if begins and ends else None,
            sensitivity=facts[f"sensitivity-{code}"],
        )


class TakeOffForm(SeenForm):
    listed_until = DateField(
        label=gettext_lazy("Last night on the list"),
        help_text=gettext_lazy("Visits up to this night keep their zeros for this species."),
    )

    def __init__(self, *args: object, today: dt.date, **options: object) -> None:
        super().__init__(*args, initial={"listed_until": today}, **options)


def past_visits(program: Program, entry: ChecklistEntry | None = None) -> PastVisits:
    """For a new entry, or for one that may come to begin earlier."""
    until = entry.listed_from if entry else today_of(program)
    return lambda first: visits_between(program, first, until) if until else 0
