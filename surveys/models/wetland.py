"""What was done to the wetland at a stop, and when."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy

from surveys.models.history import tracked
from surveys.models.route import Stop


class ChangeKind(models.TextChoices):
    BURNED = "burned", gettext_lazy("Burned")
    CLEARED = "cleared", gettext_lazy("Cleared of trees or shrubs")
    FILLED_IN = "filled_in", gettext_lazy("Filled in or drained")
    RESTORED = "restored", gettext_lazy("Restored or rebuilt")
    FISH_CAME = "fish_came", gettext_lazy("Fish came, or were stocked")


@tracked
class WetlandChange(models.Model):
    """A change of a wetland, on one day or from `began` to `ended`."""

    stop = models.ForeignKey(Stop, on_delete=models.PROTECT, related_name="changes")
    kind = models.CharField(max_length=10, choices=ChangeKind.choices)
    began = models.DateField()
    ended = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    noted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["stop", "began", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["stop", "kind", "began"], name="change_once_a_day"),
            models.CheckConstraint(
                condition=Q(kind__in=ChangeKind.values), name="change_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(ended__isnull=True) | Q(ended__gte=F("began")), name="change_order"
            ),
        ]

    def __str__(self) -> str:
        return str(self.get_kind_display())
