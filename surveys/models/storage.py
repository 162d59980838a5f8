"""How much of the disk the files of people take."""

import pgtrigger
from django.conf import settings
from django.db import models

from surveys.models.program import Program


class StorageUse(models.Model):
    """Bytes of the photos, recordings and imported files that a person has stored in a program.

    Kept by triggers on their rows, so that a sum over a program is one over its people.
    """

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="+")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    bytes = models.BigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["program", "person"], name="storageuse_once")
        ]


# surveys_note_stored(program, person, bytes more) is made by migration 0017.
_PROGRAM_OF_VISIT = (
    "(SELECT route.program_id FROM surveys_visit AS visit"
    " JOIN surveys_route AS route ON route.id = visit.route_id WHERE visit.id = {row}.visit_id)"
)


def counts_bytes(
    *,
    program: str = _PROGRAM_OF_VISIT,
    person: str = "{row}.uploaded_by_id",
    column: str = "bytes",
    size: str = "{row}.bytes",
) -> pgtrigger.Trigger:
    """Adds the bytes of a row to what its uploader has stored. `program`, `person` and `size` are
    SQL of a row, OLD or NEW; `size` follows from `column`."""

    def noted(row: str, sign: str) -> str:
        parts = ", ".join(text.format(row=row) for text in (program, person, f"{sign}({size})"))
        return f"PERFORM surveys_note_stored({parts});"

    return pgtrigger.Trigger(
        name="counts_bytes",
        when=pgtrigger.After,
        operation=pgtrigger.Insert | pgtrigger.UpdateOf(column) | pgtrigger.Delete,
        func=(
            f"IF TG_OP <> 'INSERT' THEN {noted('OLD', '-')} END IF; "
            f"IF TG_OP <> 'DELETE' THEN {noted('NEW', '')} END IF; "
            "RETURN NULL;"
        ),
    )
