"""Questions about calls: which ones are drawn, for practice and for a test.

Everything comes from a seed, so that a question can be asked again as it was. On the phone
`web/survey/static/survey/practice/questions.js` draws the same for practice.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

from surveys.sound.calls import COLDEST, WARMEST, call_of
from surveys.sound.chance import Chance
from surveys.sound.scoring import Heard, is_right
from surveys.sound.synthesis import BACKGROUNDS, Scene

# Answers to choose from, beside which species calls.
CHOICES = 4
# Of which of these: one that calls for certain, two more, and the others to choose from.
MOST_VOICES, MOST_CHOICES = 3, CHOICES + 1
# Meters to the nearest male.
DISTANCES = (10.0, 25.0, 60.0)
# Where one recording is to be had, half of the questions that it fits play it.
_RECORDED_SHARE = 0.5
# In a test, one place in so many is silent: who always names something is wrong there.
SILENT_ONE_IN = 12
_SPECIES_AT_ONCE = (1, 2, 2, 3)


class Kind(StrEnum):
    WHICH_ONE = "which-one"
    WHICH_OF_THESE = "which-of-these"
    WHICH_INDEX = "which-index"
    # All at once, as at a stop: each species of the test with its index.
    AS_AT_A_STOP = "as-at-a-stop"


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A species that can be asked. `voices` are codes of species whose calls can be made, more
    than one for a joint entry; `recordings` keys of reference calls; `alike` codes of species that
    are taken for it."""

    species: str
    voices: tuple[str, ...] = ()
    recordings: tuple[str, ...] = ()
    alike: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Tally:
    """How often a learner was right and wrong about a species, and what they named in its place."""

    right: int = 0
    wrong: int = 0
    named_instead: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Voice:
    """A species that calls; `made_as` is the species whose call is made. Without an index it is a
    recording, whose index is not known."""

    species: str
    made_as: str = ""
    index: int | None = None


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is played, and the answers to choose from. With a `recording`, nothing is made."""

    kind: Kind
    voices: tuple[Voice, ...]
    choices: tuple[str, ...]
    celsius: float
    distance: float = DISTANCES[0]
    behind: str = ""
    recording: str = ""
    seed: int = 1

    def plain(self) -> dict[str, Any]:
        """As JSON takes it."""
        return asdict(self)

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Question:
        return cls(
            **{
                **plain,
                "kind": Kind(plain["kind"]),
                "voices": tuple(Voice(**voice) for voice in plain["voices"]),
                "choices": tuple(plain["choices"]),
            }
        )

    @property
    def there(self) -> dict[str, int | None]:
        """The species that call, each with its index."""
        return {voice.species: voice.index for voice in self.voices}

    def scene(self, calls: Mapping[str, Mapping[str, Any]] | None = None) -> Scene:
        """What is heard. `calls` are those that were kept with the question, as `Call.plain` has
        them; without them, those of today."""
        return Scene(
            voices=[
                (calls[voice.made_as] if calls else _plain(voice.made_as), voice.index)
                for voice in self.voices
                if voice.index is not None
            ],
            celsius=self.celsius,
            distance=self.distance,
            behind=self.behind,
            seed=self.seed,
        )

    def calls(self) -> dict[str, dict[str, Any]]:
        """The calls of its voices, to keep with the question."""
        return {voice.made_as: _plain(voice.made_as) for voice in self.voices if voice.made_as}


def tallied(answers: Iterable[Sequence[Heard]]) -> dict[str, Tally]:
    """What a learner knows and confuses, by species, from the rows of each answer in practice."""
    right: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    instead: dict[str, Counter[str]] = defaultdict(Counter)
    for rows in answers:
        false = [row.species for row in rows if not row.was_there]
        for row in rows:
            (right if is_right(row) else wrong)[row.species] += 1
            if not row.was_named:
                instead[row.species].update(false)
    return {
        code: Tally(right=right[code], wrong=wrong[code], named_instead=dict(instead[code]))
        for code in right.keys() | wrong.keys()
    }


def draw_practice(
    candidates: Sequence[Candidate], tallies: Mapping[str, Tally], *, seed: int
) -> Question:
    """A question for a learner, most likely about what they confuse.

    For each species a share of right answers is drawn from the Beta distribution of what the
    learner answered so far, and the species with the lowest is asked: sampling as Thompson 1933,
    Biometrika 25:285–294, has it. A new species is as likely to be asked as one known by half.

    Raises ValueError without candidates.
    """
    if not candidates:
        raise ValueError("nothing to ask")
    chance = Chance(seed)
    known = {one.species: tallies.get(one.species, Tally()) for one in candidates}
    drawn = {code: chance.beta(tally.right, tally.wrong) for code, tally in known.items()}
    asked = min(candidates, key=lambda one: drawn[one.species])
    kind = _practice_kind(asked, candidates, chance)
    others = _likely_mistakes(asked, candidates, known[asked.species], chance)
    if kind is Kind.WHICH_ONE:
        choices = [asked, *others[: CHOICES - 1]]
        voices = [asked]
    elif kind is Kind.WHICH_OF_THESE:
        choices = [asked, *others[:CHOICES]]
        with_voice = [one for one in others[:CHOICES] if one.voices]
        voices = [asked, *with_voice[: chance.choice((0, 1, 1, 2))]]
    else:
        choices = voices = [asked]
    recording = ""
    if kind is Kind.WHICH_ONE:
        recording = _recording_of(asked, chance)
    return _question(kind, voices, choices, recording, chance)


def draw_test(candidates: Sequence[Candidate], *, number: int, seed: int) -> list[Question]:
    """The questions of one try at a test, each about all of its species.

    Species are drawn from a shuffled pack, so that each is asked about as often as the others.

    Raises ValueError where a species would not be asked about, or nothing can be asked.
    """
    silent_places = number // SILENT_ONE_IN
    if not candidates or number < fewest_questions(len(candidates)):
        raise ValueError("fewer questions than species")
    chance = Chance(seed)
    silent = set(chance.shuffled(range(number))[:silent_places])
    pack: list[Candidate] = []
    questions = []
    for place in range(number):
        voices = [] if place in silent else _from_pack(pack, candidates, chance)
        recording = _recording_of(voices[0], chance) if len(voices) == 1 else ""
        questions.append(_question(Kind.AS_AT_A_STOP, voices, candidates, recording, chance))
    return questions


def fewest_questions(species: int) -> int:
    """So many that each species is asked about, however few call at once.

    >>> fewest_questions(3), fewest_questions(12), fewest_questions(22)
    (3, 13, 23)
    """
    number = species
    while number - number // SILENT_ONE_IN < species:
        number += 1
    return number


def _practice_kind(asked: Candidate, candidates: Sequence[Candidate], chance: Chance) -> Kind:
    kinds = []
    if len(candidates) > 1:
        kinds += [Kind.WHICH_ONE] * 2
    if asked.voices and len(candidates) > 2:
        kinds.append(Kind.WHICH_OF_THESE)
    if asked.voices:
        kinds.append(Kind.WHICH_INDEX)
    return chance.choice(kinds or [Kind.WHICH_ONE])


def _likely_mistakes(
    asked: Candidate, candidates: Sequence[Candidate], tally: Tally, chance: Chance
) -> list[Candidate]:
    """The other species: first what the learner named instead, then look-alikes, then any."""
    return sorted(
        chance.shuffled(one for one in candidates if one.species != asked.species),
        key=lambda one: (-tally.named_instead.get(one.species, 0), one.species not in asked.alike),
    )


def _from_pack(
    pack: list[Candidate], candidates: Sequence[Candidate], chance: Chance
) -> list[Candidate]:
    """The next species, taken from the pack; a new one is shuffled where it is used up."""
    wanted = min(chance.choice(_SPECIES_AT_ONCE), len(candidates))
    if not pack:
        pack += chance.shuffled(candidates)
    first = pack.pop()
    drawn = [first]
    # A species that has only recordings is asked alone: a recording is of one place.
    while first.voices and pack and len(drawn) < wanted and pack[-1].voices:
        drawn.append(pack.pop())
    return drawn


def _recording_of(asked: Candidate, chance: Chance) -> str:
    if not asked.recordings or (asked.voices and chance.next() >= _RECORDED_SHARE):
        return ""
    return chance.choice(asked.recordings)


def _question(
    kind: Kind,
    voices: Sequence[Candidate],
    choices: Sequence[Candidate],
    recording: str,
    chance: Chance,
) -> Question:
    heard = (
        [Voice(species=voices[0].species)]
        if recording
        else [
            Voice(
                species=one.species,
                made_as=chance.choice(one.voices),
                index=chance.choice((1, 2, 3)),
            )
            for one in voices
        ]
    )
    # What calls first must not stand first.
    shown = [one.species for one in choices]
    if kind is not Kind.AS_AT_A_STOP:
        shown = chance.shuffled(shown)
    behind = chance.choice(("", "", *BACKGROUNDS))
    return Question(
        kind=kind,
        voices=tuple(heard),
        choices=tuple(shown),
        celsius=_temperature(heard, chance),
        distance=chance.choice(DISTANCES),
        behind=behind if heard else chance.choice(BACKGROUNDS),
        recording=recording,
        seed=1 + chance.whole(2**31 - 1),
    )


def _temperature(voices: Sequence[Voice], chance: Chance) -> float:
    """Near those at which the calls are known, in whole °C."""
    known = [call.at_celsius for one in voices if (call := call_of(one.made_as)) is not None]
    middle = sum(known) / len(known) if known else chance.between(10, 20)
    near = min(max(middle + chance.between(-3, 3), COLDEST), WARMEST)
    return float(math.floor(near + 0.5))


def _plain(code: str) -> dict[str, Any]:
    call = call_of(code)
    if call is None:
        raise ValueError(f"no call of {code}")
    return call.plain()
