"""Begin a program on a real installation."""

from argparse import ArgumentParser

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils.text import slugify

from surveys.dates import day
from surveys.demo.catalog import load_species
from surveys.models import CallingRegion
from surveys.programs.setting_up import start_program
from surveys.protocol.values import DistanceUnit, TemperatureUnit


class Command(BaseCommand):
    help = (
        "Make a program, load the species catalog, invite the first coordinator and print "
        "the link. The mail is sent by the worker; the link works without it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the program's full name")
        parser.add_argument("--slug", default="", help="its part of the address (from the name)")
        parser.add_argument("--region", default="", help="the state, province or reserve")
        parser.add_argument(
            "--country",
            default="",
            help="ISO 3166-1 code of two letters, such as US; goes with published events",
        )
        parser.add_argument(
            "--calling-region",
            default="",
            help="whose calling seasons the checklist begins with, such as upper-midwest; "
            "coordinators can set it later",
        )
        parser.add_argument(
            "--time-zone", required=True, help="such as America/Chicago or Europe/Berlin"
        )
        parser.add_argument(
            "--temperatures", choices=[unit.value for unit in TemperatureUnit], default="C"
        )
        parser.add_argument(
            "--distances", choices=[unit.value for unit in DistanceUnit], default="km"
        )
        parser.add_argument("--coordinator-email", required=True)
        parser.add_argument("--coordinator-name", default="")
        parser.add_argument(
            "--contact-email",
            default="",
            help="where questions about the data go; public: anybody who opens a publication reads "
            "it, and versions published with it keep it. Without one, publications name the "
            "program alone; coordinators can set it later",
        )
        parser.add_argument(
            "--site-url", required=True, help="the address people open, such as https://…"
        )

    def handle(self, *args: object, **options: str) -> None:
        site_url = options["site_url"]
        if not site_url.startswith(("http://", "https://")):
            raise CommandError(f"--site-url {site_url}: it begins with http:// or https://.")
        try:
            with transaction.atomic():
                loaded = load_species()
                issued = start_program(
                    name=options["name"],
                    slug=options["slug"] or slugify(options["name"]),
                    region=options["region"],
                    country_code=options["country"],
                    calling_region=_calling_region(options["calling_region"]),
                    time_zone=options["time_zone"],
                    temperature_unit=options["temperatures"],
                    distance_unit=options["distances"],
                    coordinator_email=options["coordinator_email"],
                    coordinator_name=options["coordinator_name"],
                    contact_email=options["contact_email"],
                    site_url=site_url,
                )
        except ValidationError as refusal:
            raise CommandError("\n".join(_sentences(refusal))) from refusal
        invitation = issued.invitation
        self.stdout.write(f"Program: {invitation.program.name}")
        self.stdout.write(f"Species added to the catalog: {loaded.added}")
        self.stdout.write(f"Invited as coordinator: {invitation.email}")
        contact = invitation.program.contact_email or "none; publications name the program alone"
        self.stdout.write(f"Contact shown in publications: {contact}")
        self.stdout.write(f"Link, good until {day(invitation.expires_at)}:")
        self.stdout.write(issued.link)


def _calling_region(code: str) -> CallingRegion | None:
    if not code:
        return None
    regions = CallingRegion.objects.in_bulk(field_name="code")
    if code not in regions:
        raise CommandError(f"--calling-region {code}: choose one of {', '.join(sorted(regions))}.")
    return regions[code]


def _sentences(refusal: ValidationError) -> list[str]:
    if not hasattr(refusal, "error_dict"):
        return refusal.messages
    return [
        f"{name.replace('_', ' ')}: {message}"
        for name, messages in refusal.message_dict.items()
        for message in messages
    ]
