"""Rows that were there before a migration are there after it, with what they meant."""

import datetime as dt
from contextlib import ExitStack, contextmanager

import pytest
from allauth.account.models import EmailAddress
from django.contrib.gis.geos import Point
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from surveys.models import CallHistory, CallIndex
from tests.support.databases import another_database, connect_to

EVENING = dt.datetime(2024, 4, 16, 2, 0, tzinfo=dt.UTC)
# A migration that has landed does not change, so what it did is looked at in the slow run only.
landed = pytest.mark.slow

EMAIL_ADDRESSES = ("account", "0009_emailaddress_unique_primary_email")
RIGHTS = ("accounts", "0003_words_of_rights")
JOINT_MEMBERS = ("surveys", "0008_joint_members")
OWN_FIELDS = ("surveys", "0014_own_fields")
# The newest of the release before, and of other apps what that brings.
RELEASED = ("surveys", "0017_storage_use")
RELEASED_TOO = ("accounts", "0007_security_log")


@pytest.fixture(scope="module")
def beginnings(django_db_blocker, django_db_setup):
    """Names of databases without rows, by migration, each made from the one before."""
    own = connection.settings_dict["NAME"]
    with django_db_blocker.unblock(), ExitStack() as stack:
        names, last = {}, None
        for migration in (EMAIL_ADDRESSES, RIGHTS, JOINT_MEMBERS, OWN_FIELDS, RELEASED):
            names[migration] = last = stack.enter_context(another_database(template=last))
            call_command("migrate", *migration, verbosity=0)
        call_command("migrate", *RELEASED_TOO, verbosity=0)
        connect_to(own)
        yield names


@pytest.fixture
def database_at(beginnings, django_db_blocker):
    """A database with the tables of a migration and no rows, and the models of that time."""

    @contextmanager
    def beginning(migration):
        with django_db_blocker.unblock(), another_database(template=beginnings[migration]):
            yield models_of(migration)

    return beginning


def models_of(*migrations):
    state = MigrationLoader(None).project_state(list(migrations))
    return lambda name: state.apps.get_model(*name.split("."))


def migrated_to(app, migration):
    call_command("migrate", app, migration, verbosity=0)
    return models_of((app, migration))


def an_evening(model, *, version=None, visit=None, periods=()):
    """A visit with its route, as the tables were at that time."""
    person = model("accounts.Person").objects.create(email="robin@example.org", name="Robin")
    program = model("surveys.Program").objects.create(
        name="Example", slug="example", time_zone="America/Chicago"
    )
    protocol = model("surveys.Protocol").objects.create(program=program, name="Roadside")
    route = model("surveys.Route").objects.create(
        program=program, protocol=protocol, code="R1", name="Long Meadow"
    )
    row = model("surveys.Visit").objects.create(
        route=route,
        observer=person,
        protocol_version=model("surveys.ProtocolVersion").objects.create(
            protocol=protocol,
            number=1,
            in_force_from="2015-01-01",
            listening_time_s=300,
            **version or {},
        ),
        night="2024-04-15",
        season_year=2024,
        state="submitted",
        submitted_at=EVENING,
        **visit or {},
    )
    for number, period in enumerate(periods, start=1):
        model("surveys.ListeningPeriod").objects.create(
            visit=row,
            stop=model("surveys.Stop").objects.create(
                route=route,
                number=number,
                place=Point(-89.4, 43 + number / 100, srid=4326),
                active_from="2015-01-01",
            ),
            status="listened",
            **period,
        )
    return row


