"""Safety words say the same thing on the phone, on Tonight, on the printed sheet and in the guide;
and the presets' rules ask about the weather in which the cautions send people home."""

import html
import json
import re
from pathlib import Path

import pytest

from surveys.guide import cautions as cautions_module
from surveys.guide.cautions import cautions
from surveys.guide.pages import guide_page
from surveys.protocol.rules.table import RULE_SENTENCES

ROOT = Path(__file__).parents[3]
WEB = ROOT / "surveys/web"
PHONE = WEB / "survey/static/survey/screens/stop/phases.js"
CARD = ROOT / "surveys/guide/cautions.py"  # Tonight, the phone and the printed sheet
PAPER = WEB / "tonight/templates/tonight/field_sheet.html"
CAUTIONS = ROOT / "surveys/guide/pages/cautions.md"
SEARCH = WEB / "survey/static/survey/screens/calls/search.js"
CALL_INDEX = ROOT / "surveys/guide/pages/call-index.md"
HOW_TO = ROOT / "surveys/guide/pages/how-to-survey.md"


def words_of(path):
    """The words of a file; strings of Python that go on in the next line are joined."""
    return " ".join(re.sub(r'"\n\s*"', "", path.read_text()).split())


@pytest.mark.parametrize("path", [PHONE, CARD, CAUTIONS, HOW_TO], ids=lambda path: path.name)
def test_hazard_lights_stay_on_where_others_could_come_upon_the_car(path):
    words = words_of(path)
    assert re.search(
        r"hazard lights on wherever others could come upon the car", words, re.IGNORECASE
    )
    assert "headlights" in words.casefold()
    assert not re.search(r"(?<!head)lights off", words, re.IGNORECASE)


@pytest.mark.parametrize("path", [CARD, CAUTIONS, HOW_TO], ids=lambda path: path.name)
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


LIST = WEB / "templates/web/components/cautions.html"


@pytest.mark.parametrize("path", [LIST, PAPER, CAUTIONS], ids=lambda path: path.name)
def test_cautions_defer_to_local_law(path):
    assert re.search(r"local law|the law", words_of(path), re.IGNORECASE)


def test_the_list_is_on_every_surface():
    for template in (
        "tonight/templates/tonight/tonight.html",
        "tonight/templates/tonight/route.html",
    ):
        assert "{% cautions program %}" in (WEB / template).read_text()
    assert "{% cautions program title=" in (WEB / "survey/templates/survey/app.html").read_text()
    assert "{% for caution in cautions %}<li>{{ caution }}</li>" in PAPER.read_text()
    page = guide_page("cautions").html
    for text in cautions():
        assert html.escape(text, quote=False) in page


@pytest.mark.parametrize(
    "words",
    [
        "blaze orange too in hunting season",
        "Alligators:",
        "Venomous snakes:",
        "Fire ants:",
        "Keep repellent and lotion on your hands away from frogs and their water",
        "Thunder: get into a hard-topped car or a building",
        "Wait 30 minutes after the last",
    ],
)
def test_the_list_has(words):
    assert words in " ".join(cautions())


@pytest.mark.parametrize(
    ("region", "named", "not_named"),
    [
        # Where the American alligator lives: the coastal plain of the Southeast and Texas
        # (from memory).
        ("southeast-coastal-plain", {"Alligators", "Venomous snakes", "Fire ants"}, set()),
        ("southern-plains", {"Alligators", "Venomous snakes", "Fire ants"}, set()),
        ("upper-midwest", {"Venomous snakes"}, {"Alligators", "Fire ants"}),
        ("atlantic-canada", set(), {"Alligators", "Venomous snakes", "Fire ants"}),
        (None, {"Alligators", "Venomous snakes", "Fire ants"}, set()),
    ],
)
def test_animals_are_named_where_the_region_has_them(region, named, not_named):
    heads = {text.partition(":")[0] for text in cautions(region)}
    assert named <= heads
    assert not not_named & heads


def test_every_region_of_the_catalog_has_its_animals():
    catalog = json.loads((ROOT / "fixtures/species.json").read_text())
    assert {region["code"] for region in catalog["regions"]} == set(cautions_module._OF_REGION)


def test_the_printed_sheet_and_the_phone_stop_for_thunder_as_the_rule_does():
    sentence = RULE_SENTENCES["out-in-thunder"]
    remedy = " ".join(sentence.remedy)
    (thunder,) = [text for text in cautions() if text.startswith("Thunder:")]
    for words in ("hard-topped car or a building", "30 minutes after the last"):
        assert words in remedy
        assert words in thunder
