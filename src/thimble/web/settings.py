"""Settings, all from the environment and the data folder; safe where nothing is set.

THIMBLE_DATA      data folder: thimble.sqlite3, secret_key, site.toml (default ./data/demo)
THIMBLE_DATABASE  address of a PostgreSQL database, postgresql://user@host/name; not set: the SQLite file
                  thimble.sqlite3 of the data folder
THIMBLE_HOSTS     host names that are served, comma separated (default 127.0.0.1, localhost)
THIMBLE_HTTPS     1 where the site is reached by https: secure cookies and strict transport. A proxy
                  that ends TLS must be counted in THIMBLE_PROXIES and set X-Forwarded-Proto
THIMBLE_PROXIES   how many trusted proxies stand in front (default 0): whose X-Forwarded-For counts
THIMBLE_MALWARE_COMMAND  program that gets each scan on its standard input; 0 lets it pass
THIMBLE_MAIL      how mail leaves: smtp; file (into the folder mail of the data folder) or console, which
                  reach nobody; not set: no mail is sent
THIMBLE_MAIL_HOST, _PORT, _USER, _PASSWORD   the mail server (default localhost, 587, no sign-in)
THIMBLE_MAIL_TLS  starttls (default), tls, or off on the machine itself
THIMBLE_TRIAL_DATABASE  database file of the tests (default: in memory)
"""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

HERE = Path(__file__).resolve().parent
DATA = Path(os.environ.get("THIMBLE_DATA", "data/demo")).resolve()
HTTPS = os.environ.get("THIMBLE_HTTPS") == "1"
PROXIES = int(os.environ.get("THIMBLE_PROXIES", "0"))


def _secret_key(folder: Path) -> str:
    """The key in the folder, made on first use and readable by its owner alone.

    Without a data folder there is nothing to serve, and the key lives as long as the process.
    """
    if not folder.is_dir():
        return secrets.token_urlsafe(64)
    path = folder / "secret_key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return Path(_private(path)).read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        key = secrets.token_urlsafe(64)
        file.write(key)
    return key


def _private(path: Path) -> str:
    """The path of a file, which is shut to other users where a copy or a restore opened it.

    SQLite makes its journals with the modes of the database itself.
    """
    if path.is_file() and path.stat().st_mode & 0o077:
        path.chmod(0o600)
    return str(path)


DATABASE = os.environ.get("THIMBLE_DATABASE", "")


def _database() -> dict[str, Any]:
    """Where entries, names and accounts are kept: durable at each commit, one writer at a time."""
    return _postgresql(DATABASE) if DATABASE else _sqlite()


def _sqlite() -> dict[str, Any]:
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": _private(DATA / "thimble.sqlite3"),
        "CONN_MAX_AGE": 60,
        "OPTIONS": {
            # A reader that turns writer half-way fails under load; IMMEDIATE waits at the door.
            "transaction_mode": "IMMEDIATE",
            "timeout": 10,
            # A name that is erased is overwritten, not only left out of every list.
            "init_command": (
                "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
                "PRAGMA secure_delete=ON;"
            ),
        },
        "TEST": {"NAME": os.environ.get("THIMBLE_TRIAL_DATABASE")},
    }


def _postgresql(address: str) -> dict[str, Any]:
    """PostgreSQL, reached as the address says. What it leaves out libpq finds by itself: a password
    belongs in its password file, not in an address."""
    try:
        found = urlsplit(address)
        port = found.port
    except ValueError:
        found, port = urlsplit(""), None
    name = unquote(found.path.removeprefix("/"))
    if found.scheme not in ("postgresql", "postgres") or not name or found.fragment:
        # Not the address itself: it may hold a password.
        raise ImproperlyConfigured(
            "THIMBLE_DATABASE is an address such as postgresql://thimble@db.example/thimble or "
            "postgresql:///thimble?host=/run/postgresql; what it says now is none"
        )
    options = dict(parse_qsl(found.query, keep_blank_values=True))
    # Whatever the server's own setting: an answer is given only after the entry is on its disk. Of two
    # settings the last one holds.
    durable = f"{options.pop('options', '')} -c synchronous_commit=on".strip()
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": name,
        "USER": unquote(found.username or ""),
        "PASSWORD": unquote(found.password or ""),
        "HOST": options.pop("host", "") or found.hostname or "",
        "PORT": str(port or options.pop("port", "")),
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": {"options": durable, **options},
    }


DEBUG = False
SECRET_KEY = _secret_key(DATA)
ALLOWED_HOSTS = [
    host.strip()
    for host in os.environ.get("THIMBLE_HOSTS", "127.0.0.1,localhost").split(",")
    if host.strip()
]

INSTALLED_APPS = [
    "thimble.web",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "thimble.web.headers.HeadersMiddleware",
    "thimble.web.limits.BodyLimitMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "thimble.web.sessions.SessionLimitsMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "thimble.web.access.AccessMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "thimble.web.urls"
WSGI_APPLICATION = "thimble.web.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

SCREENS = sorted(path.parent.name for path in HERE.glob("*/urls.py"))
"""One folder a screen, each with urls.py and templates/<screen>/."""

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates", *(HERE / screen / "templates" for screen in SCREENS)],
        "APP_DIRS": False,
        "OPTIONS": {
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    ["django.template.loaders.filesystem.Loader"],
                )
            ],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "thimble.web.context.frame",
            ],
            "builtins": ["thimble.web.templatetags.thimble"],
        },
    }
]
# Form widgets come from Django's own templates; ours may replace any.
FORM_RENDERER = "thimble.web.forms.Renderer"

