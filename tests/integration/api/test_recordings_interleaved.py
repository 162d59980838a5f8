"""A phone with bad luck: requests that get lost before or after the server has worked on them,
come twice, come late or come damaged, in seeded random order. Lost 0, doubled 0."""

import random

import pytest

from surveys.models import (
    Recording,
    RecordingPiece,
)
from tests.support.builders import make_route
from tests.support.sheets import make_draft
from tests.support.sounds import (
    Uploader,
    checksum,
    sound,
)

pytestmark = pytest.mark.django_db
PHONES = 40
MOST_STEPS = 400
FATES = ("through", "through", "through", "lost before", "lost after", "twice")


class LostError(Exception):
    """No answer came."""


class Phone:
    """Sends a recording as recordings.js does: ask how far it is, go on from there."""

    def __init__(self, upload: Uploader, dice: random.Random) -> None:
        self.upload, self.dice = upload, dice
        self.begun = False
        self.late: list[tuple[int, int]] = []
        self.fates: list[str] = []

    def luck(self, send, again=None):
        fate = self.dice.choice(FATES)
        self.fates.append(fate)
        if fate == "lost before":
            raise LostError
        answer = send()
        if fate == "twice" and again:
            again()
        if fate == "lost after":
            raise LostError
        return answer

    def step(self) -> bool:
        """One try; whether the server said that it has the whole."""
        if not self.begun:
            self.begun = self.luck(self.upload.begin, self.upload.begin).status_code == 201
            return False
        response = self.luck(self.upload.head)
        if response["Upload-Complete"] == "?1":
            return True
        return self.send_piece(int(response["Upload-Offset"]))

    def send_piece(self, first: int) -> bool:
        last = first + self.dice.randint(1, 2000)
        self.late.append((first, last))
        headers = {}
        if self.dice.random() < 0.2:
            headers = {"Upload-Checksum": checksum(b"damaged on the way")}
        if self.dice.random() < 0.2:
            # A request that hung in the air for long arrives first.
            self.upload.piece(*self.dice.choice(self.late))
        piece = (first, min(last, len(self.upload.content)))
        answer = self.luck(
            lambda: self.upload.piece(*piece, headers=headers), lambda: self.upload.piece(*piece)
        )
        assert answer.status_code in (204, 409, 460)
        return answer.status_code == 204 and answer["Upload-Complete"] == "?1"


def test_random_failures_lose_and_double_nothing(client_for, observer, program, record_property):
    visit = make_draft(observer, make_route(program))
    client = client_for(observer)
    steps = 0
    for seed in range(PHONES):
        dice = random.Random(seed)
        content = sound(dice.randint(20, 8000), seed=seed)
        upload = Uploader(client=client, visit=visit, content=content)
        phone = Phone(upload, dice)
        for _ in range(MOST_STEPS):
            steps += 1
            try:
                if phone.step():
                    break
            except LostError:
                continue
        else:
            pytest.fail(f"seed {seed}: not there after {MOST_STEPS} steps: {phone.fates}")
        stored = Recording.objects.get(pk=upload.id)
        with stored.audio.open("rb") as file:
            assert file.read() == content, f"seed {seed}"
        assert (stored.state, stored.received) == ("complete", len(content))
    assert Recording.objects.count() == PHONES
    assert not RecordingPiece.objects.exists()
    record_property("phones", PHONES)
    record_property("requests", steps)
