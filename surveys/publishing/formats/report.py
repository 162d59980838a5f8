"""The report for people who read: a PDF of the same numbers, pictures and words as everywhere.

Nothing is fetched: pictures are drawn from the frozen tables, and the fonts are those of the
machine (DejaVu).
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_lowercase
from typing import TYPE_CHECKING, Any

from django.template.loader import render_to_string

from surveys.charts.chart_alt import chart_alt
from surveys.charts.chorus import chorus_sentence
from surveys.charts.model_words import model_in_words
from surveys.charts.sensitivity import CheckRow, check_rows, check_sentence
from surveys.charts.shares import (
    SpeciesChart,
    species_chart,
    species_spec,
    to_svg,
)
from surveys.charts.small import small_svg
from surveys.charts.together import community_words, null_words
from surveys.charts.whole_program import whole_sentence, whole_shares
from surveys.charts.words import (
    FALLING,
    MARKS,
    NOT_TOLD,
    RISING,
    UNCLEAR,
    all_flags,
    direction,
    flag_words,
    headline,
    share_with_interval,
    trend_sentence,
)
from surveys.dates import day, short_month_day
from surveys.guide.pages import guide_page
from surveys.language import gettext, grouped, ngettext, ngettext_lazy, said, said_of
from surveys.protocol.words import listed, number
from surveys.publishing.formats.far_and_own import far_calls, own_fields
from surveys.publishing.formats.routemap import (
    RouteMap,
    route_map,
)
from surveys.publishing.frozen import (
    About,
    Frozen,
)
from surveys.publishing.naming import (
    thanks,
)
from surveys.publishing.species_summaries import (
    SpeciesSummary,
    species_summaries,
)
from surveys.publishing.tables import TABLES
from surveys.trends import SpeciesYear
from surveys.trends.community import community_of
from surveys.trends.null_run import NullRun
from surveys.trends.result_tables import null_run_from_row

if TYPE_CHECKING:
    from surveys.pdf import Document

SITE = "stop"
STYLE = Path(__file__).parent / "report.css"
_MAP = "picture:map"
# Where the list of species without a page stands.
NOT_SURVEYED = "not-surveyed"
# What the rows of a table are.
_NOUNS = {
    "routes": ngettext_lazy("route", "routes", ""),
    "stops": ngettext_lazy("stop", "stops", ""),
    "visits": ngettext_lazy("accepted visit", "accepted visits", ""),
    "periods": ngettext_lazy("listening period", "listening periods", ""),
}
_OBSERVERS = ngettext_lazy("observer", "observers", "")
_VARIANT = "pdf/ua-1"


@dataclass(frozen=True, kw_only=True)
class SpeciesPage:
    """What the report says of one species; `picture` and `small` are names of pictures, `way` is
    the key of its direction."""

    summary: SpeciesSummary
    anchor: str
    way: str
    direction: str
    mark: str
    headline: str
    sentence: str
    whole: str
    chorus: str
    alt: str
    picture: str
    small: str
    years: tuple[tuple[str, ...], ...]
    has_whole: bool
    notes: tuple[tuple[str, str, str], ...]
    trend_notes: str
    null_run: str
    checks: tuple[CheckRow, ...]
    detection_model: str
    occupancy_model: str
    check_sentence: str


@dataclass(frozen=True, kw_only=True)
class Limits:
    """A version of a protocol in words."""

    name: str
    since: str
    limits: tuple[tuple[str, str], ...]
    windows: tuple[str, ...]
    source: str


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """The species with their pictures by name, and the map where there is one."""

    pages: tuple[SpeciesPage, ...]
    pictures: Mapping[str, str]
    map: RouteMap | None


def write(frozen: Frozen, target: Path) -> None:
    """`report.pdf`, tagged for screen readers (PDF/UA-1), the same bytes from the same tables."""
    text, drawn = html_of(frozen)
    laid_out(text, drawn).write_pdf(
        target,
        pdf_variant=_VARIANT,
        pdf_identifier=hashlib.sha256(text.encode()).digest()[:16],
    )


def html_of(frozen: Frozen) -> tuple[str, Drawn]:
    """The report as HTML, and the pictures that it names."""
    drawn = draw(frozen)
    return render_to_string("publishing/report.html", _context(frozen, drawn)), drawn


def laid_out(text: str, drawn: Drawn) -> Document:
    """The pages, before they are written."""
    from surveys.pdf import CSS, HTML, Pictures  # noqa: PLC0415 - see there

    page = HTML(string=text, url_fetcher=Pictures(drawn.pictures))
    return page.render(stylesheets=[CSS(STYLE)], pdf_variant=_VARIANT)


def draw(frozen: Frozen) -> Drawn:
    pictures: dict[str, str] = {}
    runs = {row["species"]: null_run_from_row(row) for row in frozen.records("null_runs")}
    pages = tuple(
        _species_page(summary, number, frozen.about, pictures, runs.get(summary.scientific_name))
        for number, summary in enumerate(species_summaries(frozen, site=SITE), start=1)
    )
    plan = route_map(frozen)
    if plan is not None:
        pictures[_MAP] = plan.svg
    return Drawn(pages=pages, pictures=pictures, map=plan)


def chart_of(summary: SpeciesSummary, about: About) -> SpeciesChart:
    """The picture that the page of the species shows too, with the same title."""
    return species_chart(summary.result, site=SITE, title=f"{summary.name}, {about.program}")


def _context(frozen: Frozen, drawn: Drawn) -> dict[str, Any]:
    about, pages = frozen.about, drawn.pages
    cautions = guide_page("cautions")
    first, *sections = _sections(about.method)
    return {
        "about": about,
        "span": _span(about),
        "published": day(about.published_at.date()),
        "stamp": about.published_at.date().isoformat(),
        "counts": _counts(frozen, pages),
        "overview": overview(pages),
        "together": community_words(
            community_of(
                [(page.summary.name, page.summary.result.trend.occupancy) for page in pages]
            )
        ),
        "pages": pages,
        "surveyed": [page for page in pages if page.picture],
        "not_surveyed": [page for page in pages if not page.picture],
        "map": drawn.map,
        "map_name": _MAP,
        "places": _places(frozen),
        "effort": _effort(frozen),
        "far_calls": far_calls(frozen),
        "own_fields": own_fields(frozen),
        "made": first[1],
        "sections": sections,
        "protocols": [_limits(row) for row in frozen.records("protocols")],
        "thanks": thanks(about),
        "cautions": cautions.html if cautions else "",
        "checksums": [(table.file, _sha256(frozen.folder / table.file)) for table in TABLES],
    }


def _species_page(
    summary: SpeciesSummary,
    number: int,
    about: About,
    pictures: dict[str, str],
    run: NullRun | None,
) -> SpeciesPage:
    chart, result = chart_of(summary, about), summary.result
    picture, small = f"picture:species-{number}", f"picture:small-{number}"
    if result.years:
        pictures[picture] = to_svg(species_spec(chart))
    pictures[small] = small_svg(chart)
    way = direction(result)
    letters = dict(zip(all_flags(result), ascii_lowercase, strict=False))
    return SpeciesPage(
        summary=summary,
        anchor=f"species-{number}" if result.years else NOT_SURVEYED,
        way=way,
        direction=gettext(way),
        mark=MARKS[way],
        headline=headline(result),
        sentence=trend_sentence(summary.name, result, SITE),
        whole=whole_sentence(result, SITE),
        chorus=chorus_sentence(result),
        alt=chart_alt(summary.name, result, SITE),
        picture=picture if result.years else "",
        small=small,
        years=tuple(_year_cells(year, letters, whole_shares(result)) for year in result.years),
        has_whole=bool(whole_shares(result)),
        notes=tuple(
            (letter, name, words)
            for flag, letter in letters.items()
            for name, words in flag_words([flag])
        ),
        trend_notes=_letters(result.trend.occupancy.flags, letters),
        null_run=null_words(run) if run else "",
        checks=tuple(check_rows(result)),
        detection_model=model_in_words(result.trend.detection_model),
        occupancy_model=model_in_words(result.trend.occupancy_model),
        check_sentence=check_sentence(result),
    )


def _year_cells(
    year: SpeciesYear, letters: Mapping[str, str], whole: Mapping[int, str]
) -> tuple[str, ...]:
    first, last = year.first_night, year.last_night
    nights = f"{short_month_day(first)} – {short_month_day(last)}" if first and last else ""
    return (
        str(year.season_year),
        str(year.sites),
        str(year.sites_heard),
        share_with_interval(year.naive),
        share_with_interval(year.occupancy),
        *([whole.get(year.season_year, "")] if whole else ()),
        share_with_interval(year.detection),
        nights,
        _letters(year.occupancy.flags, letters),
    )


def _letters(flags: Iterable[str], letters: Mapping[str, str]) -> str:
    return " ".join(sorted({letters[flag] for flag in flags}))


def overview(pages: Sequence[SpeciesPage]) -> str:
    """How many species go which way, in one sentence."""
    counts = Counter(page.way for page in pages)
    total = len(pages)
    ways = [
        (counts[FALLING], said_of("{number} falls", "{number} fall", counts[FALLING])),
        (counts[RISING], said_of("{number} rises", "{number} rise", counts[RISING])),
        (
            counts[UNCLEAR],
            said_of(
                "{number} shows no clear change", "{number} show no clear change", counts[UNCLEAR]
            ),
        ),
    ]
    parts = [words for number, words in ways if number]
    if not parts:
        return said("For none of the {total} species can a direction be given.", total=total)
    if counts[NOT_TOLD]:
        parts.append(
            said_of(
                "{number} has no reported trend",
                "{number} have no reported trend",
                counts[NOT_TOLD],
            )
        )
    return said("Of {total} species, {parts}.", total=total, parts=listed(parts))


def _span(about: About) -> str:
    if about.first_year == about.season_year:
        return said("Season year {year}", year=about.season_year)
    return said("Season years {first} to {last}", first=about.first_year, last=about.season_year)


def _counts(frozen: Frozen, pages: Sequence[SpeciesPage]) -> list[tuple[str, str]]:
    """Numbers and their nouns."""
    counts = [(sum(1 for _ in frozen.rows(table)), noun) for table, noun in _NOUNS.items()]
    counts.append((frozen.about.observer_count, _OBSERVERS))
    return [
        *((grouped(count), ngettext(noun.singular, noun.plural, count)) for count, noun in counts),
        (str(len(pages)), gettext("species and groups")),
    ]


def _places(frozen: Frozen) -> list[str]:
    """How places were made coarser, each way once, the most frequent first."""
    ways = Counter(map(_way, frozen.records("stops")))
    total = ways.total()
    if len(ways) == 1:
        way = next(iter(ways))
        return [said_of("All {number} stop: {way}", "All {number} stops: {way}", total, way=way)]
    return [
        said_of(
            "{count} of {number} stop: {way}",
            "{count} of {number} stops: {way}",
            total,
            count=count,
            way=way,
        )
        for way, count in ways.most_common()
    ]


def _way(stop: Mapping[str, Any]) -> str:
    if stop["latitude"] is None:
        return gettext(
            "No coordinates; the region of the route only. Not given: coordinates, names of routes "
            "and stops."
        )
    if stop["grid_degrees"] is None:
        return gettext("Coordinates are given as they are.")
    return said(
        "Coordinates are the middle of a grid cell of {side}°. Not given: exact coordinates, names "
        "of routes and stops.",
        side=number(f"{stop['grid_degrees']:g}"),
    )


def _effort(frozen: Frozen) -> list[tuple[int, int, int, int, int]]:
    """Season year, routes, stops, visits and listening periods."""
    years: dict[int, tuple[set[str], set[str], set[str]]] = {}
    periods: Counter[int] = Counter()
    of_visit = {}
    for row in frozen.records("visits"):
        of_visit[row["visit"]] = row["season_year"]
        routes, _, visits = years.setdefault(row["season_year"], (set(), set(), set()))
        routes.add(row["route"])
        visits.add(row["visit"])
    for row in frozen.records("periods"):
        year = of_visit[row["visit"]]
        years[year][1].add(row["stop"])
        periods[year] += 1
    return [
        (year, len(routes), len(stops), len(visits), periods[year])
        for year, (routes, stops, visits) in sorted(years.items())
    ]


def _sections(method: str) -> list[tuple[str, list[str]]]:
    """The method text as (heading, sentences); what stands before the first heading comes first,
    without its title."""
    sections: list[tuple[str, list[str]]] = []
    for block in method.strip().split("\n\n"):
        lines = block.splitlines()
        if len(lines) > 1 and set(lines[1]) <= {"-"} and lines[1]:
            sections.append((lines[0], _items(lines[2:])))
        elif len(lines) > 1 and set(lines[1]) <= {"="} and lines[1]:
            sections.insert(0, (lines[0], []))
        elif sections:
            sections[-1][1].append(" ".join(lines))
    return sections or [("", [method])]


def _items(lines: Sequence[str]) -> list[str]:
    items: list[str] = []
    for line in lines:
        if line.startswith("- ") or not items:
            items.append(line.removeprefix("- "))
        else:
            items[-1] += " " + line.strip()
    return items


def _limits(row: Mapping[str, Any]) -> Limits:
    """Limits are `name: limit` joined by `; `, which may stand within a limit, too."""
    pairs: list[tuple[str, str]] = []
    for part in filter(None, (row["limits"] or "").split("; ")):
        name, colon, limit = part.partition(": ")
        if not colon and pairs:
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]}; {part}")
        else:
            pairs.append((name, limit))
    return Limits(
        name=said("{protocol}, version {number}", protocol=row["protocol"], number=row["version"]),
        since=day(row["in_force_from"]),
        limits=tuple(pairs),
        windows=tuple(filter(None, (row["windows"] or "").split("; "))),
        source=row["source"] or "",
    )


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
