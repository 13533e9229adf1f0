"""All settings, read from the environment. DEVELOPERS.md lists the variables; `checks.py` stops the start on
a wrong one.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from csp.constants import NONE, SELF

from .environment import Environment

# Sheets are read by the parser that refuses entities, also where the faster one is installed.
os.environ["OPENPYXL_LXML"] = "False"

BASE_DIR = Path(__file__).resolve().parent.parent.parent
env = Environment(os.environ)

# --- the installation --------------------------------------------------------------------------------------
DEBUG = env.yes_no("QCAPP_DEBUG", False)
QCAPP_DATA_DIR = env.folder("QCAPP_DATA_DIR", BASE_DIR / ".data")
QCAPP_DEMO = env.yes_no("QCAPP_DEMO", (QCAPP_DATA_DIR / "demo").exists())
if not QCAPP_DEMO and (QCAPP_DATA_DIR / "demo").exists():
    env.complain(
        10,
        "QCAPP_DEMO is no, but the data folder holds the demonstration.",
        "Write QCAPP_DEMO=yes, or name another folder in QCAPP_DATA_DIR.",
    )
QCAPP_PUBLIC_URL = env.public_url("QCAPP_PUBLIC_URL", "http://localhost:8000")
QCAPP_SITE_ZONE = env.zone("QCAPP_SITE_ZONE", "Europe/Berlin")
QCAPP_SITE_NAME = env.text("QCAPP_SITE_NAME", "Alder Quay Cycleworks" if QCAPP_DEMO else "qcapp")
QCAPP_SITE_LOGO = env.text("QCAPP_SITE_LOGO", "")  # a file: PNG, JPEG or SVG
QCAPP_SITE_PLACE = env.text("QCAPP_SITE_PLACE", "Alder Quay" if QCAPP_DEMO else "")
QCAPP_SITE_LANGUAGE = env.one_of("QCAPP_SITE_LANGUAGE", ("en", "de", "es", "fr"), 20)  # until somebody chooses another
QCAPP_SITE_PAPER = env.one_of("QCAPP_SITE_PAPER", ("A4", "letter"), 21)
QCAPP_SITE_LENGTHS = env.one_of("QCAPP_SITE_LENGTHS", ("mm", "in"), 22)
QCAPP_TRUSTED_PROXIES = env.count("QCAPP_TRUSTED_PROXIES", 0, most=5)
QCAPP_UNQUALIFIED_WELDS = env.one_of("QCAPP_UNQUALIFIED_WELDS", ("refuse", "report"), 15)
QCAPP_SECOND_FACTOR = env.one_of(
    "QCAPP_SECOND_FACTOR", ("offered", "office") if DEBUG or QCAPP_DEMO else ("office", "offered"), 16
)
QCAPP_UNCERTAINTY_RATIO = env.count("QCAPP_UNCERTAINTY_RATIO", 4, most=100)  # to 1, that a plan's gauges should have
QCAPP_KEEP_NAMES_YEARS = env.count("QCAPP_KEEP_NAMES_YEARS", 10, most=99)  # after the person left
QCAPP_KEEP_MESSAGES_DAYS = env.count("QCAPP_KEEP_MESSAGES_DAYS", 730, most=36500)
QCAPP_METRICS_TOKEN = env.text("QCAPP_METRICS_TOKEN")  # what a program sends to read /health/metrics/
QCAPP_UPLOAD_CHECK = env.text("QCAPP_UPLOAD_CHECK", "")  # a program that looks at each uploaded file
QCAPP_HTTPS = env.yes_no("QCAPP_HTTPS", QCAPP_PUBLIC_URL.startswith("https:"))

# --- secrets -----------------------------------------------------------------------------------------------
SECRET_KEY = env.secret_key("QCAPP_SECRET_KEY", QCAPP_DATA_DIR / "secret_key", DEBUG)
QCAPP_PIN_PEPPER = env.secret("QCAPP_PIN_PEPPER", SECRET_KEY, "qcapp PIN pepper 1")
QCAPP_ANCHOR_KEY = env.secret("QCAPP_ANCHOR_KEY", SECRET_KEY, "qcapp audit anchors 1")
QCAPP_SIGNING_FOLDER = Path(env.text("QCAPP_SIGNING_FOLDER", str(QCAPP_DATA_DIR / "keys")))
QCAPP_SIGNING_PASSPHRASE = env.kept_text("QCAPP_SIGNING_PASSPHRASE", QCAPP_DATA_DIR / "signing_passphrase")
QCAPP_TIMESTAMP_URL = env.text("QCAPP_TIMESTAMP_URL")
QCAPP_WEBHOOK_URL = env.text("QCAPP_WEBHOOK_URL")
QCAPP_WEBHOOK_SECRET = env.secret("QCAPP_WEBHOOK_SECRET", SECRET_KEY, "qcapp webhook 1")
QCAPP_WEBHOOK_PRIVATE = env.yes_no("QCAPP_WEBHOOK_PRIVATE", False)

# --- databases ---------------------------------------------------------------------------------------------
DATABASES = {"default": env.database("QCAPP_DATABASE_URL", f"sqlite:///{QCAPP_DATA_DIR / 'qcapp.sqlite3'}", 3)}
if env.text("QCAPP_DATABASE_OWNER_URL"):
    # Migrations go through the owner of the tables; the application's own role cannot alter them or their
    # guards.
    DATABASES["owner"] = env.database("QCAPP_DATABASE_OWNER_URL", "", 4)
if env.text("QCAPP_REPLICA_URL"):
    DATABASES["replica"] = env.database("QCAPP_REPLICA_URL", "", 19) | {"TEST": {"MIRROR": "default"}}
    DATABASE_ROUTERS = ["qcapp.config.replica.ReplicaRouter"]
QCAPP_REPLICA_LAG = env.count("QCAPP_REPLICA_LAG", 10, most=3600)  # seconds that a page may be behind
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- parts -------------------------------------------------------------------------------------------------
INSTALLED_APPS = [
    "qcapp.config",
    "qcapp.lib",
    "qcapp.audit",
    "qcapp.people",
    "qcapp.evidence",
    "qcapp.messages",
    "qcapp.gauges",
    "qcapp.production",
    "qcapp.plans",
    "qcapp.inspections",
    "qcapp.nonconformance",
    "qcapp.goods",
    "qcapp.trends",
    "qcapp.improvement",
    "qcapp.affected",
    "qcapp.certificates",
    "qcapp.recall",
    "qcapp.customers",
    "qcapp.history",
    "qcapp.capture",
    "qcapp.api",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "csp",
    "django_htmx",
    "django_tasks",
    "django_tasks_db",
    "drf_spectacular",
    "rest_framework",
]
MIDDLEWARE = [
    "qcapp.lib.middleware.RequestIdMiddleware",
    "qcapp.lib.measuring.MeasuringMiddleware",
    "qcapp.lib.middleware.PlainHttpMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "qcapp.lib.middleware.PrivacyHeadersMiddleware",
    "qcapp.lib.middleware.UploadLimitMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "qcapp.people.tablet_guard.TabletGuardMiddleware",
    "qcapp.people.asked_often.AskedOftenMiddleware",
    "qcapp.lib.middleware.SlidingSessionMiddleware",
    "qcapp.capture.language.LanguageMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "qcapp.lib.middleware.RefusalMiddleware",
    "qcapp.config.replica.ReplicaMiddleware",
]
ROOT_URLCONF = "qcapp.config.urls"
WSGI_APPLICATION = "qcapp.config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "OPTIONS": {
            "builtins": ["qcapp.lib.templatetags.spoken"],
            "loaders": [
                (
                    "qcapp.lib.worded_templates.Loader",  # keeps them, once in each language of the office
                    ["django.template.loaders.filesystem.Loader", "django.template.loaders.app_directories.Loader"],
                )
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "qcapp.config.context.page",
            ],
        },
    }
]
FORM_RENDERER = "qcapp.lib.spoken_forms.SpokenForms"

# --- people ------------------------------------------------------------------------------------------------
AUTH_USER_MODEL = "people.Person"
LOGIN_URL = "people:sign_in"
LOGIN_REDIRECT_URL = "/"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
QCAPP_PASSWORD_WORDS = env.text("QCAPP_PASSWORD_WORDS")  # further ones that everybody at the site would guess
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("badge", "name", "email")},
    },
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "qcapp.people.password_words.OwnWordsValidator"},
]

# How much one person may ask for in a minute, in each process of the server; 0 for no limit.
QCAPP_ASKED_A_MINUTE = {
    "look-up": env.count("QCAPP_LOOK_UPS_A_MINUTE", 240, most=1_000_000),
    "api": env.count("QCAPP_API_CALLS_A_MINUTE", 2400, most=1_000_000),
}
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 10_000}},
}

# --- time and language -------------------------------------------------------------------------------------
TIME_ZONE = "UTC"
USE_TZ = True
LANGUAGE_CODE = "en"
USE_I18N = True
LANGUAGES = [("en", "English"), ("de", "Deutsch"), ("es", "Español")]  # of the floor; the office: en and de
FORMAT_MODULE_PATH = ["qcapp.lib.formats"]
LOCALE_PATHS = [BASE_DIR / "qcapp" / "locale"]

# --- mail ---------------------------------------------------------------------------------------------------
# Sent by `manage.py deliver_messages` alone. The demonstration prints it; a site without a server sends none.
globals().update(env.mail("QCAPP_MAIL_URL"))
QCAPP_ANCHOR_MAIL = [one.strip() for one in env.text("QCAPP_ANCHOR_MAIL").split(",") if one.strip()]
QCAPP_SENDS_MAIL = QCAPP_DEMO or bool(env.text("QCAPP_MAIL_URL"))
DEFAULT_FROM_EMAIL = env.text("QCAPP_MAIL_FROM", f"qcapp@{urlsplit(QCAPP_PUBLIC_URL).hostname or 'localhost'}")

# --- files -------------------------------------------------------------------------------------------------
STATIC_URL = "/static/"
STATIC_ROOT = QCAPP_DATA_DIR / "static"
STATICFILES_DIRS = [path for path in [BASE_DIR / "static"] if path.is_dir()]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "qcapp.config.static_storage.UsedAppFilesFinder",
]
MEDIA_ROOT = QCAPP_DATA_DIR / "files"
STORAGES: dict[str, dict[str, Any]] = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "qcapp.config.static_storage.HashedStaticStorage"},
}
if _store := env.object_store("QCAPP_EVIDENCE_STORE"):
    STORAGES["evidence"] = _store
env.text("QCAPP_EVIDENCE_STORE_KEY")
env.text("QCAPP_EVIDENCE_STORE_SECRET")
if DEBUG:
    WHITENOISE_USE_FINDERS = True
MEBIBYTE = 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * MEBIBYTE  # a form or JSON body without its files
QCAPP_UPLOAD_LIMIT = 20 * MEBIBYTE  # a whole request, files included
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * MEBIBYTE
FILE_UPLOAD_PERMISSIONS = 0o640
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000
DATA_UPLOAD_MAX_NUMBER_FILES = 20

# --- what a browser is told --------------------------------------------------------------------------------
_public_host = urlsplit(QCAPP_PUBLIC_URL).hostname or "localhost"
ALLOWED_HOSTS = env.hosts("QCAPP_ALLOWED_HOSTS", dict.fromkeys([_public_host, "localhost", "127.0.0.1", "[::1]"]))
CSRF_TRUSTED_ORIGINS = [QCAPP_PUBLIC_URL] if QCAPP_HTTPS else []
SESSION_ENGINE = "qcapp.people.services.session_store"
SESSION_COOKIE_AGE = 30 * 24 * 3600  # since the last day of use: SlidingSessionMiddleware renews it once a day
SESSION_LONGEST = 90 * 24 * 3600  # since the sign-in, however much it is used
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_HEADER_NAME = "HTTP_X_CSRFTOKEN"
CSRF_FAILURE_VIEW = "qcapp.lib.refusals.csrf_failure"
if QCAPP_HTTPS:
    # Browsers then take them from this host alone, over HTTPS, for all of its paths.
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = QCAPP_HTTPS
SECURE_REDIRECT_EXEMPT = [r"^health/"]  # asked on the machine itself, without TLS
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if QCAPP_HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = QCAPP_HTTPS
if QCAPP_TRUSTED_PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SILENCED_SYSTEM_CHECKS = [
    "security.W021",  # entering a domain in the browsers' preload list is its owner's decision, not the app's
]

# --- work in the background --------------------------------------------------------------------------------
QCAPP_WORKER = env.yes_no("QCAPP_WORKER", False)
TASKS = {
    "default": {
        "BACKEND": "django_tasks_db.DatabaseBackend"
        if QCAPP_WORKER
        else "django_tasks.backends.immediate.ImmediateBackend",
        "QUEUES": ["default"],
    }
}

# --- the API -----------------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["qcapp.api.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "qcapp.api.errors.handle",
    "COERCE_DECIMAL_TO_STRING": True,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "qcapp",
    "DESCRIPTION": "Inspection plans, results, nonconformance reports and certificates of serialized frames.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_NAME_OVERRIDES": {
        "KeptOutcome": ["applied", "duplicate"],
        "OperationOutcome": ["applied", "duplicate", "rejected", "kept_aside"],
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "qcapp.api.describing.declare_refusals",
    ],
}

# --- the log -----------------------------------------------------------------------------------------------
LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request_id": {"()": "qcapp.lib.middleware.RequestIdFilter"}},
    "formatters": {
        "plain": {"format": "%(asctime)s %(levelname)s %(name)s [%(request_id)s] %(message)s"},
        "json": {
            "()": "pythonjsonlogger.json.JsonFormatter",
            "format": "%(asctime)s %(levelname)s %(name)s %(request_id)s %(message)s",
        },
    },
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": env.one_of("QCAPP_LOG", ("plain", "json"), 17),
            "filters": ["request_id"],
        },
    },
    "root": {"handlers": ["stderr"], "level": "INFO"},
    "loggers": {
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "fontTools": {"level": "WARNING"},
        "weasyprint": {"level": "WARNING"},
    },
}

env.unknown()
QCAPP_PROBLEMS = tuple(env.problems)
