"""Puts a mutant into a process that has its module imported already.

The code of the functions that differ is exchanged in place, so whoever imported them calls the
mutant. Of what runs while a module is imported, tables and numbers can be exchanged too where the
module may be executed twice. Defaults of parameters, decorators and classes cannot: such a mutant
needs a process of its own.
"""

import gc
import sys
from collections.abc import Collection, Iterator, Mapping
from dataclasses import fields, is_dataclass
from types import CodeType, FunctionType

_OPTIMIZED = 0x1  # set in functions, not in the bodies of modules and classes


class NotExecutableError(Exception):
    """A mutant with which its module cannot be imported."""


# Functions in memory, by file, qualified name and first line.
LiveFunctions = Mapping[tuple[str, str, int], list[FunctionType]]


def live_functions(path: str) -> LiveFunctions:
    gc.unfreeze()  # the run of the tests froze what it collected: tests/conftest.py
    found: dict[tuple[str, str, int], list[FunctionType]] = {}
    for thing in gc.get_objects():
        if type(thing) is FunctionType and thing.__code__.co_filename == path:
            found.setdefault(_place(thing.__code__), []).append(thing)
    return found


def swap_functions(path: str, original: str, mutated: str, live: LiveFunctions) -> bool:
    """Exchange what differs. False, with nothing exchanged, where that is not enough."""
    before, after = (compile(text, path, "exec", dont_inherit=True) for text in (original, mutated))
    if _at_import(before) != _at_import(after):
        return False
    pairs = list(zip(_functions(before), _functions(after), strict=True))
    changed = [(old, new) for old, new in pairs if _essence(old) != _essence(new)]
    exchanges = []
    for old, new in changed:
        nested = list(_all_functions(old)), list(_all_functions(new))
        if len(nested[0]) != len(nested[1]):
            return False
        for was, now in [(old, new), *zip(*nested, strict=True)]:
            holders = live.get(_place(was), [])
            if was is old and not holders:
                return False
            exchanges += [(holder, now) for holder in holders]
    if any(len(holder.__code__.co_freevars) != len(now.co_freevars) for holder, now in exchanges):
        return False
    for holder, now in exchanges:
        holder.__code__ = now
    return bool(exchanges)


def rebind_texts(module_name: str, path: str, mutated: str) -> bool:
    """Exchange the module's constant strings (SQL), and what is made of them at import: longer
    strings of any module, and tuples, dictionaries and data classes of this one. For modules that
    may be executed twice. False where no constant differs."""
    module = sys.modules[module_name]
    fresh = _executed(compile(mutated, path, "exec", dont_inherit=True), module_name, path)
    changed = False
    for name, new in fresh.items():
        old = module.__dict__.get(name)
        if isinstance(old, str) and isinstance(new, str) and new != old:
            _replace_everywhere(old, new, name)
            _replace_within_texts(old, new)
        elif isinstance(old, tuple) and _are_texts(old) and new != old:
            _replace_everywhere(old, new, name)
        elif isinstance(old, dict) and _are_texts(old.values()) and new != old:
            old.update(new)
        elif isinstance(old, type) or not is_dataclass(old) or not _renew_texts(old, new):
            continue
        changed = True
    return changed


def _are_texts(values: Collection[object]) -> bool:
    return bool(values) and all(isinstance(value, str) for value in values)


def _renew_texts(old: object, new: object) -> bool:
    """Give a data class, frozen or not, the texts of another one. Whether any differed."""
    before = {
        field.name: text
        for field in fields(old)
        if isinstance(text := getattr(old, field.name, None), str)
    }
    changed = {name: getattr(new, name) for name in before if getattr(new, name) != before[name]}
    for name, text in changed.items():
        object.__setattr__(old, name, text)
    return bool(changed)


def rebind_constants(module_name: str, path: str, original: str, mutated: str) -> bool:
    """Exchange the module's tables and numbers wherever they were imported to.

    For modules that may be executed twice. False, with nothing exchanged, where functions or
    classes differ, or nothing that can be compared does. What other modules have worked out from a
    constant stays as it was. Raises NotExecutableError where the mutated module cannot be executed.
    """
    before, after = (compile(text, path, "exec", dont_inherit=True) for text in (original, mutated))
    if _parts_within(before) != _parts_within(after):
        return False
    old = _executed(before, module_name, path)
    try:
        new = _executed(after, module_name, path)
    except Exception as error:
        raise NotExecutableError(repr(error)) from error
    module = sys.modules[module_name]
    changed = {
        name: value
        for name, value in new.items()
        if _is_constant(value) and repr(value) != repr(old.get(name))
    }
    for name, value in changed.items():
        _replace_everywhere(module.__dict__.get(name), value, name)
    return bool(changed)


def renew_constants(module_name: str, path: str, source: str) -> None:
    """What `rebind_constants` does, with equal values: a rehearsal that must change no result."""
    module = sys.modules[module_name]
    fresh = _executed(compile(source, path, "exec", dont_inherit=True), module_name, path)
    for name, value in fresh.items():
        if _is_constant(value):
            _replace_everywhere(module.__dict__.get(name), value, name)


def _executed(code: CodeType, module_name: str, path: str) -> dict[str, object]:
    namespace: dict[str, object] = {"__name__": module_name, "__file__": path}
    exec(code, namespace)
    return {name: value for name, value in namespace.items() if not name.startswith("__")}


def _is_constant(value: object) -> bool:
    return isinstance(value, str | int | float | tuple | list | dict | set | frozenset | Mapping)


def _parts_within(code: CodeType) -> list[tuple]:
    return [_essence(const) for const in code.co_consts if isinstance(const, CodeType)]


def _replace_everywhere(old: object, new: object, name: str) -> None:
    """Wherever a module has `old` under this name. Short texts and small numbers are one object in
    all of Python, so the same object under another name need not be the same thing."""
    for module in list(sys.modules.values()):
        if getattr(module, "__dict__", {}).get(name) is old:
            setattr(module, name, new)


def _replace_within_texts(old: str, new: str) -> None:
    """In the constant strings of every module of the project that were put together from it."""
    for module_name, module in list(sys.modules.items()):
        if module_name.startswith("surveys."):
            for name, text in list(module.__dict__.items()):
                if isinstance(text, str) and old in text:
                    setattr(module, name, text.replace(old, new))


def _place(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _is_function(code: CodeType) -> bool:
    comprehension = code.co_name.startswith("<") and code.co_name != "<lambda>"
    return bool(code.co_flags & _OPTIMIZED) and not comprehension


def _functions(code: CodeType) -> Iterator[CodeType]:
    """The functions directly inside, those in bodies of classes included."""
    for const in code.co_consts:
        if isinstance(const, CodeType):
            if _is_function(const):
                yield const
            else:
                yield from _functions(const)


def _all_functions(code: CodeType) -> Iterator[CodeType]:
    for function in _functions(code):
        yield function
        yield from _all_functions(function)


def _essence(code: CodeType, *, at_import: bool = False) -> tuple:
    """What code does, without line numbers; at import, without what functions will do."""
    consts = []
    for const in code.co_consts:
        if not isinstance(const, CodeType):
            consts.append((type(const), repr(const)))
        elif at_import and _is_function(const):
            consts.append((CodeType, const.co_name))
        else:
            consts.append((CodeType, _essence(const, at_import=at_import)))
    shape = code.co_argcount, code.co_kwonlyargcount, code.co_posonlyargcount, code.co_flags
    names = code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars
    return code.co_code, tuple(consts), shape, names, code.co_exceptiontable


def _at_import(code: CodeType) -> tuple:
    return _essence(code, at_import=True)
