"""Settings of real use and of the demo, read as a server reads them."""

import base64
import subprocess
import sys

import pytest
from django.conf import settings as used

REAL = {
    "DUSKPOOL_SECRET_KEY": "x" * 40,
    "DUSKPOOL_ALLOWED_HOSTS": "surveys.example.org",
    "DATABASE_URL": "postgis:///none",
    "DUSKPOOL_EMAIL_HOST": "mail.example.org",
    "DUSKPOOL_FROM_EMAIL": "surveys@example.org",
}
# As long and mixed as one of `openssl rand -base64 48`.
LONG_KEY = base64.b64encode(bytes(range(100, 148))).decode()


def settings_of(module: str, *names: str, **environment: str) -> list[str]:
    asked = f"from deploy.settings import {module} as s; print(*({', '.join(names)},))"
    run = subprocess.run(
        [sys.executable, "-c", asked],
        env=(REAL if module == "prod" else {}) | environment,
        cwd=used.BASE_DIR,
        capture_output=True,
        text=True,
        check=True,
    )
    return run.stdout.split()


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({}, ["1", "django.core.cache.backends.db.DatabaseCache"]),
        (
            {"DUSKPOOL_TRUSTED_PROXIES": "2", "DUSKPOOL_REDIS_URL": "redis://cache"},
            ["2", "django.core.cache.backends.redis.RedisCache"],
        ),
    ],
)
def test_real_use_trusts_one_proxy_or_as_many_as_are_said(environment, expected):
    names = ("s.ALLAUTH_TRUSTED_PROXY_COUNT", "s.CACHES['default']['BACKEND']")
    assert settings_of("prod", *names, **environment) == expected


def test_uploaded_files_go_to_a_bucket_that_is_named(tmp_path):
    """As deploy/machines.md says."""
    kind, options = "s.STORAGES['default']['BACKEND']", "s.STORAGES['default']['OPTIONS']"
    assert settings_of("prod", kind) == ["surveys.visits.media.storage.WholeFileStorage"]
    (tmp_path / "secret").write_text("word\n")
    bucket = {
        "DUSKPOOL_BUCKET": "files",
        "DUSKPOOL_BUCKET_REGION": "us-east-2",
        "DUSKPOOL_BUCKET_ENDPOINT": "https://objects.example.org",
        "DUSKPOOL_BUCKET_KEY": "key",
        "DUSKPOOL_BUCKET_SECRET_FILE": str(tmp_path / "secret"),
    }
    asked = (kind, f"*sorted({options}.items())", "s.STORAGES['staticfiles']['BACKEND']")
    assert "".join(settings_of("prod", *asked, **bucket)) == (
        "surveys.visits.media.object_storage.ObjectStorage"
        "('bucket','files')('endpoint','https://objects.example.org')('key','key')"
        "('region','us-east-2')('secret','word')"
        "whitenoise.storage.CompressedManifestStaticFilesStorage"
    )
    said = (used.BASE_DIR / "deploy/machines.md").read_text("utf-8")
    assert all(name in said for name in bucket)


def test_pages_alone_use_a_pool_of_connections():
    """As deploy/machines.md says."""
    of = "s.DATABASES['default']"
    asked = (f"{of}['NAME']", f"{of}['DISABLE_SERVER_SIDE_CURSORS']")
    pool = {"DUSKPOOL_POOL_URL": "postgis://pool.example.org:6432/pooled"}
    assert settings_of("prod", *asked) == ["none", "False"]
    assert settings_of("prod", *asked, **pool) == ["none", "False"], "workers and commands"
    assert settings_of("prod", *asked, **pool, DUSKPOOL_ANSWERS_PAGES="1") == ["pooled", "True"]
    assert "DUSKPOOL_POOL_URL" in (used.BASE_DIR / "deploy/machines.md").read_text("utf-8")


def test_a_security_contact_needs_its_day():
    contact = {"DUSKPOOL_SECURITY_CONTACTS": "a@example.org, https://example.org/report"}
    names = ("*s.SECURITY_CONTACTS", "s.SECURITY_EXPIRES.isoformat()")
    told = settings_of("prod", *names, **contact, DUSKPOOL_SECURITY_EXPIRES="2027-03-01")
    assert told == ["a@example.org", "https://example.org/report", "2027-03-01T00:00:00+00:00"]
    with pytest.raises(subprocess.CalledProcessError) as refused:
        settings_of("prod", *names, **contact)
    assert 'DUSKPOOL_SECURITY_EXPIRES is ""' in refused.value.stderr


