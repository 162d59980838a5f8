"""deploy/compose.yaml and the systemd units: what they name is there, and fits together.

No container is started. Keys and values are those of the Compose Specification
(https://github.com/compose-spec/compose-spec/blob/main/05-services.md), from memory. By hand the
file was held against the JSON schema of the same repository, which found no error; and all of its
services ran (Docker 20.10, Compose 2.26, images made here of Debian's packages, the database's
too): a program was begun, people joined and signed in over the proxy, all rows of people and a file
were deleted, and came back by the commands at the head of compose.yaml.
"""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
import yaml
from django.conf import settings
from django.core.management import get_commands, load_command_class

PROJECT = Path(settings.BASE_DIR)
DEPLOY = PROJECT / "deploy"
DOCKERFILE = (DEPLOY / "Dockerfile").read_text()
COMPOSE = yaml.safe_load((DEPLOY / "compose.yaml").read_text("utf-8"))
SERVICES = COMPOSE["services"]
# Ends once it has migrated.
LASTING = [name for name in SERVICES if name != "migrate"]
UNITS = sorted((DEPLOY / "systemd").glob("duskpool-*.service"))
OF_THE_APP = ["migrate", "web", "worker", "watch", "backup"]


def words_of(service: str) -> list[str]:
    command = SERVICES[service].get("command", [])
    return " ".join(command).replace(";", " ").split()


def test_pg_dump_and_the_server_are_of_one_version():
    """An older pg_dump refuses a newer server (PostgreSQL documentation, pg_dump, Notes). What
    Debian brings is in the table of deploy/lib/packages.sh."""
    (release,) = re.findall(r"^FROM debian:(\w+)", DOCKERFILE, re.M)
    packages = (DEPLOY / "lib/packages.sh").read_text()
    (client,) = re.findall(rf"{release}\) echo (\d+)", packages)
    assert SERVICES["database"]["image"].split(":")[1].split("-")[0] == client
    assert release in (DEPLOY / "nginx/Dockerfile").read_text()
    assert f"postgresql-{client}-postgis-3" in (DEPLOY / "production.md").read_text()


@pytest.mark.parametrize("service", SERVICES)
def test_no_service_takes_all_the_memory(service):
    assert re.search(r"\d+[mg]\}?$", SERVICES[service]["mem_limit"])


@pytest.mark.parametrize("service", LASTING)
def test_what_ends_is_started_again(service):
    assert SERVICES[service]["restart"] == "unless-stopped"


@pytest.mark.parametrize("service", OF_THE_APP)
def test_it_ends_when_told_to(service):
    """A shell that is the first process of a container is deaf to SIGTERM: a backup, for one, was
    killed after ten seconds."""
    assert SERVICES[service]["init"] is True


@pytest.mark.parametrize("service", ["database", "web", "proxy", "worker"])
def test_health_is_asked_for(service):
    test = SERVICES[service]["healthcheck"]["test"]
    assert test[0] in ("CMD", "CMD-SHELL")
    for word in test:
        if word.endswith(".py"):
            assert (PROJECT / word).is_file()


@pytest.mark.parametrize("service", SERVICES)
def test_what_a_service_waits_for_is_there(service):
    for other, facts in SERVICES[service].get("depends_on", {}).items():
        condition = facts["condition"]
        assert condition in ("service_healthy", "service_completed_successfully")
        assert (condition == "service_healthy") == ("healthcheck" in SERVICES[other])


@pytest.mark.parametrize("service", SERVICES)
def test_volumes_are_declared(service):
    for volume in SERVICES[service].get("volumes", []):
        source = volume.rsplit(":/", 1)[0]
        assert source in COMPOSE["volumes"] or source.startswith("${")


@pytest.mark.parametrize("service", OF_THE_APP)
def test_commands_exist(service):
    words = words_of(service)
    if "manage.py" in words:
        name, *arguments = words[words.index("manage.py") + 1 :]
        command = load_command_class(get_commands()[name], name)
        parser = command.create_parser("manage.py", name)
        parser.parse_args(arguments)
    for word in words:
        if word.startswith("deploy/"):
            assert (PROJECT / word).is_file()


