"""One test over many cases that are quickly tried.

As a test of its own, such a case takes longer to report than to try: thousands of them took a
twentieth of a run. All cases are tried whatever comes of the others, and each that fails is told
with its name. They share the fixtures of the test, so none may change what a fixture made.
"""

import functools
import inspect
from collections.abc import Callable, Iterable

import pytest


def for_each(
    names: str, cases: Iterable[object], name_of: Callable[[object], str] = repr
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """In place of `pytest.mark.parametrize`: `names` of arguments, separated by commas."""
    arguments = [name.strip() for name in names.split(",")]
    cases = list(cases)
    assert cases, f"no cases for {names}"

    def decorate(test: Callable[..., None]) -> Callable[..., None]:
        parameters = inspect.signature(test).parameters.values()
        fixtures = [one for one in parameters if one.name not in arguments]

        @functools.wraps(test)
        def try_each(*of_class: object, **made: object) -> None:
            failed = []
            for case in cases:
                values = case if len(arguments) > 1 else [case]
                try:
                    test(*of_class, **dict(zip(arguments, values, strict=True)), **made)
                except (Exception, pytest.fail.Exception) as error:  # noqa: BLE001 - told below
                    error.add_note(f"Case: {name_of(case)}")
                    failed.append(error)
            if failed:
                raise BaseExceptionGroup(f"{len(failed)} of {len(cases)} cases", failed)

        try_each.__signature__ = inspect.Signature(fixtures)  # What pytest is to pass.
        return try_each

    return decorate
