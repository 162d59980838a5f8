"""Triggers that run once for a statement, with the rows that it changed."""

import pgtrigger


def after_statement(name: str, operation: pgtrigger.Operation, func: str) -> pgtrigger.Trigger:
    """`func` sees the rows as `rows_before` and `rows_after`; nothing was before an insert, and
    nothing is after a delete. PostgreSQL hands them to a trigger of one operation only.

    The name is followed by that of the operation.
    """
    return pgtrigger.Trigger(
        name=f"{name}_{operation}".lower(),
        level=pgtrigger.Statement,
        when=pgtrigger.After,
        operation=operation,
        referencing=pgtrigger.Referencing(
            old=None if operation == pgtrigger.Insert else "rows_before",
            new=None if operation == pgtrigger.Delete else "rows_after",
        ),
        func=func,
    )
