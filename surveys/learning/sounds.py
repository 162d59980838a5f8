"""What is heard in a question: a WAV file that is made anew each time, always the same."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from surveys.sound.questions import Question
from surveys.sound.synthesis import samples_of, wave_file

MADE_TYPE = "audio/wav"


def made_sound(question: Question, calls: Mapping[str, Mapping[str, Any]] | None = None) -> bytes:
    """The sound of a question without a recording. `calls` were kept with the question."""
    return wave_file(samples_of(question.scene(calls)))
