"""Colors of both themes against WCAG 2.2 and against the limit that night.css states.

Contrast and relative luminance: W3C, Web Content Accessibility Guidelines 2.2, "contrast ratio" and
"relative luminance" in the glossary; success criteria 1.4.3 (text 4.5:1) and 1.4.11 (controls 3:1).
"""

import re
from pathlib import Path

import pytest

WEB = Path(__file__).parents[3] / "surveys/web"
CSS = WEB / "static/web/css"
NIGHT_LIMIT = 0.20

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
    ("map-ink", "sheet"), ("sheet", "map-ink"),
]  # fmt: skip
CONTROLS = [
    ("edge", "paper"), ("edge", "sheet"), ("edge", "sunk"),
    ("focus", "paper"), ("focus", "sheet"), ("focus", "sunk"), ("focus", "fill"),
    ("ember", "paper"), ("ember", "sheet"), ("map-ink", "map-ground"),
]  # fmt: skip


def tokens(name: str) -> dict[str, str]:
    text = (CSS / name).read_text()
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", text))


def channels(color: str) -> list[float]:
    values = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]


def luminance(color: str) -> float:
    red, green, blue = channels(color)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(color: str, background: str) -> float:
    dark, light = sorted((luminance(color), luminance(background)))
    return (light + 0.05) / (dark + 0.05)


THEMES = {"day": tokens("tokens.css"), "night": tokens("tokens.css") | tokens("night.css")}


def test_contrast_formula_gives_the_ratios_of_the_standard():
    # 21:1 is the greatest ratio there is (WCAG 2.2, "contrast ratio"); #ff0000 has 0.2126.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert luminance("#ff0000") == pytest.approx(0.2126)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("front", "ground"), TEXT)
def test_text_has_enough_contrast(theme: str, front: str, ground: str):
    assert contrast(THEMES[theme][front], THEMES[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("front", "ground"), CONTROLS)
def test_controls_have_enough_contrast(theme: str, front: str, ground: str):
    assert contrast(THEMES[theme][front], THEMES[theme][ground]) >= 3


def test_night_theme_redefines_every_color():
    assert tokens("tokens.css").keys() == tokens("night.css").keys()


@pytest.mark.parametrize("color", sorted(set(tokens("night.css").values())))
def test_night_theme_is_deep_red_and_dim(color: str):
    _, green, blue = channels(color)
    assert green == blue == 0
    assert luminance(color) <= NIGHT_LIMIT


# These name colors of their own: the two themes, and what goes on white paper.
NAMING = {"tokens.css", "night.css", "print.css", "fieldsheet.css", "poster.css"}


@pytest.mark.parametrize(
    "path", sorted(p for p in WEB.rglob("*.css") if p.name not in NAMING), ids=lambda p: p.name
)
def test_colors_are_defined_in_the_tokens_only(path: Path):
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?!-)", path.read_text()) == []
