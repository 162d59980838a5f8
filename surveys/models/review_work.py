"""What helps coordinators through the review queue. Nothing here is a record of a visit."""

from django.conf import settings
from django.db import models

from surveys.models.visit import Visit


class VisitOddness(models.Model):
    """What stands out in a waiting visit, as `surveys/protocol/oddness.py` found it.

    It holds while the visits of the route are as they were: so many, the last one changed then.
    """

    visit = models.OneToOneField(
        Visit, on_delete=models.CASCADE, primary_key=True, related_name="oddness"
    )
    score = models.SmallIntegerField()
    # Reasons with numbers of stops, codes of species.
    reasons = models.JSONField(default=list)
    route_visits = models.IntegerField()
    route_changed_at = models.DateTimeField()


class ReviewClaim(models.Model):
    """A coordinator says that they review a visit. It asks others to leave the visit alone for a
    while, and keeps nobody out."""

    visit = models.OneToOneField(
        Visit, on_delete=models.CASCADE, primary_key=True, related_name="claim"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    until = models.DateTimeField()
