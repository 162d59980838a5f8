"""The printable sheet for a night without a phone, letter or A4: a page to fill in, and on its back
the codes, the cautions and where each stop is."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from django.template.loader import render_to_string
from django.utils.translation import gettext_lazy

from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import ChecklistEntry
from surveys.programs.regional import cautions_of
from surveys.programs.versions import units_of
from surveys.protocol.limits.phrases import radius_in_words
from surveys.protocol.own_fields import AskedPer, OwnField
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE,
    SKY,
    Words,
)
from surveys.visits.own_values import own_fields_of
from surveys.visits.sheet.own_fields import asked_per
from surveys.visits.tonight import RouteTonight

PAPERS = {"letter": gettext_lazy("Letter"), "a4": "A4"}
_SIZES_MM = {"letter": (279.4, 215.9), "a4": (297.0, 210.0)}
_MARGINS_MM = (7, 10)
# A page to fill in and its back. What takes one or two more is printed smaller; a long route
# takes its pages.
_PAGES, _MOST_SHRUNK = 2, 4
_SCALES = (1, 0.9, 0.8, 0.7)
BLANK_SPECIES_COLUMNS = 2
# More than this, and names are set smaller, so that none is cut or printed over another.
MOST_LETTERS = 44
MOST_COLUMNS = 17
# Names of columns that are longer take three lines, in a higher head.
MOST_LETTERS_IN_TWO_LINES = 70
MOST_WIND = 6  # Nobody surveys in more.
SKIP_REASONS = (
    gettext_lazy("unsafe to stop"),
    gettext_lazy("road closed"),
    gettext_lazy("no access tonight"),
    gettext_lazy("too noisy to hear"),
    gettext_lazy("weather"),
    gettext_lazy("no time left"),
)

_STYLE = Path(__file__).parent / "static/tonight/fieldsheet.css"


def field_sheet_pdf(
    route_tonight: RouteTonight, member: Membership, checklist: Iterable[ChecklistEntry], paper: str
) -> bytes:
    """The sheet as PDF. `paper` is a key of PAPERS. Nothing is loaded from the network."""
    from surveys.pdf import CSS, HTML  # noqa: PLC0415 - see there

    sheet = HTML(
        string=field_sheet_html(route_tonight, member, checklist), url_fetcher=_no_fetching
    )
    for scale in _SCALES:
        page = CSS(string=_page_style(paper, scale))
        document = sheet.render(stylesheets=[CSS(_STYLE), page])
        if not _PAGES < len(document.pages) <= _MOST_SHRUNK:
            break
    return document.write_pdf(zoom=scale)


def _page_style(paper: str, scale: float) -> str:
    """The style of a page that is as large as the paper once it is printed to scale."""
    width, height, *margins = (mm / scale for mm in (*_SIZES_MM[paper], *_MARGINS_MM))
    margin = " ".join(f"{mm:.2f}mm" for mm in margins)
    return f"@page {{ size: {width:.2f}mm {height:.2f}mm; margin: {margin} }}"


def field_sheet_html(
    route_tonight: RouteTonight, member: Membership, checklist: Iterable[ChecklistEntry]
) -> str:
    species = [entry.species for entry in checklist]
    own = [f for f in own_fields_of(member.program, route_tonight.night) if f.asked]
    columns = [*(kind.name for kind in species), *_headings(own)]
    return render_to_string(
        "tonight/field_sheet.html",
        {
            "route_tonight": route_tonight,
            "program": member.program,
            "observer": member.person,
            "zone": member.program.time_zone,
            "species": species,
            "radius": radius_in_words(route_tonight.protocol, units_of(member.program)),
            "has_joint_entry": any(listed.is_complex for listed in species),
            "own_of_visit": asked_per(own, AskedPer.VISIT),
            "own_of_stop": asked_per(own, AskedPer.STOP),
            "own_words": [(field.label, words) for field in own if (words := _own_words(field))],
            "sizes": _sizes(
                columns,
                [
                    route_tonight.route.name,
                    *(words for stop in route_tonight.stops for words in (stop.name, stop.road)),
                ],
            ),
            "blank_columns": range(BLANK_SPECIES_COLUMNS),
            "call_index": [(index, gettext(words)) for index, words in CALL_INDEX.items()],
            "sky": _legend(SKY, route_tonight.protocol.sky_codes),
            "noise": _legend(NOISE, route_tonight.protocol.noise_codes),
            "codes": route_tonight.protocol.sky_codes or route_tonight.protocol.noise_codes,
            "wind": [(row.force, gettext(row.sign)) for row in BEAUFORT[: MOST_WIND + 1]],
            "cautions": list(cautions_of(member.program)),
            "skip_reasons": gettext(", ").join(map(str, SKIP_REASONS)),
        },
    )


def _headings(own: Iterable[OwnField]) -> list[str]:
    return [field.heading for field in asked_per(own, AskedPer.STOP)]


def _sizes(columns: Sequence[str], places: Sequence[str]) -> str:
    """Classes of the style sheet, by how long names are and how many columns there are."""
    longest = max(map(len, (*columns, *places)), default=0)
    is_tight = longest > MOST_LETTERS or len(columns) + BLANK_SPECIES_COLUMNS > MOST_COLUMNS
    is_high = max(map(len, columns), default=0) > MOST_LETTERS_IN_TWO_LINES
    return " ".join(["is-tight"] * is_tight + ["is-high"] * is_high)


def _legend(words: Mapping[str, Words], codes: Mapping[str, str]) -> list[tuple[str, str]]:
    """What to write for each state, and its sign: the code of the protocol before the name."""
    return [
        (
            " ".join((*(code for code in codes if codes[code] == state), gettext(told.name))),
            gettext(told.sign),
        )
        for state, told in words.items()
    ]


def _own_words(field: OwnField) -> str:
    """What to write in an own field: what its help says, and what may be chosen."""
    choices = ", ".join(label for _, label in field.choices)
    return ": ".join(part for part in (field.help.rstrip("."), choices) if part)


def _no_fetching(url: str) -> dict[str, object]:
    raise ValueError(said("The sheet may not load {url}.", url=url))
