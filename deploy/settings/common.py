"""Settings that hold everywhere. `dev`, `test` and `prod` build on them."""

import datetime as dt
from pathlib import Path

import dj_database_url
from csp.constants import NONE, SELF
from whitenoise.compress import Compressor

from deploy.logs import logging_config

# Set by whoever runs the real thing; `dev` refuses to start beside them.
REAL_USE = (
    "DUSKPOOL_SECRET_KEY",
    "DUSKPOOL_ALLOWED_HOSTS",
    "DUSKPOOL_EMAIL_HOST",
    "DUSKPOOL_FROM_EMAIL",
)

BASE_DIR = Path(__file__).resolve().parent.parent.parent
VAR_DIR = BASE_DIR / "var"

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.gis",
    "django.contrib.postgres",
    "django.forms",
    # Before allauth, so that our account pages are found first.
    "accounts.apps.AccountsConfig",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "csp",
    "django_htmx",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "knox",
    "leaflet",
    "pgtrigger",
    "pghistory",
    "procrastinate.contrib.django",
    "rest_framework",
    "surveys.apps.SurveysConfig",
    "surveys.web.apps.WebConfig",
]

MIDDLEWARE = [
    "deploy.logs.log_requests",
    "surveys.web.operations.probes.answer_probes",
    "surveys.web.middleware.refuse_nul",
    "surveys.web.middleware.light_static_files",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "surveys.web.headers.attach_data",
    "surveys.web.headers.private_by_default",
    "csp.middleware.CSPMiddleware",
    "surveys.web.closing.SiteModeMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "accounts.idle.IdleMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "surveys.web.headers.HeadersMiddleware",
    "surveys.web.history.KeylessHistoryMiddleware",
    "surveys.web.middleware.write_dates",
    "surveys.web.reading.ReplicaMiddleware",
]

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"

