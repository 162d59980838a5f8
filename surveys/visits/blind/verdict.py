"""What several people who heard the same recording agree on. Imports no Django."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

# Two who agree are enough. Where they differ, a third hears the recording, and nobody after that.
AGREEING, MOST_LISTENERS = 2, 3


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Call indexes by code of the species; `usable` is false where nothing could be heard."""

    heard: Mapping[str, int]
    usable: bool = True


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """`agreed` has the index that two listeners gave, or None where all indexes differ.
    `disputed` are the species that one listener alone named."""

    agreed: Mapping[str, int | None]
    disputed: tuple[str, ...]
    finished: bool


def verdict(answers: Sequence[Answer], members: Mapping[str, frozenset[str]]) -> Verdict:
    """What listeners agree on, in the order of their answers.

    Parameters
    ----------
    answers
        One for each listener.
    members
        By code of a joint entry, the codes of its species: who names one of these has heard the
        joint entry too.

    Examples
    --------
    >>> answers = [Answer(heard={"peeper": 3}), Answer(heard={"peeper": 2, "wood": 1})]
    >>> verdict(answers, {})
    Verdict(agreed={'peeper': None}, disputed=('wood',), finished=False)
    """
    named = [_with_joint_entries(answer.heard, members) for answer in answers]
    listeners = Counter(code for heard in named for code in heard)
    agreed = {
        code: _agreed_index([heard[code] for heard in named if code in heard])
        for code, number in sorted(listeners.items())
        if number >= AGREEING
    }
    return Verdict(
        agreed=agreed,
        disputed=tuple(sorted(listeners.keys() - agreed.keys())),
        finished=len(answers) >= MOST_LISTENERS or _all_alike(answers, named),
    )


def _with_joint_entries(
    heard: Mapping[str, int], members: Mapping[str, frozenset[str]]
) -> dict[str, int]:
    joint = {
        code: max(heard[member] for member in of_entry & heard.keys())
        for code, of_entry in members.items()
        if of_entry & heard.keys()
    }
    return {**joint, **heard}


def _agreed_index(indexes: Sequence[int]) -> int | None:
    (index, number), *_ = Counter(indexes).most_common(1)
    return index if number >= AGREEING else None


def _all_alike(answers: Sequence[Answer], named: Sequence[Mapping[str, int]]) -> bool:
    """Whether at least two answered, and all named the same species or could hear nothing."""
    found = {(one.usable, frozenset(heard)) for one, heard in zip(answers, named, strict=True)}
    return len(answers) >= AGREEING and len(found) == 1
