"""The phone draws the questions that the server would draw, and makes the same of their answers.
Its side runs in Node.js here."""

import datetime as dt
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

from surveys.learning.seasonal import asked_now
from surveys.protocol.seasons import days_away
from surveys.protocol.values import MonthDay
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
import { askedNow } from "./survey/practice/seasonal.js";
const { draws, calls, answers, tallies, nights } = JSON.parse(readFileSync(0, "utf-8"));
const drawn = draws.map((one) => drawPractice(one.candidates, one.tallies, calls, one.seed));
const rows = answers.map(({ voices, named }) => compare(voices, named));
const seasonal = nights.map(({ night, seasons }) => {
  const codes = Object.keys(seasons).map((species) => ({ species }));
  const { scope, asked } = askedNow(codes, new Map(Object.entries(seasons)), night);
  return [scope, asked.map(({ species }) => species)];
});
process.stdout.write(JSON.stringify({ drawn, rows, seasonal, tallies: tallied(tallies, rows) }));
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Static files of two features stand side by side, as the site serves them."""
    static = tmp_path_factory.mktemp("static")
    for folder in ("practice", "rules"):
        shutil.copytree(WEB / "survey/static/survey" / folder, static / "survey" / folder)
    shutil.copytree(WEB / "calls/static/calls", static / "calls")
    (static / "package.json").write_text('{"type": "module"}')
    (static / "run.js").write_text(RUN)
    return partial(_run, static)


def _run(static, draws=(), answers=(), tallies=None, nights=()):
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
        "nights": nights,
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


def test_the_phone_asks_about_the_same_species_at_each_time_of_the_year(run):
    choice = random.Random(11)
    nights = []
    for _ in range(300):
        days = [choice.randrange(366) for _ in range(13)]
        night, *ends = (dt.date(2024, 1, 1) + dt.timedelta(days=day) for day in days)
        codes = choice.sample(CODES, choice.randint(1, 6))
        seasons = {
            code: None if choice.random() < 0.1 else ends[2 * at : 2 * at + 2]
            for at, code in enumerate(codes)
        }
        nights.append((night, seasons))
    plain = [
        {
            "night": night.isoformat(),
            "seasons": {
                code: season and [day.strftime("%m-%d") for day in season]
                for code, season in seasons.items()
            },
        }
        for night, seasons in nights
    ]
    told = []
    for night, seasons in nights:
        away = {
            code: 0 if season is None else days_away(night, *(_month_day(day) for day in season))
            for code, season in seasons.items()
        }
        scope, asked = asked_now(away)
        told.append([scope.value, [code for code in seasons if code in asked]])
    assert {scope for scope, _ in told} == {"calling", "nearest", "none-calls"}
    assert run(nights=plain)["seasonal"] == told


def _month_day(day):
    return MonthDay(month=day.month, day=day.day)