DATABASES = {"default": _database()}

CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
    # Shared by all worker processes, so that a limit is one limit.
    "limits": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "web_limits",
        # So many that a flood of addresses does not push out each other's counts.
        "OPTIONS": {"MAX_ENTRIES": 20_000},
    },
}

# --- who comes in ---------------------------------------------------------------------------------

AUTH_USER_MODEL = "web.Account"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.ScryptPasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["sign_in", "display_name"]},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
    {"NAME": "thimble.web.passwords.NotThePublishedOne"},
]
LOGIN_URL = "accounts:sign_in"
LOGIN_REDIRECT_URL = "accounts:home"
LOGOUT_REDIRECT_URL = "accounts:sign_in"

# Name and address together: one clumsy colleague behind the hospital's shared address must not lock
# out the whole night shift, nor a stranger elsewhere lock out a colleague.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
AXES_ENABLE_ADMIN = False
AXES_USERNAME_FORM_FIELD = "username"
AXES_CLIENT_IP_CALLABLE = "thimble.web.client.address"
AXES_USERNAME_CALLABLE = "thimble.web.client.name_key"
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "next", "csrfmiddlewaretoken"]
AXES_LOCKOUT_CALLABLE = "thimble.web.accounts.views.locked_out"

# Wrong passwords from one address, whatever the names: somebody who tries one password on every name
# never meets the lock of a name. So high that a whole shift behind one address does not meet it.
WRONG_SIGN_INS_PER_WINDOW = 50
SIGN_IN_WINDOW_SECONDS = 900

SESSION_IDLE_MINUTES = 30
SESSION_HOURS = 12
SESSION_COOKIE_AGE = SESSION_HOURS * 3600
SESSION_EXPIRE_AT_BROWSER_CLOSE = True
SESSION_COOKIE_NAME = "__Host-thimble" if HTTPS else "thimble"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_NAME = "__Host-thimble-form" if HTTPS else "thimble-form"
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Strict"
CSRF_COOKIE_SECURE = HTTPS
CSRF_FAILURE_VIEW = "thimble.web.errors.form_expired"

# Reports without sign-in, for each address (a whole hospital may share one).
REPORTS_PER_WINDOW = 12
REPORT_WINDOW_SECONDS = 600

# --- what browsers are told -----------------------------------------------------------------------

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS and PROXIES else None
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 262_144
DATA_UPLOAD_MAX_NUMBER_FIELDS = 200
# Uploaded files hold names: they stay in memory until they are sealed, and never reach /tmp.
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.MemoryFileUploadHandler"]
FILE_UPLOAD_MAX_MEMORY_SIZE = 16 * 1024 * 1024
MALWARE_COMMAND = os.environ.get("THIMBLE_MALWARE_COMMAND", "")

# --- files, words, time ---------------------------------------------------------------------------

STATIC_URL = "/static/"
# Served straight from the package: an installation needs no step to gather them.
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = False
WHITENOISE_MAX_AGE = 86_400  # pages name files with a digest of their content
STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.AppDirectoriesFinder"]

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # pages show the site's zone, see context.frame

MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# --- mail to workers about their appointments -----------------------------------------------------

_BACKENDS = {"": "dummy", "smtp": "smtp", "file": "filebased", "console": "console"}
MAIL = os.environ.get("THIMBLE_MAIL", "")
if MAIL not in _BACKENDS:
    raise ImproperlyConfigured(f"THIMBLE_MAIL is smtp, file, console or not set; found {MAIL!r}")
_MAIL_TLS = os.environ.get("THIMBLE_MAIL_TLS", "starttls")
if _MAIL_TLS not in ("starttls", "tls", "off"):
    raise ImproperlyConfigured(f"THIMBLE_MAIL_TLS is starttls, tls or off; found {_MAIL_TLS!r}")
EMAIL_BACKEND = f"django.core.mail.backends.{_BACKENDS[MAIL]}.EmailBackend"
EMAIL_FILE_PATH = DATA / "mail"
EMAIL_HOST = os.environ.get("THIMBLE_MAIL_HOST", "localhost")
EMAIL_PORT = int(os.environ.get("THIMBLE_MAIL_PORT", "587"))
EMAIL_HOST_USER = os.environ.get("THIMBLE_MAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("THIMBLE_MAIL_PASSWORD", "")
EMAIL_USE_TLS = _MAIL_TLS == "starttls"
EMAIL_USE_SSL = _MAIL_TLS == "tls"
EMAIL_TIMEOUT = 10

# --- logging: events, case references and account ids; never a name, an address or typed text ------

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"safe": {"()": "thimble.web.log.NoIdentities"}},
    "formatters": {"line": {"()": "thimble.web.log.Line"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["safe"]},
        "nowhere": {"class": "logging.NullHandler"},
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "thimble": {"handlers": ["console"], "level": "INFO", "propagate": False},
        "django": {"handlers": ["console"], "level": "WARNING", "propagate": False},
        # Both would write what was typed or where it came from.
        "axes": {"handlers": ["nowhere"], "propagate": False},
        "django.security": {"handlers": ["console"], "level": "ERROR", "propagate": False},
        # The server's own handler writes; it too must not write paths, addresses or tracebacks.
        "gunicorn.error": {"filters": ["safe"]},
    },
}
