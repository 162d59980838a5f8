"""The area that a program surveys."""

from django.conf import settings
from django.contrib.gis.db import models as gis
from django.db import models

from surveys.models.history import tracked
from surveys.models.program import Program


@tracked
class ProgramArea(models.Model):
    """An outline that somebody drew, or that came from a file (`file_name`).

    Its sides are straight lines of longitude and latitude, as GeoJSON has them (RFC 7946, 3.1.1):
    a border along a parallel stays on the parallel. Hence a geometry, not a geography.
    """

    program = models.OneToOneField(
        Program, on_delete=models.CASCADE, primary_key=True, related_name="area"
    )
    outline = gis.MultiPolygonField(srid=4326)
    file_name = models.CharField(max_length=200, blank=True)
    saved_at = models.DateTimeField(auto_now=True)
    saved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    def __str__(self) -> str:
        return str(self.program)
