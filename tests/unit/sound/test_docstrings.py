"""The examples in the documentation of the core of sound run."""

import doctest
import importlib
import pkgutil

import surveys.sound
from tests.support.for_each import for_each

EXAMPLES = [
    example
    for module in pkgutil.iter_modules(surveys.sound.__path__, "surveys.sound.")
    for example in doctest.DocTestFinder(exclude_empty=True).find(
        importlib.import_module(module.name)
    )
    if example.examples
]


@for_each("example", EXAMPLES, lambda example: example.name)
def test_examples_run(example):
    assert doctest.DocTestRunner().run(example).failed == 0
