"""The words of the program: one for each thing, with what it means and what is not said instead.

The page "Words we use" of the guide shows this list, and a test holds every visible text to it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True)
class Word:
    """A word with its meaning.

    `instead_of` are regular expressions of the words that are not used for the same thing.
    """

    word: str
    meaning: str
    instead_of: tuple[str, ...] = ()


WORDS = (
    Word(
        "visit",
        "One route, surveyed on one night.",
    ),
    Word(
        "survey window",
        "The days of the year in which one visit is due.",
        (r"season windows?",),
    ),
    Word(
        "quiet wait",
        "The quiet minutes between arriving at a stop and listening.",
        (r"settling (?:wait|time)", r"let them settle"),
    ),
    Word(
        "listening period",
        "The minutes in which you listen at one stop on one visit.",
        (
            (
                r"(?:a|each|every|one|unbroken|broken|longer|shorter) listening\b"
                r"(?! (?:period|time|radius))"
            ),
            r"listenings",
        ),
    ),
    Word(
        "listening radius",
        "How far from the stop a call may be to count. Many protocols have none: a call counts at"
        " any distance.",
        (r"listening distance",),
    ),
    Word(
        "near",
        "You heard at least one within the listening radius.",
    ),
    Word(
        "far",
        "You heard the species, but all were beyond the listening radius. Not a detection in"
        " trends.",
    ),
    Word(
        "question",
        "Something in a visit that breaks the protocol, or may break it. The coordinator resolves"
        " it.",
        (r"quer(?:y|ies)(?! (?:string|parameter))", r"what the rules say", r"remarks?"),
    ),
    Word(
        "must fix",
        "An entry that is not possible. Fix it before you submit the visit.",
        (r"mend(?:s|ed|ing)?", r"amiss", r"put(?:ting)? .{1,30} right"),
    ),
    Word(
        "note",
        "Something worth knowing. No one has to do anything.",
    ),
    Word(
        "resolve",
        "What the coordinator does with a question: decide whether the record counts or is"
        " excluded from trends, and say why.",
        (r"settle(?:s|d)?", r"settling"),
    ),
    Word(
        "counts",
        "Used in Seasons, Trends and publications.",
    ),
    Word(
        "excluded from trends",
        "Kept in the records, but the trend methods do not use it.",
        (r"left out of trends", r"leave .{1,20} out of trends"),
    ),
    Word(
        "set aside",
        "A visit that is kept, not used: a duplicate, a test, a wrong route.",
    ),
    Word(
        "own field",
        "A line that your program adds to its sheets, such as salinity.",
        (r"custom fields?", r"extra fields?"),
    ),
    Word(
        "submit",
        "Send a finished visit to the coordinator.",
        (r"hand(?:s|ed|ing)? (?:[\w’]+ ){0,3}in",),
    ),
    Word(
        "save tonight on this phone",
        "Load a route with its stops, protocol and species list while you have signal.",
        (r"(?:take|taken|took|takes) (?:\w+ )?along", r"packets?"),
    ),
    Word(
        "delete",
        "Remove a draft or a recording. You can restore a deleted draft on the phone for two"
        " weeks.",
        (r"thr(?:ow|ows|own|ew|owing) .{0,20}away",),
    ),
    Word(
        "uncorrected",
        "A share of sites as heard, with no allowance for frogs that were there but not heard.",
        (r"naive", r"plain shares?"),
    ),
    Word(
        "water level",
        "How full the wetland at a stop is tonight.",
        (r"water tonight", r"water at the stop tonight"),
    ),
    Word(
        "call-identification test",
        "A test of how well an observer knows the calls.",
        (r"(?:listening|hearing) tests?",),
    ),
    Word(
        "revoke",
        "Make an access token or a link stop working.",
        (r"tak(?:e|es|en) back", r"took back"),
    ),
    Word(
        "exact locations",
        "Where stops really are, before they are blurred.",
        (r"exact places?",),
    ),
    Word(
        "unknown",
        "We cannot check a limit because a value is missing.",
        (r"can(?:not|’t)? be (?:told|said)(?! apart)",),
    ),
    Word(
        "start over",
        "Listen again from the beginning after a loud event.",
        (r"anew", r"beg[iau]n(?:s|ning)? again"),
    ),
    Word(
        "in effect",
        "Said of the version of a protocol that a night is checked against.",
        (r"in force",),
    ),
    Word(
        "per year",
        "How often or how fast: 3 visits per year, a decline of 2% per year.",
        (
            (
                r"(?:[\d.]*[%…]|changes?|odds|visits?|days|percent|points|occupancy)"
                r" an? (?:year|decade)"
            ),
        ),
    ),
    Word(
        "continue",
        "Do the next step.",
        (r"go(?:es|ing)? on(?= |$)(?! (?:a|the|to) (?:map|road|page))",),
    ),
    Word(
        "stop early",
        "End a night before the last stop.",
        (r"br(?:oken?|eak|eaking) off",),
    ),
    Word(
        "someone",
        "A person, whoever it is.",
        (r"somebod(?:y|ies)", r"anybody", r"everybody", r"nobody"),
    ),
    Word(
        "email",
        "What this site sends to your email address.",
        (r"mails?(?! (?:server|program))", r"mailed", r"mailing(?!\.py)"),
    ),
)


def words_table() -> str:
    """The list as a table of Markdown, in the order of the alphabet."""
    rows = [f"| {word.word} | {word.meaning} |" for word in sorted(WORDS, key=lambda w: w.word)]
    return "\n".join(["| Word | What it means |", "|---|---|", *rows, ""])


@cache
def _forbidden() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple(
        (re.compile(rf"(?<![\w-])(?:{old})(?![\w-])", re.IGNORECASE), word.word)
        for word in WORDS
        for old in word.instead_of
    )


def old_words(text: str) -> Iterator[tuple[str, str]]:
    """Words in a text that the list replaces, each with the word to use.

    >>> list(old_words("Mend it, then hand it in."))
    [('Mend', 'must fix'), ('hand it in', 'submit')]
    """
    for pattern, word in _forbidden():
        for match in pattern.finditer(text):
            yield match[0], word
