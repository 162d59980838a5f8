"""Protocols and their versions. A version in use never changes: a new one follows it."""

import datetime as dt
import json
from dataclasses import replace

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Prefetch, QuerySet
from django.shortcuts import get_object_or_404

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Seen,
    check_seen,
)
from accounts.models import Membership
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Protocol,
    ProtocolVersion,
)
from surveys.programs.in_force import version_in_force
from surveys.programs.versionfacts import (
    version_events,
    version_facts,
)
from surveys.programs.versions import (
    units_of,
    window_rows,
    write_limits,
)
from surveys.programs.windows import window_problems
from surveys.protocol import values
from surveys.protocol.limits.checks import limit_problems
from surveys.protocol.limits.phrases import Units
from surveys.protocol.presets import (
    Preset,
    Presets,
    in_readers_language,
    in_units_of,
    preset_rows,
    presets_from_plain,
)

PRESETS_FILE = settings.BASE_DIR / "fixtures" / "protocol_presets.json"


def presets() -> Presets:
    """Protocols to begin from, as they ship with the application, and what has been published."""
    content = json.loads(PRESETS_FILE.read_text(encoding="utf-8"))
    return in_readers_language(presets_from_plain(content))


def presets_for(program: Program) -> Presets:
    """With values that are round in the units of the program."""
    units, offered = units_of(program), presets()
    return replace(
        offered,
        presets=tuple(
            replace(preset, protocol=in_units_of(preset.protocol, units))
            for preset in offered.presets
        ),
    )


def preset_called(program: Program, code: str) -> Preset | None:
    return next((one for one in presets_for(program).presets if one.code == code), None)


def sources_in_words(preset: Preset, units: Units) -> str:
    """The source of each limit that a preset sets, one a line."""
    rows = preset_rows(preset.protocol, presets(), units)
    return "\n".join(dict.fromkeys(f"{row.label}: {row.source}" for row in rows))


def _versions() -> QuerySet[ProtocolVersion]:
    return (
        ProtocolVersion.objects.annotate(visit_count=Count("visits"))
        .prefetch_related("windows")
        .order_by("-number")
    )


def protocols_of(program: Program) -> list[Protocol]:
    """Protocols by name; each version, newest first, carries `visit_count`."""
    return list(
        program.protocols.prefetch_related(Prefetch("versions", _versions()), "routes").order_by(
            "name"
        )
    )


def version_of(program: Program, version_id: int) -> ProtocolVersion:
    """One version, with `visit_count`. Raises Http404."""
    return get_object_or_404(
        _versions().select_related("protocol__program"),
        protocol__program=program,
        pk=version_id,
    )


def version_on(protocol: Protocol, night: dt.date) -> ProtocolVersion | None:
    """The version under which a visit on `night` is surveyed; None before the first began."""
    return version_in_force(protocol.versions.select_related("protocol"), night)


# --- Checks -------------------------------------------------------------------


def check_limits(limits: values.Protocol) -> None:
    """Raise ValidationError by field for limits that contradict each other or cannot be."""
    problems = limit_problems(limits)
    in_windows = window_problems(limits.windows, limits.season_year_begins)
    if in_windows:
        problems["windows"] = in_windows
    if problems:
        raise ValidationError(problems)


def _check_in_force(
    protocol: Protocol, in_force_from: dt.date, *, version: ProtocolVersion | None = None
) -> None:
    """Versions follow one another in time as in number."""
    others = protocol.versions.exclude(pk=version.pk if version else None)
    before = others.filter(number__lt=version.number) if version else others
    last = before.order_by("-number").first()
    if last and in_force_from <= last.in_force_from:
        raise ValidationError(
            {
                "in_force_from": said(
                    "Version {last_number} is in effect from {day}. This one has to start on "
                    "a later day.",
                    last_number=last.number,
                    day=day(last.in_force_from),
                )
            }
        )
    after = others.filter(number__gt=version.number).order_by("number").first() if version else None
    if after and in_force_from >= after.in_force_from:
        raise ValidationError(
            {
                "in_force_from": said(
                    "Version {after_number} is in effect from {day}. This one has to start on "
                    "an earlier day.",
                    after_number=after.number,
                    day=day(after.in_force_from),
                )
            }
        )


def _locked_protocol(member: Membership, protocol_id: int) -> Protocol:
    return get_object_or_404(
        Protocol.objects.select_for_update(), program=member.program, pk=protocol_id
    )


def _write(
    version: ProtocolVersion, limits: values.Protocol, in_force_from: dt.date, source: str
) -> ProtocolVersion:
    write_limits(version, limits)
    version.in_force_from, version.source = in_force_from, source
    version.full_clean()
    version.save()
    version.windows.all().delete()
    rows = window_rows(version, limits)
    for row in rows:
        row.full_clean(exclude=["version"], validate_constraints=False)
        row.save()
    return version


# --- Verbs --------------------------------------------------------------------


@transaction.atomic
def start_protocol(
    member: Membership, *, limits: values.Protocol, in_force_from: dt.date, source: str = ""
) -> ProtocolVersion:
    """A new protocol with its first version; its name is that of `limits`."""
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    name = limits.name.strip()
    if not name:
        raise ValidationError({"name": gettext("Give the protocol a name.")})
    if member.program.protocols.filter(name__iexact=name).exists():
        raise ValidationError(
            {"name": said("There is already a protocol called “{name}”.", name=name)}
        )
    check_limits(limits)
    protocol = Protocol.objects.create(program=member.program, name=name)
    return _write(ProtocolVersion(protocol=protocol, number=1), limits, in_force_from, source)


@transaction.atomic
def add_version(
    member: Membership,
    protocol_id: int,
    *,
    limits: values.Protocol,
    in_force_from: dt.date,
    source: str = "",
) -> ProtocolVersion:
    """The next version. Visits that were made keep the version they were made under."""
    require(member, Permission.MANAGE)
    protocol = _locked_protocol(member, protocol_id)
    check_limits(limits)
    _check_in_force(protocol, in_force_from)
    last = protocol.versions.order_by("-number").first()
    version = ProtocolVersion(protocol=protocol, number=last.number + 1 if last else 1)
    return _write(version, limits, in_force_from, source)


@transaction.atomic
def change_version(
    member: Membership,
    version_id: int,
    *,
    limits: values.Protocol,
    in_force_from: dt.date,
    source: str = "",
    seen: Seen | None = None,
) -> ProtocolVersion:
    """Change a version that no visit uses yet. Raises ValidationError for one in use,
    EditConflict."""
    require(member, Permission.MANAGE)
    _locked_protocol(member, version_of(member.program, version_id).protocol_id)
    version = version_of(member.program, version_id)
    check_seen(member, seen, version_facts(version), version_events(version))
    if version.visits.exists():
        raise ValidationError(
            said(
                "Version {version_number} is in use by visits and can no longer change. "
                "Make a new version instead.",
                version_number=version.number,
            )
        )
    check_limits(limits)
    _check_in_force(version.protocol, in_force_from, version=version)
    return _write(version, limits, in_force_from, source)