def test_every_variable_is_one_that_the_settings_read():
    read = "".join((DEPLOY / f"settings/{name}.py").read_text() for name in ("common", "prod"))
    read += "".join(path.read_text() for path in (DEPLOY / "lib").glob("*.sh"))
    for service in OF_THE_APP:
        for name in SERVICES[service]["environment"]:
            assert f'"{name}"' in read or name == "DATABASE_URL", name


def test_backups_lie_on_a_volume_that_the_service_may_write_and_no_other_has():
    """A volume takes its owner from the folder of the image that it is mounted at (Docker
    documentation, Volumes, "Populate a volume using a container"; from memory)."""
    (made,) = re.findall(r"install -d -o duskpool -g duskpool (.+?) *\\?$", DOCKERFILE, re.M)
    for service in OF_THE_APP:
        mounted = dict(volume.split(":")[:2] for volume in SERVICES[service]["volumes"])
        assert set(mounted.values()) <= set(made.split())
        assert ("backups" in mounted) == (service == "backup")
    assert mounted["backups"] in words_of("backup")
    assert re.findall(r"^USER (\w+)", DOCKERFILE, re.M) == ["duskpool"]


def test_restored_files_can_take_the_place_of_the_old_ones():
    """deploy/restore renames the folder: it must not itself be where a volume is mounted."""
    media = SERVICES["backup"]["environment"]["DUSKPOOL_MEDIA_ROOT"]
    for service in OF_THE_APP:
        mounted = [volume.split(":")[1] for volume in SERVICES[service]["volumes"]]
        assert media not in mounted
        assert any(media.startswith(f"{folder}/") for folder in mounted)


def test_the_container_of_the_proxy_writes_the_names_of_the_installation(tmp_path):
    written = tmp_path / "duskpool.conf"
    (tmp_path / "nginx").write_text("#!/bin/sh\n")
    (tmp_path / "nginx").chmod(0o755)
    subprocess.run(
        [DEPLOY / "nginx/start", DEPLOY / "nginx/duskpool.conf", written],
        env={
            "PATH": f"{tmp_path}:/usr/bin:/bin",
            "DUSKPOOL_ALLOWED_HOSTS": "frogs.example.org,www.frogs.example.org",
        },
        check=True,
    )
    text = re.sub(r"^ *#.*\n", "", written.read_text(), flags=re.M)
    assert "surveys.example.org" not in text
    assert text.count("server_name frogs.example.org www.frogs.example.org;") == 2
    assert "ssl_certificate /etc/duskpool/certificates/fullchain.pem;" in text
    assert "server web:8000;" in text


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.stem)
def test_units_start_what_exists(unit):
    text = unit.read_text()
    for name in re.findall(r"manage\.py (\w+)", text):
        assert name in get_commands()
    for path in re.findall(r"/srv/duskpool/(deploy/\S+)", text):
        assert (PROJECT / path).is_file()


def test_the_folder_of_files_is_made_before_anything_is_uploaded():
    """Without it the site is not ready: a load balancer would send nobody."""
    prod = (DEPLOY / "settings/prod.py").read_text()
    (media,) = re.findall(r'"DUSKPOOL_MEDIA_ROOT", "/var/lib/([^"]+)"', prod)
    for unit in ("web", "worker"):
        text = (DEPLOY / f"systemd/duskpool-{unit}.service").read_text()
        (made,) = re.findall(r"^StateDirectory=(.+)$", text, re.M)
        assert media in made.split()


def test_the_backup_may_be_copied_to_where_other_disks_are_mounted():
    """All else is read-only for the unit (systemd.exec, ProtectSystem=strict)."""
    text = (DEPLOY / "systemd/duskpool-backup.service").read_text()
    (target,) = re.findall(r"OFFSITE_TARGET=\S+ +or a folder below (/\w+) or (/\w+)$", text, re.M)
    (writable,) = re.findall(r"^ReadWritePaths=(.+)$", text, re.M)
    assert {f"-{folder}" for folder in target} <= set(writable.split())


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not here")
def test_systemd_itself_finds_no_fault_in_the_units():
    """All that is missing are the programs in /srv/duskpool, which is not this folder."""
    files = [*UNITS, *(DEPLOY / "systemd").glob("*.timer")]
    assert len(files) >= 8
    told = subprocess.run(
        ["systemd-analyze", "verify", *files], capture_output=True, text=True, check=False
    )
    missing = "is not executable: No such file or directory"
    assert [line for line in told.stderr.splitlines() if missing not in line] == []