@landed
def test_numbers_of_sky_and_noise_become_words_and_codes_of_the_protocol(database_at):
    cells = {
        "start.sky": "8",
        "stops.1.noise_index": "3",
        "stops.1.calls.noise_index": "1",
        "notes": "stops.1.noise_index",
    }
    with database_at(JOINT_MEMBERS) as before:
        an_evening(
            before,
            version={"wet_sky_codes": [7, 8], "max_noise_index": 3},
            visit={"start_sky": 8, "cells": cells},
            periods=[
                {"sky": sky, "noise_index": noise}
                for sky, noise in ((0, 0), (1, 1), (2, 2), (4, 3), (5, 4), (7, None), (None, None))
            ],
        )
        before("surveys.SpreadsheetImport").objects.create(
            program=before("surveys.Program").objects.get(),
            uploaded_by=before("accounts.Person").objects.get(),
            file_name="noise_index.csv",
            content=b"",
            columns=[["noise_index", "noise_index"], ["sky", "sky"]],
        )
        finding = before("surveys.StoredFinding").objects.create(
            visit=before("surveys.Visit").objects.get(),
            code="noise-too-loud",
            severity="query",
            field="noise_index",
            params={"noise": 4, "stop": 1, "most": 3},
        )
        after = migrated_to("surveys", "0009_conditions_in_words")

        version = after("surveys.ProtocolVersion").objects.get()
        assert set(version.forbidden_skies) == {"snow", "heavy_rain", "thunder"}
        assert version.loudest_noise == "loud_only"
        assert version.sky_codes["5"] == "light_rain"
        assert version.noise_codes["4"] == "all_lost"
        visit = after("surveys.Visit").objects.get()
        assert (visit.start_sky, visit.end_sky) == ("heavy_rain", "")
        assert visit.cells == {
            "start.sky": "8",
            "stops.1.noise": "3",
            "stops.1.calls.noise_index": "1",
            "notes": "stops.1.noise_index",
        }
        told = [
            ("clear", "quiet"),
            ("partly_cloudy", "heard_through"),
            ("overcast", "faint_lost"),
            ("fog", "loud_only"),
            ("light_rain", "all_lost"),
            ("snow", ""),
            ("", ""),
        ]
        periods = after("surveys.ListeningPeriod").objects
        assert list(periods.order_by("stop__number").values_list("sky", "noise")) == told
        history = after("surveys.ListeningPeriodEvent").objects
        assert sorted(history.values_list("sky", "noise")) == sorted(told)
        assert after("surveys.VisitEvent").objects.count() == 1
        assert after("surveys.SpreadsheetImport").objects.get().columns == [
            ["noise_index", "noise"],
            ["sky", "sky"],
        ]
        found = after("surveys.StoredFinding").objects.get()
        assert (found.pk, found.field) == (finding.pk, "noise")
        assert found.params == {
            "noise": {"noise": "all_lost"},
            "stop": 1,
            "most": {"noise": "loud_only"},
        }
        assert after("surveys.StoredFindingEvent").objects.get().params == found.params
        made_since = after("surveys.ProtocolVersion").objects.create(
            protocol=version.protocol, number=2, in_force_from="2025-01-01", listening_time_s=300
        )
        made_since.refresh_from_db()
        assert (made_since.sky_codes, made_since.noise_codes) == ({}, {})


@landed
def test_a_person_keeps_the_address_of_the_invitation_and_no_other(database_at):
    """Others had been added to accounts without anybody confirming them."""
    with database_at(RIGHTS):
        before = models_of(RIGHTS, EMAIL_ADDRESSES)
        person = before("accounts.Person").objects.create(email="Robin@example.org", name="Robin")
        before("account.EmailAddress").objects.create(
            user_id=person.pk, email="intruder@example.net"
        )
        call_command("migrate", "accounts", "0004", verbosity=0)
        kept = EmailAddress.objects.values_list("user_id", "email", "verified", "primary")
        assert list(kept) == [(person.pk, "robin@example.org", True, True)]


