"""Every small fault that can be put into a module, one at a time.

The operators are mutmut's. mutmut itself leaves module-level code and decorated functions alone,
and those are the tables of permissions and the verbs inside a transaction, so the walk over the
module is done here, with a few more operators: a dropped statement, a forced condition, a dropped
element of a literal, a dropped decorator.
"""

import ast
import difflib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import zip_longest
from pathlib import Path

import libcst as cst
from libcst.metadata import CodeRange, MetadataWrapper, WhitespaceInclusivePositionProvider
from mutmut.mutation import mutators

Operators = Sequence[tuple[type | tuple[type, ...], Callable[..., Iterable]]]


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """A module with one fault. `path` is relative to the project; `diff` holds the removed and
    added lines without their numbers; `repeat` tells apart equal diffs within one function.
    `line` is where the change begins in the file as it is, `lines` (first and last) the function
    around it, None for what runs at import, and `body` the first line of its body. `is_text` marks
    a change within a constant string."""

    path: str
    function: str
    diff: str
    repeat: int
    line: int
    lines: tuple[int, int] | None
    source: str
    body: int = 0
    is_text: bool = False

    @property
    def key(self) -> str:
        """The same for the same fault, wherever in the file its function stands."""
        return key_of(self.path, self.function, self.diff, self.repeat)


def key_of(path: str, function: str, diff: str, repeat: int) -> str:
    return sha256("\0".join((path, function, diff, str(repeat))).encode()).hexdigest()[:16]


@dataclass(frozen=True, kw_only=True)
class _Change:
    function: str
    node: cst.CSTNode
    replacement: cst.CSTNode | cst.RemovalSentinel


def mutants_of(
    path: Path,
    root: Path,
    *,
    places: Collection[int] | None = None,
    operators: Operators | None = None,
) -> list[Mutant]:
    """The mutants of a file, or those at some places in the list of its changes.

    A change that does not compile, or that leaves the parsed program as it was, is passed over.
    """
    original = path.read_text()
    as_parsed = ast.dump(ast.parse(original))
    wrapper = MetadataWrapper(cst.parse_module(original))
    visitor = _Visitor(OPERATORS if operators is None else operators)
    wrapper.visit(visitor)
    ranges = wrapper.resolve(WhitespaceInclusivePositionProvider)
    made = []
    for place, change in enumerate(visitor.changes):
        if places is not None and place not in places:
            continue
        source = _changed(wrapper.module, original, change, ranges.get(change.node))
        if source is not None and _compiles_differently(source, as_parsed):
            made.append(mutant_from(str(path.relative_to(root)), change.function, original, source))
    return numbered(made)


def count_changes(path: Path) -> int:
    visitor = _Visitor(OPERATORS)
    cst.parse_module(path.read_text()).visit(visitor)
    return len(visitor.changes)


def mutant_from(
    path: str, function: str, original: str, source: str, *, is_text: bool = False
) -> Mutant:
    line = first_difference(original, source)
    around = None if is_text else _innermost_function(original, line)
    return Mutant(
        path=path,
        function=function,
        diff=diff_of(original, source),
        repeat=0,
        line=line,
        lines=around[:2] if around else None,
        source=source,
        body=around[2] if around else 0,
        is_text=is_text,
    )


def _innermost_function(text: str, line: int) -> tuple[int, int, int] | None:
    """First and last line of the function, and the first line of its body."""
    around = [
        (node.lineno, node.end_lineno or node.lineno, node.body[0].lineno)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.lineno <= line <= (node.end_lineno or node.lineno)
    ]
    return max(around, default=None)


def diff_of(before: str, after: str) -> str:
    """The changed lines, each behind its sign, without context or line numbers."""
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0)
    kept = [line for line in lines if line[0] in "+-" and line[:3] not in ("+++", "---")]
    return "\n".join(f"{line[0]} {line[1:].strip()}" for line in kept)


def numbered(mutants: Iterable[Mutant]) -> list[Mutant]:
    """Equal diffs in one function get numbers; equal sources are one mutant."""
    numbered: list[Mutant] = []
    sources: set[str] = set()
    repeats: dict[tuple[str, str], int] = {}
    for mutant in mutants:
        if mutant.source in sources:
            continue
        sources.add(mutant.source)
        same = (mutant.function, mutant.diff)
        repeats[same] = repeats.get(same, -1) + 1
        numbered.append(replace(mutant, repeat=repeats[same]))
    return numbered


def first_difference(before: str, after: str) -> int:
    """The number, from 1, of the first line that is not the same."""
    pairs = zip_longest(before.splitlines(), after.splitlines())
    return next(number for number, (old, new) in enumerate(pairs, start=1) if old != new)


def _changed(
    module: cst.Module, original: str, change: _Change, place: CodeRange | None
) -> str | None:
    try:
        if isinstance(change.replacement, cst.RemovalSentinel):
            return module.visit(_Remover(change.node)).code
        if isinstance(change.node, cst.BaseCompoundStatement) or place is None:
            return module.deep_replace(change.node, change.replacement).code
        # Nodes without indented lines: put into the text, ten times as fast.
        return _spliced(original, place, module.code_for_node(change.replacement))
    except (cst.CSTValidationError, cst.CSTLogicError, TypeError):
        return None  # such a program cannot be written down


