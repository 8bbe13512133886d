"""Every setting of the house. Only this module reads the environment; `.env.example` lists the names.

What is not set has the value that is safe in production. `KITPOST_DEMO=true` turns a folder into a house that tries
things out on one machine: its own secret key, plain http, mail as files.
"""

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import django_stubs_ext
from kombu import Queue

from portal import env
from portal.demo.secrets import house_secret
from portal.processes import hide_this_process

django_stubs_ext.monkeypatch()
# Every process that reads this module holds secrets from here on.
hide_this_process()

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = env.folder("KITPOST_DATA_DIR", default=BASE_DIR / "var")
DEMO = env.flag("KITPOST_DEMO", default=False)
DEBUG = env.flag("KITPOST_DEBUG", default=False)
SECRET_KEY = house_secret(DATA_DIR) if DEMO else env.secret("KITPOST_SECRET_KEY")

# Where people reach the house: links in mails start with it, and no other host is answered.
BASE_URL = env.web_address("KITPOST_BASE_URL", "http://localhost:8000" if DEMO else None)
LOCAL_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
ALLOWED_HOSTS = [urlsplit(BASE_URL).hostname or "", *env.names("KITPOST_EXTRA_HOSTS"), *(LOCAL_HOSTS if DEMO else [])]
CSRF_TRUSTED_ORIGINS = [BASE_URL]
# Whose X-Forwarded-For and X-Forwarded-Proto are believed. Everybody else may write there what they like.
FRONT_SERVERS = env.networks("KITPOST_FRONT_SERVERS", "none" if DEMO else "127.0.0.1,::1")

ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
AUTH_USER_MODEL = "people.User"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
LOGIN_URL = "people:sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/"

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "portal",
    "portal.people",
    "portal.bookings",
    "portal.mailroom",
    "portal.uploads",
    "portal.intake",
    "portal.lanes",
    "portal.listening",
    "portal.charts",
    "portal.prep",
    "portal.kit",
    "portal.takes",
    "portal.delivery",
    "portal.money",
    "portal.search",
    "portal.demo",
]

