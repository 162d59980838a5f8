"""The phone draws the questions that the server would draw, and makes the same of their answers.
Its side runs in Node.js here."""

import json
import random
import shutil
import subprocess
from collections import Counter
from dataclasses import asdict
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from surveys.sound.calls import calls
from surveys.sound.chance import Chance
from surveys.sound.questions import Candidate, Kind, Tally, draw_practice, tallied
from surveys.sound.scoring import compare

WEB = Path(__file__).parents[3] / "surveys/web"
CODES = sorted(calls())
RUN = """
import { readFileSync } from "node:fs";
import { drawPractice } from "./survey/practice/questions.js";
import { compare, tallied } from "./survey/practice/scoring.js";
const { draws, calls, answers, tallies } = JSON.parse(readFileSync(0, "utf-8"));
const drawn = draws.map((one) => drawPractice(one.candidates, one.tallies, calls, one.seed));
const rows = answers.map(({ voices, named }) => compare(voices, named));
process.stdout.write(JSON.stringify({ drawn, rows, tallies: tallied(tallies, rows) }));
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Static files of two features stand side by side, as the site serves them."""
    static = tmp_path_factory.mktemp("static")
    shutil.copytree(WEB / "survey/static/survey/practice", static / "survey/practice")
    shutil.copytree(WEB / "calls/static/calls", static / "calls")
    (static / "package.json").write_text('{"type": "module"}')
    (static / "run.js").write_text(RUN)
    return partial(_run, static)


def _run(static, draws=(), answers=(), tallies=None):
    plain = {
        "draws": [
            {
                "candidates": [{**asdict(one), "alike": sorted(one.alike)} for one in candidates],
                "tallies": {code: asdict(tally) for code, tally in known.items()},
                "seed": seed,
            }
            for candidates, known, seed in draws
        ],
        "calls": {code: call.plain() for code, call in calls().items()},
        "answers": answers,
        "tallies": tallies or {},
    }
    ran = subprocess.run(
        ["node", "--no-warnings", static / "run.js"],
        input=json.dumps(plain).encode(),
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert ran.returncode == 0, ran.stderr.decode()
    return json.loads(ran.stdout)


def some_draws(number=400):
    """Few and many candidates: with a call, with two, with recordings, with both."""
    chance = random.Random(17)
    draws = []
    for _ in range(number):
        codes = chance.sample(CODES, chance.choice((1, 2, 3, 6, 20)))
        candidates = [
            Candidate(
                species=code,
                voices=chance.choice(((), (code,), (code, chance.choice(CODES)))),
                recordings=chance.choice(((), ("one",), ("one", "two"))),
                alike=frozenset(
                    chance.sample(codes, min(2, len(codes))) if chance.random() < 0.5 else ()
                ),
            )
            for code in codes
        ]
        asked = [one for one in candidates if one.voices or one.recordings]
        known = {
            code: Tally(
                right=chance.randrange(9),
                wrong=chance.randrange(9),
                named_instead={other: chance.randrange(4) for other in chance.sample(codes, 1)},
            )
            for code in codes
            if chance.random() < 0.6
        }
        if asked:
            draws.append((asked, known, chance.randrange(2**32)))
    return draws


def test_phone_and_server_draw_the_same_question(run):
    draws = some_draws()
    theirs = run(draws)["drawn"]
    kinds = Counter()
    for (candidates, known, seed), question in zip(draws, theirs, strict=True):
        own = draw_practice(candidates, known, seed=seed)
        assert json.loads(json.dumps(own.plain())) == question
        kinds[own.kind, bool(own.recording), len(own.voices)] += 1
    assert {kind for kind, *_ in kinds} == {Kind.WHICH_ONE, Kind.WHICH_OF_THESE, Kind.WHICH_INDEX}
    assert {voices for *_, voices in kinds} == {1, 2, 3}
    assert {recorded for _, recorded, _ in kinds} == {True, False}


def test_phone_and_server_make_the_same_of_an_answer(run):
    first, second, third = CODES[:3]
    answers = [
        ({first: 2}, {second: None}),
        ({first: 2, second: 1}, {second: None, third: None}),
        ({first: None}, {first: None}),
        ({first: None}, {first: 2}),
        ({second: 3}, {second: 2}),
        ({second: 3}, {second: 3}),
    ]
    plain = [
        {
            "voices": [{"species": code, "index": index} for code, index in there.items()],
            "named": named,
        }
        for there, named in answers
    ]
    found = run(answers=plain)
    own = [compare(there, named) for there, named in answers]
    assert found["rows"] == [[asdict(row) for row in rows] for rows in own]
    assert found["tallies"] == {code: asdict(tally) for code, tally in tallied(own).items()}
    assert found["tallies"][first]["named_instead"] == {second: 1, third: 1}
    twice = run(answers=plain, tallies=found["tallies"])["tallies"]
    assert twice == {code: asdict(tally) for code, tally in tallied([*own, *own]).items()}


@pytest.mark.parametrize(("right", "wrong"), [(0, 0), (3, 0), (2, 7)])
def test_shares_are_drawn_from_a_beta_distribution(right, wrong):
    """Against scipy.stats.beta, by Kolmogorov and Smirnov's test."""
    chance = Chance(5)
    drawn = [chance.beta(right, wrong) for _ in range(2000)]
    found = stats.kstest(drawn, stats.beta(right + 1, wrong + 1).cdf)
    assert found.pvalue > 0.01
    assert np.std(drawn) > 0
