"""Fields that a program adds to its sheets. One that has data is never deleted: it is no longer
asked."""

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy

from surveys.models.history import tracked
from surveys.models.program import Program
from surveys.protocol.own_fields import KEY, AskedPer, FieldKind

FIELD_KINDS = [
    (FieldKind.NUMBER.value, gettext_lazy("Number")),
    (FieldKind.WHOLE.value, gettext_lazy("Whole number")),
    (FieldKind.YES_NO.value, gettext_lazy("Yes or no")),
    (FieldKind.CHOICE.value, gettext_lazy("Choice from a list")),
    (FieldKind.TEXT.value, gettext_lazy("Short text")),
]
ASKED_PER = [
    (AskedPer.VISIT.value, gettext_lazy("Once per visit")),
    (AskedPer.STOP.value, gettext_lazy("At each stop")),
]


def own_values_field() -> models.JSONField:
    """Values of the program's own fields by key: numbers, true or false, keys of choices, texts."""
    return models.JSONField(default=dict, db_default=models.Value({}, models.JSONField()))


@tracked
class OwnField(models.Model):
    """A field of a program. `choices` are pairs of a key, which never changes, and a label.

    It is asked on nights from `asked_from` (None: from the first) to `asked_until` (None: still);
    a missing value is a question on nights from `required_from` (None: on none).
    """

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="own_fields")
    key = models.CharField(max_length=40, validators=[RegexValidator(f"^{KEY}$")])
    label = models.CharField(max_length=60)
    help = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=10, choices=FIELD_KINDS)
    per = models.CharField(max_length=10, choices=ASKED_PER)
    unit = models.CharField(max_length=20, blank=True)
    low = models.DecimalField(max_digits=15, decimal_places=6, null=True, blank=True)
    high = models.DecimalField(max_digits=15, decimal_places=6, null=True, blank=True)
    choices = models.JSONField(default=list, blank=True)
    required_from = models.DateField(null=True, blank=True)
    asked_from = models.DateField(null=True, blank=True)
    asked_until = models.DateField(null=True, blank=True)
    published = models.BooleanField()
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["program", "order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["program", "key"], name="ownfield_key_once"),
            models.CheckConstraint(condition=Q(key__regex=f"^{KEY}$"), name="ownfield_key"),
            models.CheckConstraint(
                condition=Q(kind__in=[kind.value for kind in FieldKind]), name="ownfield_kind"
            ),
            models.CheckConstraint(
                condition=Q(per__in=[per.value for per in AskedPer]), name="ownfield_per"
            ),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(high__gte=F("low")),
                name="ownfield_range",
            ),
            models.CheckConstraint(
                condition=Q(asked_from__isnull=True)
                | Q(asked_until__isnull=True)
                | Q(asked_until__gte=F("asked_from")),
                name="ownfield_asked_order",
            ),
        ]

    def __str__(self) -> str:
        return self.label