@landed
def test_fields_that_no_rule_uses_become_own_fields_of_the_programs_that_have_data(database_at):
    cells = {
        "days_since_rain": "3",
        "stops.1.cars": "4",
        "stops.1.moonlight": "yes",
        "stops.1.calls.cars": "1",
        "notes": "stops.1.cars",
    }
    with database_at(OWN_FIELDS) as before:
        visit = an_evening(
            before,
            visit={"days_since_rain": 3, "cells": cells},
            periods=[{"cars": 4, "moonlight": True}, {"cars": 0}, {"moonlight": False}, {}],
        )
        program = before("surveys.Program").objects.get()
        before("surveys.Program").objects.create(
            name="Neighbor", slug="neighbor", time_zone="America/Chicago"
        )
        before("surveys.SpreadsheetImport").objects.create(
            program=program,
            uploaded_by=before("accounts.Person").objects.get(),
            file_name="cars.csv",
            content=b"",
            columns=[["Cars", "cars"], ["Moon", "moonlight"], ["Sky", "sky"]],
        )
        after = migrated_to("surveys", "0015_carried_own_fields")

        fields = after("surveys.OwnField").objects.order_by("order")
        assert list(fields.values_list("program_id", "key", "kind", "per", "published")) == [
            (program.pk, "cars", "whole", "stop", True),
            (program.pk, "moonlight", "yes_no", "stop", True),
            (program.pk, "days_since_rain", "whole", "visit", True),
        ]
        assert [fields[0].low, fields[0].high, fields[1].high] == [0, 9999, None]
        assert after("surveys.OwnFieldEvent").objects.count() == 3
        carried = after("surveys.Visit").objects.get()
        assert carried.own_fields == {"days_since_rain": 3}
        assert carried.changed_at == visit.changed_at
        assert carried.cells == {
            "own.days_since_rain": "3",
            "stops.1.own.cars": "4",
            "stops.1.own.moonlight": "yes",
            "stops.1.calls.cars": "1",
            "notes": "stops.1.cars",
        }
        told = [{"cars": 4, "moonlight": True}, {"cars": 0}, {"moonlight": False}, {}]
        periods = after("surveys.ListeningPeriod").objects.order_by("stop__number")
        assert list(periods.values_list("own_fields", flat=True)) == told
        history = after("surveys.ListeningPeriodEvent").objects.order_by("pgh_id")
        assert list(history.values_list("own_fields", flat=True)) == told
        assert after("surveys.VisitEvent").objects.get().own_fields == {"days_since_rain": 3}
        assert after("surveys.SpreadsheetImport").objects.get().columns == [
            ["Cars", "own.cars"],
            ["Moon", "own.moonlight"],
            ["Sky", "sky"],
        ]


@landed
def test_what_was_only_typed_asks_for_its_field_and_other_fields_are_gone(database_at):
    with database_at(OWN_FIELDS) as before:
        an_evening(before, visit={"cells": {"stops.2.cars": "many"}}, periods=[{}])
        after = migrated_to("surveys", "0015_carried_own_fields")
        assert list(after("surveys.OwnField").objects.values_list("key", flat=True)) == ["cars"]
        assert after("surveys.Visit").objects.get().cells == {"stops.2.own.cars": "many"}


@landed
def test_stored_fits_get_codes_for_the_words_of_before_and_keep_all_else(database_at):
    def fit(model, species, result):
        return model("surveys.SpeciesFit").objects.create(
            program=model("surveys.Program").objects.get(),
            species=model("surveys.Species").objects.create(code=species, scientific_name=species),
            site="stop",
            result=result,
            data_sha256="0" * 64,
            data_stamp="1" * 64,
            software="before",
            fitted_at=EVENING,
            seconds=1,
        )

    with database_at(RELEASED):
        before = migrated_to("surveys", "0018_operation_records")
        an_evening(before)
        year = {"occupancy": {"flags": ["nobody listened"], "value": 0.25}, "season_year": 2021}
        trend = {"occupancy": {"flags": []}, "detection_model": "night and temperature"}
        spoken = fit(before, "a-b", {"years": [year, year], "trend": trend})
        coded = fit(before, "c-d", {"trend": {"detection_model": "night", "flags": ["no-effort"]}})
        after = migrated_to("surveys", "0019_codes_of_results")("surveys.SpeciesFit").objects

        result = after.get(pk=spoken.pk).result
        told = {"occupancy": {"flags": ["no-effort"], "value": 0.25}, "season_year": 2021}
        assert result["years"] == [told, told]
        assert result["trend"] == {**trend, "detection_model": "night-temperature"}
        assert after.get(pk=coded.pk).result == coded.result
        kept = after.values("data_sha256", "data_stamp", "software", "fitted_at", "seconds")
        assert kept.distinct().get() == {
            "data_sha256": "0" * 64, "data_stamp": "1" * 64, "software": "before",
            "fitted_at": EVENING, "seconds": 1,
        }  # fmt: skip


