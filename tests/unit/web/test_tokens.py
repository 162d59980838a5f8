"""Colors of both themes against WCAG 2.2 and against the limit that night.css states.

Contrast and relative luminance: W3C, Web Content Accessibility Guidelines 2.2, "contrast ratio" and
"relative luminance" in the glossary; success criteria 1.4.3 (text 4.5:1) and 1.4.11 (controls 3:1).
"""

import re
from pathlib import Path

import pytest

from surveys.web.design import design_context
from surveys.web.themes import BRIGHTEST, BRIGHTEST_GROUND, NIGHTS

WEB = Path(__file__).parents[3] / "surveys/web"
CSS = WEB / "static/web/css"

TEXT = [
    ("ink", "paper"), ("ink", "sheet"), ("ink", "sunk"), ("ink", "fill"),
    ("muted", "paper"), ("muted", "sheet"), ("muted", "sunk"),
    ("link", "paper"), ("link", "sheet"), ("link", "sunk"),
    ("ink", "refuse-tint"), ("ink", "query-tint"), ("ink", "note-tint"), ("ink", "settled-tint"),
    ("refuse", "refuse-tint"), ("refuse", "paper"), ("refuse", "sheet"),
    ("query", "query-tint"), ("query", "sheet"), ("note", "note-tint"), ("note", "sheet"),
    ("settled", "settled-tint"), ("settled", "sheet"),
    ("on-dusk", "dusk"), ("on-sky", "sky-1"), ("on-sky", "sky-2"), ("on-count", "count"),
    ("on-ci-0", "ci-0"), ("on-ci-1", "ci-1"), ("on-ci-2", "ci-2"), ("on-ci-3", "ci-3"),
    ("map-ink", "sheet"), ("sheet", "map-ink"), ("map-name", "map-land"),
]  # fmt: skip
CONTROLS = [
    ("edge", "paper"), ("edge", "sheet"), ("edge", "sunk"),
    ("focus", "paper"), ("focus", "sheet"), ("focus", "sunk"), ("focus", "fill"),
    ("ember", "paper"), ("ember", "sheet"), ("map-ink", "map-ground"),
    ("map-ink", "map-land"), ("map-border", "map-land"), ("map-road", "map-land"),
]  # fmt: skip


def tokens(name: str, night: str = "") -> dict[str, str]:
    """Of a sheet, in the block of a light of the night where it has one."""
    text = (CSS / name).read_text()
    start = text.index(f'[data-night="{night}"]' if night else ":root {")
    block = text[start : text.index("}", start)]
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", block))


def channels(color: str) -> list[float]:
    values = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]


def luminance(color: str) -> float:
    red, green, blue = channels(color)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(color: str, background: str) -> float:
    dark, light = sorted((luminance(color), luminance(background)))
    return (light + 0.05) / (dark + 0.05)


LIGHTS = {"red": tokens("night.css")} | {
    light: tokens("night.css", light) for light in NIGHTS if light != "red"
}
THEMES = {"day": tokens("tokens.css"), **LIGHTS}
LARGE_AREAS = ("paper", "sheet", "sunk", "fill", "map-ground", "map-land")


def test_contrast_formula_gives_the_ratios_of_the_standard():
    # 21:1 is the greatest ratio there is (WCAG 2.2, "contrast ratio"); #ff0000 has 0.2126.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert luminance("#ff0000") == pytest.approx(0.2126)


@pytest.mark.parametrize("theme", THEMES)
def test_text_and_controls_have_enough_contrast(theme: str):
    colors = THEMES[theme]
    pairs = [(4.5, *pair) for pair in TEXT] + [(3, *pair) for pair in CONTROLS]
    found = {(front, ground): contrast(colors[front], colors[ground]) for _, front, ground in pairs}
    assert {(f, g): found[f, g] for least, f, g in pairs if found[f, g] < least} == {}


@pytest.mark.parametrize("light", NIGHTS)
def test_the_night_is_dim_in_every_light(light: str):
    """Its limits stand on the design page."""
    colors = LIGHTS[light]
    assert colors.keys() == tokens("tokens.css").keys()
    assert max(luminance(color) for color in colors.values()) <= BRIGHTEST
    assert max(luminance(colors[name]) for name in LARGE_AREAS) < BRIGHTEST_GROUND
    for red, green, blue in map(channels, colors.values()):
        assert {
            "red": green == blue == 0,
            "amber": blue == 0,
            "white": red == green == blue,
        }[light], (red, green, blue)


def test_the_design_page_states_the_limits_of_the_night():
    said = str(design_context()["night_limits"])
    assert f"relative luminance {BRIGHTEST:.2f}" in said
    assert f"below {BRIGHTEST_GROUND}" in said


def test_outside_its_tokens_the_night_names_no_color():
    text = (CSS / "night.css").read_text()
    rest = re.sub(r"--[a-z0-9-]+: #[0-9a-f]{6};|/\*.*?\*/", "", text, flags=re.DOTALL)
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?!-)", rest) == []


# These name colors of their own: the two themes, and what goes on white paper.
NAMING = {"tokens.css", "night.css", "print.css", "fieldsheet.css", "poster.css"}


@pytest.mark.parametrize(
    "path", sorted(p for p in WEB.rglob("*.css") if p.name not in NAMING), ids=lambda p: p.name
)
def test_colors_are_defined_in_the_tokens_only(path: Path):
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?!-)", path.read_text()) == []