def test_maps_come_from_a_file_of_the_site_or_from_tiles(tmp_path):
    """As README.md says, under “Maps”."""
    readme = (used.BASE_DIR / "README.md").read_text("utf-8")
    names = (
        "s.MAP_FILE",
        "s.MAP_TILES_URL",
        "s.CONTENT_SECURITY_POLICY['DIRECTIVES']['img-src'][2:]",
    )
    assert settings_of("prod", *names) == ["None", "None", "[]"]
    land = str(used.BASE_DIR / "surveys/land/land.pmtiles")
    assert settings_of("prod", *names, DUSKPOOL_MAP_FILE=land) == [land, "None", "[]"]
    tiles = "https://tiles.example.org/{z}/{x}/{y}.png"
    told = settings_of("prod", *names, DUSKPOOL_MAP_TILES_URL=tiles)
    assert told == ["None", tiles, "['https://tiles.example.org']"]
    for name in ("DUSKPOOL_MAP_FILE", "DUSKPOOL_MAP_TILES_URL", "DUSKPOOL_MAP_TILES_ATTRIBUTION"):
        assert f"`{name}`" in readme
    (tmp_path / "no.pmtiles").write_text("roads")
    for file, why in (("no.pmtiles", "is not a whole PMTiles file"), ("none", "cannot be read")):
        with pytest.raises(subprocess.CalledProcessError) as refused:
            settings_of("prod", *names, DUSKPOOL_MAP_FILE=str(tmp_path / file))
        assert "DUSKPOOL_MAP_FILE: " in refused.value.stderr
        assert why in refused.value.stderr


@pytest.mark.parametrize(("module", "required"), [("prod", "True"), ("dev", "False")])
def test_real_use_asks_for_a_second_step_and_the_demo_does_not(module, required):
    assert settings_of(module, "s.SECOND_FACTOR_REQUIRED") == [required]


def test_secrets_may_come_from_files(tmp_path):
    file = tmp_path / "key"
    file.write_text("y" * 40 + "\n")
    names = ("s.SECRET_KEY", "*s.SECRET_KEY_FALLBACKS")
    of_file = {"DUSKPOOL_SECRET_KEY": "", "DUSKPOOL_SECRET_KEY_FILE": str(file)}
    old = {"DUSKPOOL_OLD_SECRET_KEYS": f"{'a' * 32} {'b' * 32}"}
    assert settings_of("prod", *names, **of_file, **old) == ["y" * 40, "a" * 32, "b" * 32]
    for wrong, why in (
        ({**of_file, "DUSKPOOL_SECRET_KEY": "x" * 40}, "Both DUSKPOOL_SECRET_KEY and"),
        ({**of_file, "DUSKPOOL_SECRET_KEY_FILE": f"{file}.not"}, "_FILE cannot be read"),
        ({"DUSKPOOL_OLD_SECRET_KEYS": "short"}, "too short"),
    ):
        with pytest.raises(subprocess.CalledProcessError) as refused:
            settings_of("prod", *names, **wrong)
        assert why in refused.value.stderr


def test_a_site_may_do_without_mailed_codes():
    """OWASP ASVS 4.0.3, 2.2.2: mail alone then lets nobody in."""
    asked = (
        "import django; django.setup(); from allauth.account.urls import urlpatterns; "
        "print(any(str(one.pattern) == 'login/code/' for one in urlpatterns))"
    )
    environment = REAL | {"DJANGO_SETTINGS_MODULE": "deploy.settings.prod"}
    told = [
        subprocess.run(
            [sys.executable, "-c", asked],
            env=environment | said,
            cwd=used.BASE_DIR,
            stdout=subprocess.PIPE,
            text=True,
            check=True,
        ).stdout
        for said in ({}, {"DUSKPOOL_SIGN_IN_BY_CODE": "0"})
    ]
    assert told == ["True\n", "False\n"]


