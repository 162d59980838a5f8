"""The documentation of the public estimators: complete, and its examples run."""

import doctest
import importlib
import inspect
import pkgutil
from itertools import pairwise

import pytest

import surveys.trends
from tests.support.for_each import for_each

PUBLIC = [
    getattr(surveys.trends, name)
    for name in surveys.trends.__all__
    if inspect.isfunction(getattr(surveys.trends, name))
]
MODULES = [
    module.name for module in pkgutil.walk_packages(surveys.trends.__path__, "surveys.trends.")
]
EXAMPLES = [
    example
    for name in MODULES
    for example in doctest.DocTestFinder(exclude_empty=True).find(importlib.import_module(name))
    if example.examples
]


def sections(function):
    """Headings of a docstring in the numpydoc form, in order."""
    lines = inspect.getdoc(function).splitlines()
    return [
        heading
        for heading, line in pairwise(lines)
        if line and set(line) == {"-"} and len(line) == len(heading)
    ]


@for_each("function", PUBLIC, lambda function: function.__name__)
def test_public_estimator_is_documented(function):
    headings = sections(function)
    for wanted in ("Parameters", "Returns", "Examples"):
        assert wanted in headings, f"{function.__name__} has no section {wanted}"
    order = ["Parameters", "Returns", "Raises", "References", "Examples"]
    assert headings == [heading for heading in order if heading in headings]


@for_each("function", PUBLIC, lambda function: function.__name__)
def test_every_parameter_is_named(function):
    text = inspect.getdoc(function)
    described = text[text.index("Parameters\n") : text.index("Returns\n")]
    names = {
        name.strip()
        for line in described.splitlines()
        if line and not line.startswith(" ")
        for name in line.partition(" : ")[0].split(",")
    }
    assert names >= set(inspect.signature(function).parameters)


@for_each("function", PUBLIC, lambda function: function.__name__)
def test_public_estimator_has_an_example_that_calls_it(function):
    (example,) = doctest.DocTestFinder(recurse=False).find(
        function, function.__name__, globs=vars(importlib.import_module(function.__module__))
    )
    assert any(f"{function.__name__}(" in step.source for step in example.examples)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_example_gives_what_it_says(example):
    output: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE)
    runner.run(example, out=output.append, clear_globs=False)
    assert runner.failures == 0, "".join(output)
    assert runner.tries == len(example.examples)
