"""Backups, off-site copies and restore drills: written down by whoever runs them."""

from surveys.models import OperationKind, OperationRecord

KEPT = 100


def record_operation(kind: OperationKind, *, ok: bool, detail: str = "") -> OperationRecord:
    """Write down how an operation ended, and forget the oldest of its kind."""
    record = OperationRecord.objects.create(kind=kind, ok=ok, detail=detail)
    records = OperationRecord.objects.filter(kind=kind)
    records.filter(pk__in=list(records.values_list("pk", flat=True)[KEPT:])).delete()
    return record


def latest_operation(kind: OperationKind, *, ok: bool | None = None) -> OperationRecord | None:
    """The latest of a kind; with `ok`, the latest that succeeded or failed."""
    records = OperationRecord.objects.filter(kind=kind)
    if ok is not None:
        records = records.filter(ok=ok)
    return records.first()
