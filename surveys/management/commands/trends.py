"""Fit species now and print the results, for analysts. Nothing is stored."""

import csv
import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from surveys.fitting.histories import load_periods
from surveys.fitting.results import to_json
from surveys.fitting.stamps import software
from surveys.models import Program, Species
from surveys.publishing.formats.yearly_csv import cell_text
from surveys.trends import Estimate
from surveys.trends.analysis import Parts, analyze
from surveys.trends.periods import species_periods
from surveys.trends.species_result import SpeciesResult

HEADER = (
    "species",
    "site",
    "region",
    "season_year",
    "what",
    "value",
    "low",
    "high",
    "se",
    "interval",
    "method",
    "flags",
)


class Command(BaseCommand):
    help = (
        "Fit occupancy, trend, turnover, call index and calling nights of species, and print them "
        "as JSON or CSV. Fits again from today's data; what the screens show stays as it is."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("program", help="Its short name in addresses, such as my-program.")
        parser.add_argument(
            "--species",
            action="append",
            default=[],
            metavar="CODE",
            help="A species code such as pseudacris-crucifer; again for more. Default: all.",
        )
        parser.add_argument("--site", choices=("stop", "route"), default="stop")
        parser.add_argument("--region", default="", help="Only routes of this region.")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_const", const="json", dest="form")
        form.add_argument("--csv", action="store_const", const="csv", dest="form")
        parser.set_defaults(form="csv")

    def handle(self, *args: Any, **options: Any) -> None:
        program = _program(options["program"])
        species = _species(program, options["species"])
        periods = load_periods(program)
        if options["region"] and options["region"] not in periods.regions:
            known = ", ".join(periods.regions) or "none"
            raise CommandError(f"No visits in region “{options['region']}”. Regions: {known}.")
        fitted = {}
        for listed in species:
            species_rows = species_periods(periods, listed.pk, region=options["region"])
            fitted[listed.code] = analyze(
                listed.code, species_rows, site=options["site"], parts=Parts()
            )
        place = {"site": options["site"], "region": options["region"]}
        if options["form"] == "json":
            results = {code: to_json(result) for code, result in fitted.items()}
            document = {
                "program": program.slug,
                **place,
                "software": software(),
                "species": results,
            }
            self.stdout.write(json.dumps(document, indent=1, ensure_ascii=False))
            return
        writer = csv.writer(self.stdout, lineterminator="\n")
        writer.writerow(HEADER)
        for code, result in fitted.items():
            for year, estimate in _estimates(result):
                writer.writerow(
                    cell_text(value)
                    for value in (
                        code,
                        *place.values(),
                        year,
                        estimate.name,
                        estimate.value,
                        estimate.low,
                        estimate.high,
                        estimate.se,
                        estimate.interval,
                        estimate.method,
                        "; ".join(estimate.flags),
                    )
                )


def _program(slug: str) -> Program:
    program = Program.objects.filter(slug=slug).first()
    if program is None:
        known = ", ".join(Program.objects.order_by("slug").values_list("slug", flat=True))
        raise CommandError(f"There is no program “{slug}”. There are: {known or 'none'}.")
    return program


def _species(program: Program, codes: list[str]) -> list[Species]:
    listed = Species.objects.filter(checklist_entries__program=program).order_by(
        "checklist_entries__order", "common_name"
    )
    by_code = {species.code: species for species in listed}
    unknown = [code for code in codes if code not in by_code]
    if unknown:
        raise CommandError(
            f"Not on the checklist of {program.name}: {', '.join(unknown)}. "
            f"On it: {', '.join(by_code)}."
        )
    return [by_code[code] for code in codes] or list(by_code.values())


def _estimates(result: SpeciesResult) -> list[tuple[int | None, Estimate]]:
    trend = result.trend
    estimates: list[tuple[int | None, Estimate]] = []
    for year in result.years:
        estimates += [
            (year.season_year, estimate)
            for estimate in (year.naive, year.occupancy, year.detection)
        ]
    estimates += [
        (None, estimate)
        for estimate in (
            trend.log_odds,
            trend.odds,
            trend.occupancy,
            trend.points,
            trend.pooled,
            trend.naive,
        )
    ]
    estimates += [(year, estimate) for year, estimate in trend.line]
    estimates += [(None, line.change) for line in result.sensitivity[1:] if line.applies]
    if result.turnover:
        turnover = result.turnover
        estimates += [
            (None, estimate)
            for estimate in (turnover.colonization, turnover.extinction, turnover.equilibrium)
        ]
    for index in result.index or ():
        estimates += [
            (index.season_year, index.expected_index),
            (index.season_year, index.full_chorus),
        ]
    if result.phenology:
        for nights in result.phenology.nights:
            estimates += [
                (nights.season_year, estimate)
                for estimate in (nights.first, nights.median, nights.last)
            ]
        estimates.append((None, result.phenology.shift))
    return estimates
