"""One part of the sheet while it is read: its texts, its place, and the problems found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

from surveys.protocol.params import Param
from surveys.protocol.values import (
    Finding,
    NoiseEffect,
    SkyState,
    Where,
)
from surveys.protocol.weather import Words
from surveys.visits.sheet.reading_rules import problem
from surveys.visits.sheet.texts import (
    CellError,
    State,
    is_missing,
    read_state,
    state_of_code,
)

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class StateCodes:
    """What the protocol writes for sky and noise; see `values.Protocol`."""

    sky: Mapping[str, SkyState] = field(default_factory=dict)
    noise: Mapping[str, NoiseEffect] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Part:
    """`prefix` is put before the field names in findings. `belongs_to` says in messages what the
    cell is a part of, as the parameter `cell` has it; `labels` are names of cells that have none
    in our vocabulary."""

    texts: dict[str, str]
    problems: list[Finding]
    stop: int | None = None
    prefix: str = ""
    belongs_to: Mapping[str, Param] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        return self.texts.get(name, "")

    def has(self, name: str) -> bool:
        return not is_missing(self.text(name))

    def read(
        self,
        name: str,
        reader: Callable[[str], T],
        *,
        missing: Callable[[str], bool] = is_missing,
    ) -> T | None:
        """The value of a cell; None when it is missing or cannot be read, which is reported."""
        if missing(self.text(name)):
            return None
        try:
            return reader(self.text(name))
        except CellError as error:
            self.report_cell(error, name)
            return None

    def read_state(
        self,
        name: str,
        words: Mapping[State, Words],
        codes: Mapping[str, State],
        param: Callable[[State], Param],
    ) -> State | None:
        """The state that a cell names. A code may be a letter that elsewhere means "missing"."""
        return self.read(
            name,
            partial(read_state, words=words, codes=codes, param=param),
            missing=lambda text: is_missing(text) and state_of_code(text, codes) is None,
        )

    def where(self, name: str) -> Where:
        return Where(stop=self.stop, field=self.prefix + name)

    def report(self, code: str, name: str, variant: str = "", /, **params: Param) -> None:
        self.problems.append(problem(code, self.where(name), variant, params))

    def report_cell(self, error: CellError, name: str, *, beside: str = "") -> None:
        """What is wrong with the cell `name`, which the message names, said beside it or another
        cell."""
        cell = {"name": self.labels.get(name, name), **self.belongs_to}
        where = self.where(beside or name)
        self.problems.append(
            problem(error.code, where, error.variant, {**error.params, "cell": {"cell": cell}})
        )