def test_the_site_starts_without_what_only_draws_and_prints():
    """A third of the time that every command and worker would take to start."""
    asked = (
        "import sys, django; django.setup(); from importlib import import_module; "
        "from django.conf import settings; from django.urls import get_resolver; "
        "[import_module(name) for name in settings.PROCRASTINATE_IMPORT_PATHS]; "
        "assert get_resolver().url_patterns; "
        "print({'weasyprint', 'altair', 'openpyxl', 'scipy.optimize', 'av'} & {*sys.modules})"
    )
    started = subprocess.run(
        [sys.executable, "-c", asked],
        env=REAL | {"DJANGO_SETTINGS_MODULE": "deploy.settings.prod"},
        cwd=used.BASE_DIR,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    assert started.stdout == "set()\n"


def test_django_finds_nothing_unsafe_in_the_settings_of_real_use():
    """Its own checks: documentation of Django 5.2, Deployment checklist and System check
    framework, security tags."""
    checked = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        env=REAL
        | {"DJANGO_SETTINGS_MODULE": "deploy.settings.prod", "DUSKPOOL_SECRET_KEY": LONG_KEY},
        cwd=used.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    assert checked.returncode == 0, checked.stderr
    assert "no issues" in checked.stdout


@pytest.mark.parametrize("command", ["migrate", "load_species", "help"])
def test_the_settings_of_the_demo_are_refused_beside_those_of_real_use(command):
    run = subprocess.run(
        [sys.executable, "manage.py", command],
        env={"DUSKPOOL_SECRET_KEY": "x" * 40},
        cwd=used.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 1
    assert run.stderr.startswith("DUSKPOOL_SECRET_KEY is set, as for real use")
    assert "DJANGO_SETTINGS_MODULE=deploy.settings.prod" in run.stderr


def test_what_real_use_asks_for_is_what_the_demo_refuses():
    asked = settings_of("prod", "*s.REQUIRED")
    assert {*asked} == {*used.REAL_USE, "DATABASE_URL"}


def lines_of_the_guide() -> dict[str, str]:
    """What deploy/production.md has in /etc/duskpool.env, as systemd reads it: a line is a comment
    or a value, and nothing behind a value is taken away (systemd.exec, EnvironmentFile=)."""
    text = (used.BASE_DIR / "deploy/production.md").read_text("utf-8")
    block = text.split("3. `/etc/duskpool.env`")[1].split("4. Server")[0]
    lines = [line.strip() for line in block.splitlines() if line.startswith("       ")]
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


def test_the_variables_of_the_guide_are_read_as_they_are_meant():
    guide = lines_of_the_guide() | {"DUSKPOOL_SECRET_KEY": "x" * 40}
    assert set(REAL) <= set(guide)
    assert settings_of("prod", "*s.OPERATORS", "s.EMAIL_HOST_USER", **guide) == [
        "you@example.org",
        "surveys",
    ]
    databases = (used.BASE_DIR / "deploy/production.md").read_text("utf-8").split("for name in ")[1]
    assert guide["DUSKPOOL_DRILL_URL"].rpartition("/")[2] in databases.split(";")[0].split()


def test_a_comment_behind_a_value_is_refused():
    """With it the services had another secret key than commands from a shell."""
    with pytest.raises(subprocess.CalledProcessError) as refused:
        settings_of("prod", "s.OPERATORS", DUSKPOOL_OPERATORS="you@example.org # whom to mail")
    assert "comment behind the value of DUSKPOOL_OPERATORS" in refused.value.stderr
    kept = settings_of("prod", "s.EMAIL_HOST_PASSWORD", DUSKPOOL_EMAIL_PASSWORD="pass #1")
    assert kept == ["pass", "#1"]


def test_static_files_may_come_from_another_host():
    """As deploy/machines.md says. MDN, "Content-Security-Policy": sources are origins."""
    names = ["s.STATIC_URL", "s.STATIC_PATH", "s.WHITENOISE_ALLOW_ALL_ORIGINS"]
    assert settings_of("prod", *names) == ["/static/", "/static/", "False"]
    there = {"DUSKPOOL_STATIC_URL": "https://static.example.org/of/ours/"}
    assert settings_of("prod", *names, **there) == [*there.values(), "/static/", "True"]
    policy = "s.CONTENT_SECURITY_POLICY['DIRECTIVES']"
    for kind in ("script-src", "style-src", "img-src", "font-src"):
        assert "https://static.example.org" in settings_of("prod", f"*{policy}['{kind}']", **there)
    assert settings_of("prod", f"*{policy}['worker-src']", **there) == ["'self'"]


@pytest.mark.parametrize(
    "url", ["http://static.example.org/", "https://static.example.org", "static.example.org/"]
)
def test_a_bad_address_of_static_files_is_refused(url):
    with pytest.raises(subprocess.CalledProcessError) as refused:
        settings_of("prod", "s.STATIC_URL", DUSKPOOL_STATIC_URL=url)
    assert "such as https://static.example.org/static/" in refused.value.stderr
