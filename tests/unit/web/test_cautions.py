"""Safety words say the same thing on the phone, on Tonight, on the printed sheet and in the guide;
and the presets' rules ask about the weather in which the cautions send people home."""

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
WEB = ROOT / "surveys/web"
PHONE = WEB / "survey/static/survey/screens/stop/phases.js"
CARD = WEB / "templates/web/components/cautions.html"  # Tonight and the phone
PAPER = WEB / "tonight/templates/tonight/field_sheet.html"
CAUTIONS = ROOT / "surveys/guide/pages/cautions.md"
SEARCH = WEB / "survey/static/survey/screens/calls/search.js"
CALL_INDEX = ROOT / "surveys/guide/pages/call-index.md"
HOW_TO = ROOT / "surveys/guide/pages/how-to-survey.md"


def words_of(path):
    return " ".join(path.read_text().split())


@pytest.mark.parametrize("path", [PHONE, CARD, PAPER, CAUTIONS, HOW_TO], ids=lambda path: path.name)
def test_hazard_lights_stay_on_where_others_could_come_upon_the_car(path):
    words = words_of(path)
    assert re.search(
        r"hazard lights on wherever others could come upon the car", words, re.IGNORECASE
    )
    assert "headlights" in words.casefold()
    assert not re.search(r"(?<!head)lights off", words, re.IGNORECASE)


@pytest.mark.parametrize("path", [CARD, PAPER, CAUTIONS, HOW_TO], ids=lambda path: path.name)
@pytest.mark.parametrize(
    "weather",
    ["thunder", "heavy rain", "snow", "ice", "flood", "fog too thick to drive safely"],
)
def test_the_weather_that_ends_a_night_is_the_same_everywhere(path, weather):
    assert re.search(rf"\b{weather}", words_of(path))


def test_every_preset_asks_about_heavy_rain_and_snow():
    presets = json.loads((ROOT / "fixtures/protocol_presets.json").read_text())
    protocols = [preset["protocol"] for preset in presets["presets"]]
    assert protocols
    for protocol in protocols:
        assert {"snow", "heavy_rain", "thunder"} <= set(protocol["forbidden_skies"])


@pytest.mark.parametrize("path", [SEARCH, PAPER, CALL_INDEX], ids=lambda path: path.name)
def test_a_call_without_a_name_is_a_note_and_no_record(path):
    words = words_of(path)
    assert "heard, not named" in words
    assert not re.search(r"(tap|choose|mark) [^.]{0,20}at the nearest", words, re.IGNORECASE)


@pytest.mark.parametrize("path", [CARD, PAPER, CAUTIONS], ids=lambda path: path.name)
def test_cautions_defer_to_local_law(path):
    assert re.search(r"local law|the law", words_of(path), re.IGNORECASE)