MIDDLEWARE = [
    "portal.front_servers.FrontServerMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "portal.headers.ContentSecurityPolicyMiddleware",
    "portal.headers.NoStoreMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "portal.uploads.door.BodyMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "portal.clean_text.CleanTextMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "portal.people.middleware.DeviceMiddleware",
    "portal.people.middleware.TimeZoneMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

LANGUAGE_CODE = "en"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

DATABASES = {"default": env.database("KITPOST_DATABASE_URL", sqlite_file=DATA_DIR / "kitpost.sqlite3")}

# Originals, mixes and deliveries. Nothing in here has a public address: views look up who may see it.
S3_BUCKET = env.text("KITPOST_S3_BUCKET", "")
S3_ENDPOINT_URL = env.web_address("KITPOST_S3_ENDPOINT_URL", "")
FOLDER_STORE: dict[str, Any] = {
    "BACKEND": "portal.storage.FolderStorage",
    "OPTIONS": {"location": str(DATA_DIR / "store")},
}
S3_STORE: dict[str, Any] = {
    "BACKEND": "portal.object_storage.ObjectStorage",
    "OPTIONS": {
        "bucket_name": S3_BUCKET,
        "endpoint_url": S3_ENDPOINT_URL or None,
        "region_name": env.text("KITPOST_S3_REGION", "us-east-1"),
        "access_key": env.secret("KITPOST_S3_ACCESS_KEY", "") or None,
        "secret_key": env.secret("KITPOST_S3_SECRET_KEY", "") or None,
    },
}
# Names with a hash of the content let a browser keep a file for good. The demo serves files as they lie in the tree.
STATIC_BACKEND = (
    "django.contrib.staticfiles.storage.StaticFilesStorage"
    if DEMO
    else "whitenoise.storage.CompressedManifestStaticFilesStorage"
)
STORAGES = {
    "default": S3_STORE if S3_BUCKET else FOLDER_STORE,
    "staticfiles": {"BACKEND": STATIC_BACKEND},
}
STATIC_URL = "/static/"
STATIC_ROOT = None if DEMO else env.folder("KITPOST_STATIC_DIR", default=BASE_DIR / "staticfiles")
STATICFILES_DIRS = [("vendor/tus", str(BASE_DIR / "node_modules" / "tus-js-client" / "dist"))]
WHITENOISE_USE_FINDERS = DEMO

# Where the front server finds the store under an internal address (nginx: X-Accel-Redirect); empty: Python sends files.
ACCEL_PREFIX = env.text("KITPOST_ACCEL_PREFIX", "")
# Bytes of one upload. The store's disk is the real limit; this one keeps a mistake from filling it.
LARGEST_UPLOAD_BYTES = env.whole_number("KITPOST_LARGEST_UPLOAD_GIB", default=32, least=1) * 1024**3
# Bytes of all that one zip unpacks to, and how many files it may hold. Not a ratio: silent stems pack a thousandfold.
LARGEST_UNPACKED_BYTES = env.whole_number("KITPOST_LARGEST_UNPACKED_GIB", default=64, least=1) * 1024**3
MOST_FILES_IN_ZIP = env.whole_number("KITPOST_MOST_FILES_IN_ZIP", default=1_000, least=1)
# Bytes of all files of one booking together, those that are still arriving included.
LARGEST_BOOKING_BYTES = env.whole_number("KITPOST_LARGEST_BOOKING_GIB", default=200, least=1) * 1024**3
UPLOAD_DIR = DATA_DIR / "uploads"
# A form without files, of somebody who is signed in, and of nobody: longer ones are refused unread.
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
LARGEST_ANONYMOUS_FORM_BYTES = 64_000
# Where files that come with a form lie until they are taken over.
FILE_UPLOAD_TEMP_DIR = UPLOAD_DIR / "forms"
SILENCED_SYSTEM_CHECKS = [
    "files.E001",  # the folder for forms is made when the first one arrives
    *("security.W005", "security.W021"),  # HSTS for other hosts of the domain is the owner's choice
]
# What an upload must leave free on the disk of the data folder.
UPLOAD_DISK_RESERVE_BYTES = env.whole_number("KITPOST_DISK_RESERVE_GIB", default=2) * 1024**3
# Whom a finished upload is handed to, by what it is for: `uploads` itself knows no songs.
UPLOAD_RECEIVERS = {
    "source": "portal.intake.files.receivers.SourceReceiver",
    "bounce": "portal.intake.files.receivers.BounceReceiver",
    "rough-mix": "portal.takes.receivers.RoughMixReceiver",
    "track": "portal.delivery.receivers.TrackReceiver",
}

globals().update(env.mail("KITPOST_MAIL_URL", folder=DATA_DIR / "mail"))
MAIL_DIR = DATA_DIR / "mail"
DEFAULT_FROM_EMAIL = env.text("KITPOST_MAIL_FROM", f"kitpost@{urlsplit(BASE_URL).hostname}")
SERVER_EMAIL = DEFAULT_FROM_EMAIL

# A job is acknowledged when it is done: one that dies with its worker is handed out again. A job that runs longer than
# the visibility timeout would run twice at once, so the timeout and the hard limit are one number.
LONGEST_TASK_S = env.whole_number("KITPOST_LONGEST_TASK_S", default=1_800, least=60)
CELERY_BROKER_URL = env.secret("KITPOST_BROKER_URL", "redis://localhost:6379/0")
# True where one worker serves each queue: at its start, no other can be at a job that was never acknowledged.
SOLE_WORKER = env.flag("KITPOST_SOLE_WORKER", default=False)
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": LONGEST_TASK_S + 60,
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "socket_timeout": 30,
    "socket_connect_timeout": 5,
}
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_TIME_LIMIT = LONGEST_TASK_S
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
# A queue of its own for each kind of work: an e-mail does not wait for sound, nor one booking for another's zip. In
# `measuring` is what follows from files that were measured; `files` holds those that still are to be, which may be
# thousands: their worker takes from it when `measuring` is empty (by priority: with Redis, 0 comes before 9).
CELERY_TASK_QUEUES = [Queue(name) for name in ("mail", "sweeps", "unpacking", "packs", "measuring", "files")]
CELERY_TASK_DEFAULT_QUEUE = "measuring"
CELERY_TASK_ROUTES = {
    "portal.intake.tasks.unpack_zip": {"queue": "unpacking"},
    "portal.intake.tasks.survey_file": {"queue": "files", "priority": 9},
    "portal.intake.tasks.send_answers": {"queue": "mail"},
    "portal.intake.tasks.keep_house": {"queue": "unpacking"},
    # One takes minutes. Where a worker serves other queues too, it comes behind all that waits there.
    "portal.prep.tasks.make_pack": {"queue": "packs", "priority": 9},
    "portal.mailroom.tasks.send_mail": {"queue": "mail"},
    "portal.mailroom.tasks.*": {"queue": "sweeps"},
    "portal.money.tasks.*": {"queue": "sweeps"},
    "portal.uploads.tasks.*": {"queue": "unpacking"},
    "portal.*.tasks.sweep": {"queue": "sweeps"},
}
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")
# The rows are the truth, the queue is not: each sweep starts again what a killed process or a lost queue left lying.
CELERY_BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    "send waiting mail": {"task": "portal.mailroom.tasks.send_waiting", "schedule": 60},
    "tell of changed questions": {"task": "portal.mailroom.tasks.send_digests", "schedule": 60},
    "remind of open questions": {"task": "portal.mailroom.tasks.remind", "schedule": 1_800},
    "finish waiting uploads": {"task": "portal.uploads.tasks.finish_waiting", "schedule": 60},
    "expire abandoned uploads": {"task": "portal.uploads.tasks.expire_abandoned", "schedule": 3_600},
    "check songs that were left": {"task": "portal.intake.tasks.sweep", "schedule": 30},
    "make copies that were left": {"task": "portal.lanes.tasks.sweep", "schedule": 60},
    "make excerpts that were left": {"task": "portal.listening.tasks.sweep", "schedule": 60},
    "keep or clear originals": {"task": "portal.intake.tasks.keep_house", "schedule": 3_600},
    "make prepared files that were left": {"task": "portal.prep.tasks.sweep", "schedule": 60},
    "make charts that were left": {"task": "portal.charts.tasks.sweep", "schedule": 60},
    "measure rough mixes that were left": {"task": "portal.takes.tasks.sweep", "schedule": 60},
    "clear expired sessions": {"task": "portal.people.tasks.clear_sessions", "schedule": 24 * 3_600},
    # The drummer may have second thoughts about a map for so long.
    "ask for deposits": {"task": "portal.money.tasks.ask_for_deposits", "schedule": 300},
    "note quotes that ran out": {"task": "portal.money.tasks.note_expired", "schedule": 900},
    "check deliveries that were left": {"task": "portal.delivery.tasks.sweep", "schedule": 60},
}
if DEMO:
    CELERY_BEAT_SCHEDULE["move the songs of a new demo on"] = {"task": "portal.demo.tasks.sweep", "schedule": 5}