# Each feature of the screens keeps its templates and static files in its own folder.
_FEATURES = BASE_DIR / "surveys/web"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": sorted(_FEATURES.glob("*/templates")),
        "OPTIONS": {
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    ["surveys.web.loaders.FilesystemLoader", "surveys.web.loaders.AppLoader"],
                )
            ],
            "builtins": [
                "surveys.web.templatetags.components",
                "surveys.web.templatetags.dates",
                "django.templatetags.i18n",
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "surveys.web.shell.shell",
            ],
        },
    },
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {
    "default": dj_database_url.config(
        default="postgis:///duskpool", conn_max_age=60, conn_health_checks=True
    )
}
# Debian 12 ships GDAL 3.6. Spatial references come from our own code only.
SILENCED_SYSTEM_CHECKS = ["gis.W001"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "accounts.Person"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
# Those of before the first one are made anew at their owner's next sign-in.
PASSWORD_HASHERS = [
    "accounts.hashing.KeyedPasswordHasher",
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
# OWASP ASVS 4.0.3, 2.1.1 and 2.1.2.
PASSWORD_LENGTHS = (12, 128)
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": PASSWORD_LENGTHS[0]},
    },
    {"NAME": "accounts.passwords.LongPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "accounts.passwords.EasyPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "web:home"
LOGOUT_REDIRECT_URL = "account_login"

ACCOUNT_ADAPTER = "accounts.adapter.InvitationOnlyAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
# An address means nothing before its owner has opened the link that was mailed to it; one a
# person. A change asks for the password, takes effect once confirmed, and is told to the old one.
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_CHANGE_EMAIL = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_FORMS = {
    "login": "accounts.forms.SignInForm",
    "change_password": "accounts.forms.NewPasswordForm",
    "set_password": "accounts.forms.FirstPasswordForm",
    "reset_password": "accounts.forms.ResetForm",
    "reset_password_from_key": "accounts.forms.ForgottenPasswordForm",
    "add_email": "accounts.forms.AddressForm",
    "reauthenticate": "accounts.forms.PasswordAgainForm",
    "request_login_code": "accounts.forms.AskForCodeForm",
    "confirm_login_code": "accounts.forms.SignInCodeForm",
}
# Mail alone then opens the account of a volunteer; of who needs a second step, not.
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_LOGIN_BY_CODE_TIMEOUT = 10 * 60
PASSWORD_RESET_TIMEOUT = 4 * 3600
# The key of `login_failed` is an account as seen from one client address; that of
# `login_failed_anywhere` is the account: at most 100 wrong passwords an hour (OWASP ASVS 4.0.3,
# 2.2.1).
ACCOUNT_RATE_LIMITS = {
    "login": "60/m/ip",
    "login_failed": "30/m/ip,5/5m/key",
    "login_failed_anywhere": "100/h/key",
    "reset_password": "20/h/ip,5/h/key",
    # The key is a joining link, and an address asked for by it. A workshop joins from one network.
    "join": "60/h/ip,300/h/key",
    "join_address": "3/h/key",
}
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
EMAIL_TIMEOUT = 20
ACCOUNT_PREVENT_ENUMERATION = True

# A second step for coordinators and people who may have exact places: accounts/second_factor.py.
SECOND_FACTOR_REQUIRED = True
MFA_ADAPTER = "accounts.second_factor.SecondFactorAdapter"
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_FORMS = {
    "authenticate": "accounts.forms.SecondStepForm",
    "reauthenticate": "accounts.forms.SecondStepAgainForm",
    "activate_totp": "accounts.forms.AuthenticatorAppForm",
    "login_webauthn": "accounts.passkey_forms.LoginForm",
    "authenticate_webauthn": "accounts.passkey_forms.AuthenticateForm",
    "reauthenticate_webauthn": "accounts.passkey_forms.ReauthenticateForm",
    "add_webauthn": "accounts.passkey_forms.AddForm",
    "edit_webauthn": "accounts.passkey_forms.NameForm",
}
MFA_PASSKEY_LOGIN_ENABLED = True
# Who joined has confirmed their address, and a new one counts once it is confirmed: so people with
# a second step may change theirs.
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_TOTP_ISSUER = "Duskpool"
MFA_TOTP_TOLERANCE = 1

# Drafts must survive a season in the field: who asks to stay signed in does so for 60 days. Others
# are signed out with the browser, or after half an hour without a request.
SESSION_COOKIE_AGE = 60 * 24 * 3600
SESSION_IDLE_SECONDS = 30 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English")]
LOCALE_PATHS = [BASE_DIR / "locale"]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

# Where pages take static files from, and where this server answers for them itself.
STATIC_URL = STATIC_PATH = "/static/"
WHITENOISE_STATIC_PREFIX = STATIC_PATH
STATICFILES_DIRS = sorted(_FEATURES.glob("*/static"))
STATIC_ROOT = VAR_DIR / "static"
# The scripts and styles are for our own pages only.
WHITENOISE_ALLOW_ALL_ORIGINS = False
# Source maps of others' scripts, which nobody loads, took most of the time of collectstatic.
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = (*Compressor.SKIP_COMPRESS_EXTENSIONS, "map")
MEDIA_ROOT = VAR_DIR / "media"
STORAGES = {
    "default": {"BACKEND": "surveys.visits.media.storage.WholeFileStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
# More is refused unread. Each kind of file has a lower limit of its own, with a sentence.
MOST_BYTES_OF_A_FORM = 100 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "surveys.visits.media.storage.WholeFileUploadHandler",
]
# ClamAV's daemon, which is asked about every file that somebody sends: the path of its socket, or
# host:port. Without one files are not scanned: surveys/scanning.py.
VIRUS_SCANNER = ""
# Whom to tell of a weakness, as addresses or URLs, and until when that holds: security.txt.
SECURITY_CONTACTS: list[str] = []
SECURITY_EXPIRES: dt.datetime | None = None
# Read-only or closed: surveys/site_mode.py.
SITE_MODE_FILE = VAR_DIR / "site-mode.json"
# What photos, recordings and imported files may take in all: surveys/visits/media/quota.py.
MOST_BYTES_OF_A_PERSON = 5 * 1024**3
MOST_BYTES_OF_A_PROGRAM = 100 * 1024**3
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000

# Scripts and styles come from our own files only. Base map tiles, when set,
# are the one thing that may come from another host.
MAP_TILES_URL: str | None = None
MAP_TILES_ATTRIBUTION = ""
# A PMTiles file with roads and water, which this server hands out itself: surveys/land/files.py.
MAP_FILE: Path | None = None
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        # A recording that is still on the phone is played from its memory.
        "media-src": [SELF, "blob:"],
        "worker-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}

# Counters of sign-ins, shared by all processes. The table is made by a migration.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "accounts_cache",
        "OPTIONS": {"MAX_ENTRIES": 100_000},
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "surveys.api.authentication.AccessTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["surveys.api.permissions.IsProgramMember"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["surveys.api.parsing.ShallowJSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 100,
    "DEFAULT_THROTTLE_CLASSES": ["surveys.api.throttling.HourlyLimit"],
    "EXCEPTION_HANDLER": "surveys.api.errors.explain",
}
API_REQUESTS_AN_HOUR = 3000
# Tokens are rows of our own model; the package's own tables are not made.
KNOX_TOKEN_MODEL = "accounts.AccessToken"  # noqa: S105 - a model, no password
MIGRATION_MODULES = {"knox": None}
REST_KNOX = {"AUTH_HEADER_PREFIX": "Bearer"}
SPECTACULAR_SETTINGS = {
    "TITLE": "Duskpool",
    "DESCRIPTION": "Visits, review, seasons, trends and publications of calling surveys, and the "
    "records of accepted visits.\n\n"
    "Scripts send a token, made under *Access tokens*: `Authorization: Bearer …`. Records come "
    "in pages: follow `next` until it is null. An export is one stream of any length. Places are "
    "given as the program shares them. `RateLimit` says what is left of the hour's requests; "
    "after too many comes 429 with `Retry-After`.\n\n"
    "    curl -H 'Authorization: Bearer TOKEN' "
    "'https://HOST/api/v1/PROGRAM/records/calls/export/?format=csv'",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# Who is mailed when the site needs somebody, and may see all of its status: addresses in small
# letters. `manage.py watch_operations` looks, and remembers in this file what it has told.
OPERATORS: list[str] = []
ALERTS_FILE = VAR_DIR / "alerts.json"
# The latest backup may be so old (0: backups are made elsewhere), the latest restore drill, and so
# much of the disk of uploaded files should be free.
BACKUP_HOURS = 26
DRILL_DAYS = 35
# As many accounts at which somebody failed to sign in within an hour are told to operators.
FAILED_SIGN_INS = 10
LEAST_DISK_PERCENT = 10
# Opens /metrics to whoever sends it; without one nobody may read them.
METRICS_TOKEN = ""

PROCRASTINATE_IMPORT_PATHS = [
    "surveys.check_ins.asking",
    "surveys.check_ins.mailing",
    "surveys.check_ins.tasks",
    "surveys.planning.notices",
    "surveys.reminders.tasks",
    "surveys.runs.tasks",
    "surveys.visits.history_years",
    "surveys.visits.notices",
    "surveys.visits.oddness",
    "surveys.visits.picturing",
    "surveys.visits.tidying",
    "accounts.invitations",
    "accounts.joining_links",
    "accounts.mailing",
    "accounts.failed_sign_ins",
    "accounts.tidying",
    "surveys.seasons.tasks",
    "surveys.fitting.tasks",
    "surveys.publishing.tasks",
    "surveys.importing.tasks",
]

EMAIL_BACKEND = "surveys.runs.mail_ids.SmtpBackend"
EMAIL_SUBJECT_PREFIX = ""
DEFAULT_FROM_EMAIL = "Duskpool <duskpool@localhost>"

LOGGING = logging_config(as_json=False)
