"""The species catalog, a program's own species, and which species a program listens for."""

import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.utils.translation import get_language

from surveys.language import gettext
from surveys.models.fields import (
    WithCallingSeason,
    any_time_or_days_exist,
    day_field,
    month_field,
)
from surveys.models.history import tracked
from surveys.models.program import Program, Sensitivity
from surveys.models.year_count import marks_by_checklist, marks_by_joint_entry


class SpeciesQuerySet(models.QuerySet):
    def known_to(self, program: Program) -> "SpeciesQuerySet":
        """The catalog, and what the program has added to it."""
        return self.filter(Q(program=None) | Q(program=program))


@tracked
class Species(models.Model):
    """A species, or a joint entry: a group of species that cannot be told apart by ear.

    Without a `program` it is of the catalog. Otherwise it is that program's own species, which
    no other program sees (`programs/own_species.py`).

    `code` is stable; names move between genera, so older ones stay as synonyms. A joint entry
    (`is_complex`) knows its `members`; what follows from that is in `counted.sql`. The texts of
    the catalog are stored in English and translated when they are read (`fixtures/texts.py`).
    """

    program = models.ForeignKey(
        Program, on_delete=models.PROTECT, null=True, blank=True, related_name="own_species"
    )
    code = models.SlugField(max_length=80, unique=True)
    scientific_name = models.CharField(max_length=120)
    common_name = models.CharField(max_length=120)
    # Common names in other languages: language code to name, such as {"fr": "Rainette crucifère"}.
    names = models.JSONField(default=dict, blank=True)
    synonyms = ArrayField(models.CharField(max_length=120), default=list, blank=True)
    is_complex = models.BooleanField(default=False)
    members = models.ManyToManyField(
        "self",
        through="JointMember",
        through_fields=("joint", "member"),
        symmetrical=False,
        related_name="joint_entries",
        blank=True,
    )
    peak_hz = models.CharField(max_length=40, blank=True)
    call = models.CharField(max_length=200, blank=True)
    # What an observer should know beside the call, such as when and where it is given.
    note = models.CharField(max_length=200, blank=True)
    # It gives no call, so silence says nothing about it.
    is_silent = models.BooleanField(default=False)

    objects = SpeciesQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "species"
        ordering = ["common_name"]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        """The common name in the reader's language, or the English one."""
        language = get_language() or ""
        return self.names.get(language) or self.names.get(language[:2]) or self.common_name

    @property
    def told_call(self) -> str:
        """`call` in the reader's language. Its parts are translated one by one: a joint entry has
        those of its members."""
        return gettext("; ").join(map(gettext, self.call.split("; ")))

    @property
    def told_note(self) -> str:
        """`note` in the reader's language."""
        return gettext(self.note)


class JointMember(models.Model):
    """A species that may have called where its joint entry was written down."""

    joint = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="+")
    member = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["joint", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["joint", "member"], name="joint_member_once"),
        ]
        triggers = [
            # Members of members would make what a record says of others depend on a chain.
            pgtrigger.Trigger(
                name="joint_member_kinds",
                operation=pgtrigger.Insert | pgtrigger.Update,
                when=pgtrigger.Before,
                func="""
                IF (SELECT is_complex FROM surveys_species WHERE id = NEW.member_id)
                    OR NOT (SELECT is_complex FROM surveys_species WHERE id = NEW.joint_id) THEN
                    RAISE EXCEPTION 'Only a joint entry has members, and only species are members.'
                        USING ERRCODE = 'check_violation';
                END IF;
                RETURN NEW;
                """,
            ),
            *marks_by_joint_entry(),
        ]

    def __str__(self) -> str:
        return f"{self.member} of {self.joint}"


@tracked
class ChecklistEntry(WithCallingSeason, models.Model):
    """A species on a program's checklist.

    A silent stop is a zero only for species that were on the checklist on the
    night, hence `listed_from` and `listed_until`. The calling season may cross
    New Year; all four parts are empty when the species may call at any time.
    """

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="checklist")
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="checklist_entries")
    order = models.PositiveSmallIntegerField(default=0)
    listed_from = models.DateField(null=True, blank=True)
    listed_until = models.DateField(null=True, blank=True)
    calls_from_month = month_field(null=True, blank=True)
    calls_from_day = day_field(null=True, blank=True)
    calls_to_month = month_field(null=True, blank=True)
    calls_to_day = day_field(null=True, blank=True)
    sensitivity = models.PositiveSmallIntegerField(
        choices=Sensitivity.choices, default=Sensitivity.OPEN
    )

    class Meta:
        ordering = ["program", "order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["program", "species"], name="checklist_once"),
            models.CheckConstraint(
                condition=any_time_or_days_exist("calls_from", "calls_to"),
                name="checklist_season_exists",
            ),
            models.CheckConstraint(
                condition=models.Q(listed_from__isnull=True)
                | models.Q(listed_until__isnull=True)
                | models.Q(listed_until__gte=models.F("listed_from")),
                name="checklist_listed_order",
            ),
            models.CheckConstraint(
                condition=models.Q(sensitivity__range=(0, 4)), name="checklist_sensitivity"
            ),
        ]
        triggers = marks_by_checklist()

    def __str__(self) -> str:
        return str(self.species)
