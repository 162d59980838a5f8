"""Backups, off-site copies and drills are written down."""

import pytest
from django.core.management import CommandError, call_command

from surveys.models import OperationKind, OperationRecord
from surveys.operations.records import KEPT, latest_operation, record_operation

pytestmark = pytest.mark.django_db


def test_the_command_writes_down_how_an_operation_ended():
    call_command("record_operation", "backup", "ok", "312 MB.")
    call_command("record_operation", "backup", "failed", "The disk is full.")
    call_command("record_operation", "restore_drill", "ok")
    latest = latest_operation(OperationKind.BACKUP)
    assert (latest.ok, latest.detail) == (False, "The disk is full.")
    assert latest_operation(OperationKind.BACKUP, ok=True).detail == "312 MB."
    assert latest_operation(OperationKind.RESTORE_DRILL).ok
    assert latest_operation(OperationKind.OFFSITE_COPY) is None


@pytest.mark.parametrize("words", [("lunch", "ok"), ("backup", "perhaps"), ("backup",)])
def test_the_command_refuses_what_it_does_not_know(words):
    with pytest.raises(CommandError):
        call_command("record_operation", *words)
    assert not OperationRecord.objects.exists()


def test_the_oldest_of_a_kind_are_forgotten():
    record_operation(OperationKind.RESTORE_DRILL, ok=True)
    first = record_operation(OperationKind.BACKUP, ok=True)
    for _ in range(KEPT):
        record_operation(OperationKind.BACKUP, ok=True)
    kept = OperationRecord.objects.filter(kind=OperationKind.BACKUP)
    assert kept.count() == KEPT
    assert first not in kept
    assert latest_operation(OperationKind.RESTORE_DRILL) is not None