def _spliced(text: str, place: CodeRange, replacement: str) -> str:
    lines = text.splitlines(keepends=True)
    before = (
        "".join(lines[: place.start.line - 1]) + lines[place.start.line - 1][: place.start.column]
    )
    after = lines[place.end.line - 1][place.end.column :] + "".join(lines[place.end.line :])
    return before + replacement + after


def _compiles_differently(source: str, as_parsed: str) -> bool:
    try:
        tree = ast.parse(source)
        compile(tree, "<mutant>", "exec")
    except (SyntaxError, ValueError):
        return False
    return ast.dump(tree) != as_parsed


class _Remover(cst.CSTTransformer):
    def __init__(self, node: cst.CSTNode) -> None:
        super().__init__()
        self.node = node

    def on_leave(self, original_node: cst.CSTNode, updated_node: cst.CSTNode) -> object:
        return cst.RemoveFromParent() if original_node is self.node else updated_node


class _Visitor(cst.CSTVisitor):
    """Collects the changes, in the order of the file."""

    def __init__(self, operators: Operators) -> None:
        super().__init__()
        self.operators = operators
        self.changes: list[_Change] = []
        self._names: list[str] = []
        self._of_class = False

    def on_visit(self, node: cst.CSTNode) -> bool:
        if isinstance(node, cst.FunctionDef | cst.ClassDef):
            self._names.append(node.name.value)
            self._of_class = isinstance(node, cst.ClassDef)
        if _is_left_alone(node):
            return False
        if isinstance(node, cst.Decorator) and self._of_class:
            return False  # `@dataclass(frozen=True)`
        function = ".".join(self._names) or "<module>"
        for kind, operator in self.operators:
            if isinstance(node, kind):
                self.changes += [
                    _Change(function=function, node=node, replacement=replacement)
                    for replacement in operator(node)
                ]
        return True

    def on_leave(self, original_node: cst.CSTNode) -> None:
        if isinstance(original_node, cst.FunctionDef | cst.ClassDef):
            self._names.pop()


# Calls that fail or mean nothing when their arguments change.
_CALLS_LEFT_ALONE = ("len", "isinstance", "cast", "TypeVar", "NewType", "NamedTuple")


def _is_left_alone(node: cst.CSTNode) -> bool:
    match node:
        case cst.Annotation() | cst.Import() | cst.ImportFrom():
            return True
        case cst.Call(func=cst.Name(value=name)):
            return name in _CALLS_LEFT_ALONE
        case cst.Expr(value=cst.SimpleString() | cst.ConcatenatedString()):
            return True  # a docstring
        case cst.If(test=cst.Name(value="TYPE_CHECKING")):
            return True
        case cst.Assign(targets=[cst.AssignTarget(target=cst.Name(value="__all__"))]):
            return True
        case cst.Assign(targets=[cst.AssignTarget(target=cst.Name(value=name))]):
            # `Cells = Mapping[str, str]`: read by the type checker alone.
            return (
                isinstance(node.value, cst.Subscript | cst.BinaryOperation)
                and name[0].isupper()
                and not name.isupper()
            )
    return False


def _first_string_change(node: cst.BaseString) -> Iterator[cst.BaseString]:
    """mutmut also writes each string in capitals and in small letters: the same test kills it."""
    for replacement in mutators.operator_string(node):
        yield replacement
        return


def _drop_statement(node: cst.Expr) -> Iterator[cst.BaseSmallStatement]:
    if isinstance(node.value, cst.Call | cst.Await | cst.Yield):
        yield cst.Pass()


def _drop_raise(node: cst.Raise) -> Iterator[cst.BaseSmallStatement]:
    if node.exc is not None:
        yield cst.Pass()


def _force(node: cst.If | cst.CompIf) -> Iterator[cst.CSTNode]:
    test = node.test.with_changes(lpar=[cst.LeftParen()], rpar=[cst.RightParen()])
    for operator, literal in ((cst.And(), "False"), (cst.Or(), "True")):
        yield node.with_changes(
            test=cst.BooleanOperation(left=test, operator=operator, right=cst.Name(literal)),
            whitespace_before_test=cst.SimpleWhitespace(" "),
        )


def _drop_element(node: cst.Tuple | cst.List | cst.Set | cst.Dict) -> Iterator[cst.CSTNode]:
    for place in range(len(node.elements)):
        left = [*node.elements[:place], *node.elements[place + 1 :]]
        if not left and isinstance(node, cst.Set):
            continue
        if len(left) == 1 and isinstance(node, cst.Tuple):
            left = [left[0].with_changes(comma=cst.Comma())]
        yield node.with_changes(elements=left)


def _drop_decorator(node: cst.Decorator) -> Iterator[cst.RemovalSentinel]:
    yield cst.RemovalSentinel.REMOVE


OPERATORS: Operators = [
    *(
        (kind, operator)
        for kind, operator in mutators.mutation_operators
        if operator is not mutators.operator_string
    ),
    (cst.BaseString, _first_string_change),
    (cst.Expr, _drop_statement),
    (cst.Raise, _drop_raise),
    ((cst.If, cst.CompIf), _force),
    ((cst.Tuple, cst.List, cst.Set, cst.Dict), _drop_element),
    (cst.Decorator, _drop_decorator),
]