@landed
def test_stored_results_get_codes_for_the_methods_of_before(database_at):
    interval = "profile likelihood, 1.35 times as wide for poor fit (sqrt of c-hat)"
    method = "occupancy of stacked site-seasons (MacKenzie et al. 2006)"
    with database_at(RELEASED):
        before = migrated_to("surveys", "0029_reminders")
        an_evening(before)
        program = before("surveys.Program").objects.get()
        species = before("surveys.Species").objects.create(code="a-b", scientific_name="A b")
        told = {"value": 0.25, "interval": interval, "method": method, "flags": ["gap-years"]}
        before("surveys.SpeciesFit").objects.create(
            program=program, species=species, site="stop", result={"trend": {"occupancy": told}},
            data_sha256="0" * 64, data_stamp="1" * 64, software="before", fitted_at=EVENING,
            seconds=1,
        )  # fmt: skip
        cells = [{"routes": 6, "chance": {"interval": "Wilson, 400 simulated programs"}}]
        for key, result in (("0" * 64, {"cells": cells}), ("1" * 64, None)):
            before("surveys.PowerStudy").objects.create(
                program=program, species=species, plan={}, key=key, result=result, asked_at=EVENING
            )
        after = migrated_to("surveys", "0030_codes_of_methods")

        codes = {"interval": "profile+widened:1.35", "method": "stacked-occupancy"}
        fit = after("surveys.SpeciesFit").objects.get()
        assert fit.result == {"trend": {"occupancy": told | codes}}
        assert (fit.data_stamp, fit.fitted_at, fit.software) == ("1" * 64, EVENING, "before")
        studies = after("surveys.PowerStudy").objects.order_by("key")
        assert list(studies.values_list("result", flat=True)) == [
            {"cells": [{"routes": 6, "chance": {"interval": "wilson+programs:400"}}]}, None,
        ]  # fmt: skip


def test_an_upgrade_of_the_release_before_keeps_every_row(database_at):
    """Tables of that release, by what the columns of that time hold; what a migration changes on
    purpose stands in CHANGED with its reason."""
    with database_at(RELEASED):
        before = models_of(RELEASED, RELEASED_TOO)
        visit = an_evening(before, visit={"cells": {"notes": "mist"}}, periods=[{}, {}])
        species = before("surveys.Species").objects.create(code="a-b", scientific_name="A b")
        for period in before("surveys.ListeningPeriod").objects.filter(visit=visit):
            before("surveys.CallIndex").objects.create(period=period, species=species, index=2)
        before("surveys.Submission").objects.create(
            visit=visit,
            revision=1,
            cells=visit.cells,
            submitted_by=visit.observer,
            submitted_at=EVENING,
        )
        columns = columns_of_tables()
        held = sums_of(columns)
        call_command("migrate", verbosity=0)
        after = columns_of_tables()
        assert set(columns) - set(after) == set(MOVED)
        kept = {table: names for table, names in columns.items() if table in after}
        assert {name for name in kept if not set(kept[name]) <= set(after[name])} == set()
        now = sums_of(kept)
        assert {name for name in now if now[name] != held[name]} - set(CHANGED) == set()
        assert held["surveys_callindex"][0] == held["surveys_callindexevent"][0] == 2
        history = CallHistory.objects.filter(visit_id=visit.pk, pgh_label="insert")
        assert sorted(
            (call, str(period), one, index)
            for row in history
            for call, period, one, index in zip(
                row.calls, row.periods, row.species, row.indexes, strict=True
            )
        ) == sorted(
            (call, str(period), species.pk, 2)
            for call, period in CallIndex.objects.values_list("pk", "period")
        )
        migrations = now["django_migrations"][0] - held["django_migrations"][0]
        assert migrations >= 2


MOVED = {"surveys_callindexevent": "its rows stand in surveys_callhistory"}
CHANGED = {
    "django_migrations": "names what has run",
    "django_content_type": "has a row for each model",
    "auth_permission": "likewise",
}


def columns_of_tables():
    query = """
        SELECT table_name, array_agg(column_name::text ORDER BY column_name)
        FROM information_schema.columns
        JOIN information_schema.tables USING (table_schema, table_name)
        WHERE table_schema = 'public' AND table_type = 'BASE TABLE'
            AND table_name <> 'spatial_ref_sys'
        GROUP BY 1"""
    with connection.cursor() as cursor:
        cursor.execute(query)
        return dict(cursor.fetchall())


def sums_of(columns):
    """Rows and checksum of each table, by these columns of it."""
    sums = {}
    with connection.cursor() as cursor:
        for table, names in columns.items():
            row = ", ".join(f'"{name}"' for name in names)
            number = f"hashtextextended(ROW({row})::text, 0)::numeric"
            cursor.execute(f'SELECT count(*), sum({number}) FROM "{table}"')
            sums[table] = cursor.fetchone()
    return sums
