"""The Flesch-Kincaid grade of a text: the school year of the United States that reads it easily.

Formula and constants: J. P. Kincaid, R. P. Fishburne, R. L. Rogers, B. S. Chissom (1975),
*Derivation of new readability formulas for Navy enlisted personnel*, Research Branch Report 8-75,
Naval Technical Training, Millington, Tennessee: 0.39 x words per sentence + 11.8 x syllables per
word - 15.59.

Syllables are counted by groups of vowels, because no dictionary of them is among the packages of
the project. Names of species are learned as one name and count as one short word, as do numbers
with their unit. Tables, headings and titles of published works are no running text and are left
out.
"""

import re
from collections.abc import Iterable

_NAME = " Frog "
_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
_UNIT = r"(?:°[CF]?|%|km/h|mph|km|min|cm|mm|m|s|h|in|am|pm|ft|MB)(?!\w)"
_NUMBER = re.compile(rf"[−-]?\d[\d.,:/–-]*(?:[ \u00a0]?{_UNIT})?")
_SENTENCE_END = re.compile(r"[.!?…]+[\"'”’)*]*(?=\s|$)|\n")
_CITED = re.compile(r"\s*\([^()]*\b(?:18|19|20)\d\d\b[^()]*\)")
_VOWELS = re.compile(r"[aeiouy]+")
# Two vowels that are spoken apart: area, create, dial, period, usual, going.
_TWO_IN_A_GROUP = re.compile(
    r"(?<![cstgl])i[ao]|ie(?=t)|(?<!q)u[ae](?!$|s$)|rea(?=$|t[eio])|ea$|[aeiouy]ing|eo(?!p)|ao"
)
# A last e that is not spoken: made, times, passed; but noises, judges, wanted, table.
_SILENT_END = re.compile(
    r"(?:[^aeiouyl]|[aeiouy]l|[rl]l)e$|[^aeiouylscgzxh]es$|[^aeiouydt]ed$|[aeiouy]les$"
)


def grade(text: str, names: Iterable[str] = ()) -> float:
    """Grade of plain text; each line break ends a sentence.

    >>> round(grade("The cat sat on the mat."), 2)
    -1.45
    """
    sentences, words, syllables = counts(text, names)
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def counts(text: str, names: Iterable[str] = ()) -> tuple[int, int, int]:
    """Sentences, words and syllables of plain text."""
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"\b{re.escape(name)}s?\b", _NAME, text, flags=re.IGNORECASE)
    text = _NUMBER.sub(" one ", text)
    sentences = [_WORD.findall(part) for part in _SENTENCE_END.split(text)]
    filled = [words for words in sentences if words]
    words = [word for part in filled for word in part]
    if not words:
        raise ValueError("No words to grade.")
    return len(filled), len(words), sum(map(syllables_of, words))


def sentences_of(text: str) -> list[str]:
    """The sentences of plain text, without the works that they cite in parentheses.

    >>> sentences_of("It stays (Wilson 1927, Journal 22:209). Does it?")
    ['It stays.', 'Does it?']
    """
    text = _CITED.sub("", text)
    ends = [found.end() for found in _SENTENCE_END.finditer(text)]
    parts = (text[begin:end].strip() for begin, end in zip([0, *ends], [*ends, None], strict=True))
    return [part for part in parts if _WORD.search(part)]


def syllables_of(word: str) -> int:
    """Syllables of an English word by its groups of vowels.

    >>> [syllables_of(word) for word in ("frog", "survey", "made", "wanted", "area", "species")]
    [1, 2, 1, 2, 3, 2]
    """
    word = word.lower().replace("’", "'").removesuffix("'s")
    groups = len(_VOWELS.findall(word)) + len(_TWO_IN_A_GROUP.findall(word))
    if groups > 1 and _SILENT_END.search(word):
        groups -= 1
    return max(groups, 1)


def running_text(markdown: str) -> str:
    """Sentences of a page of Markdown, a paragraph or item a line; no headings, tables or links."""
    lines: list[str] = []
    for block in re.split(r"\n\s*\n|\n(?=[-*] |\d+\. )", markdown):
        block = " ".join(block.split())
        if not block or block.startswith(("#", "|", "Source:", "Sources:")):
            continue
        block = re.sub(r"^(?:[-*]|\d+\.) ", "", block)
        block = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", block)
        block = re.sub(r"`[^`]*`", "code", block)
        lines.append(block.replace("*", ""))
    return "\n".join(lines)