for entry in CELERY_BEAT_SCHEDULE.values():
    # A sweep that nobody came to is not done twice: the next one sees as much.
    entry["options"] = {"expires": entry["schedule"]}

AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["name", "email"]},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

# The demo speaks plain http on this machine; a house for real is behind a front server that speaks https.
IS_HTTPS = not DEMO
SESSION_COOKIE_AGE = 30 * 24 * 3_600
SESSION_COOKIE_SECURE = IS_HTTPS
CSRF_COOKIE_SECURE = IS_HTTPS
SECURE_SSL_REDIRECT = IS_HTTPS
SECURE_SSL_HOST = urlsplit(BASE_URL).netloc
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if IS_HTTPS else None
SECURE_HSTS_SECONDS = env.whole_number("KITPOST_HSTS_SECONDS", default=31_536_000) if IS_HTTPS else 0
# Both reach beyond this house, to every other host of the domain, and stay for a year: somebody has to want them.
SECURE_HSTS_INCLUDE_SUBDOMAINS = IS_HTTPS and env.flag("KITPOST_HSTS_SUBDOMAINS", default=False)
SECURE_HSTS_PRELOAD = IS_HTTPS and env.flag("KITPOST_HSTS_PRELOAD", default=False)
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "line"},
        "null": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "portal": {"level": env.choice("KITPOST_LOG_LEVEL", default="INFO", choices=env.LOG_LEVELS)},
        "analysis": {"level": "WARNING"},
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        # A 404 is an outcome the visitor sees; a 500 is logged once, with its trace.
        "django.request": {"level": "ERROR"},
        "django.security.DisallowedHost": {"handlers": ["null"], "propagate": False},
    },
}
