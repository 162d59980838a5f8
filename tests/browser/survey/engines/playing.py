"""Recordings of every kind that phones make, on the page of review."""

from collections.abc import Sequence

from accounts.models import Membership
from surveys.models import Recording, Visit
from tests.browser.survey.engines.hands import Hand
from tests.support.callers import Caller, sung
from tests.support.encoded import encoded
from tests.support.sounds import keep

KINDS = ("AAC in MP4", "Opus in Ogg", "Vorbis in Ogg", "Opus in WebM")
SECONDS = 2
# How far a player has come once it is heard, how long the sound is, and what went wrong.
HEARD = """async (selector) => {
  const audio = document.querySelector(selector);
  while (audio.currentTime < 0.2 && !audio.error)
    await new Promise((resolve) => setTimeout(resolve, 30));
  const { currentTime, duration, error } = audio;
  audio.pause();
  return [currentTime, duration, error?.message ?? ""];
}"""


def recordings_of_all_kinds(member: Membership, visit: Visit) -> list[Recording]:
    wave = sung([Caller(pitch_hz=2800)], snr_db=20, seconds=SECONDS)
    files = [encoded(name, wave) for name in KINDS]
    return [
        keep(member, visit, content, media_type=media_type, seconds=SECONDS)
        for content, media_type in files
    ]


def player_of(recording: Recording) -> str:
    return f"#recording-{recording.pk} + .veil audio"


def plays_all(hand: Hand, recordings: Sequence[Recording]) -> None:
    """On the page that is open, each plays from a tap on its player."""
    for recording in recordings:
        hand.tap("", player_of(recording))
        is_heard(recording, hand.run(HEARD, player_of(recording)))


def is_heard(recording: Recording, heard: tuple[float, float, str]) -> None:
    """Without an error, and so that a player can jump: it knows the length."""
    seconds, length, error = heard
    assert error == "", f"{recording.media_type} does not play: {error}"
    assert seconds >= 0.2
    # The sound of an evening may be shorter than a second, see `test_evening.py`.
    assert 0.5 < length < 20
