"""Settings, one file. What differs between machines comes from the environment.

It may stand in one file: the one that SECOND_CROSSING_ENVIRONMENT names, or ``.env``
beside manage.py. With nothing set this is a site for one machine: SQLite and media under ``.data``,
answering on this machine only. SECOND_CROSSING_PRODUCTION=1 turns on what a public
site needs and refuses to start without a secret and host names.
"""

from datetime import timedelta
from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from . import databases, environment, logs, media
from .version import __version__

BASE_DIR = Path(__file__).resolve().parent.parent
environment.load(
    Path(environment.text("SECOND_CROSSING_ENVIRONMENT") or BASE_DIR / ".env")
)
DATA_DIR = Path(environment.text("SECOND_CROSSING_DATA") or BASE_DIR / ".data")
# SQLite makes its file but not the folder around it.
DATA_DIR.mkdir(parents=True, exist_ok=True)

#: The society of the demonstration.
DEMONSTRATION = "The Alder Valley Bridge Society"
SOCIETY_NAME = environment.text("SOCIETY_NAME", DEMONSTRATION)
SITE_NAME = "Second Crossing"
VERSION = __version__

PRODUCTION = environment.flag("SECOND_CROSSING_PRODUCTION")
DEBUG = environment.flag("DEBUG")
# A proxy that sets X-Forwarded-For and X-Forwarded-Proto itself stands in front.
BEHIND_PROXY = environment.flag("BEHIND_PROXY")

SECRET_KEY = environment.text("SECRET_KEY")
ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS")
if PRODUCTION:
    if DEBUG:
        raise ImproperlyConfigured("DEBUG must be off in production.")
    if len(SECRET_KEY) < 50 or len(set(SECRET_KEY)) < 10:
        raise ImproperlyConfigured(
            "SECRET_KEY must be set to at least 50 random characters in production."
        )
    if not ALLOWED_HOSTS or "*" in ALLOWED_HOSTS:
        raise ImproperlyConfigured("ALLOWED_HOSTS must list the site's own host names.")
    if any("/" in host or ":" in host.rpartition("]")[2] for host in ALLOWED_HOSTS):
        raise ImproperlyConfigured(
            "ALLOWED_HOSTS takes host names alone: bridges.example.org, no https:// "
            "and no port."
        )
else:
    # Known to all, and so only ever good for a site that answers on one machine.
    SECRET_KEY = SECRET_KEY or "not-a-secret-only-for-a-site-on-one-machine-" + "0" * 20
    ALLOWED_HOSTS = ALLOWED_HOSTS or ["localhost", "127.0.0.1", "[::1]", "testserver"]

INSTALLED_APPS = [
    "shared",
    "bridges",
    "surveys",
    "analysis",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    # The widgets' own templates, which the form renderer below looks for.
    "django.forms",
    "leaflet",
    "simple_history",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "csp",
    "axes",
]

MIDDLEWARE = [
    "shared.logs.middleware",
    "shared.middleware.read_to_the_end",
    # Before the others, so that files and refusals carry these headers like any page.
    "csp.middleware.CSPMiddleware",
    "shared.middleware.permissions_policy",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "axes.middleware.AxesMiddleware",
]

if not PRODUCTION:
    # A collected copy is packed once; without one each answer is.
    _before = MIDDLEWARE.index("whitenoise.middleware.WhiteNoiseMiddleware")
    MIDDLEWARE.insert(_before, "shared.middleware.PackText")

ROOT_URLCONF = "shared.urls"
WSGI_APPLICATION = "shared.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shared.furniture.site",
                "surveys.alarms.furniture",
            ],
            "builtins": ["shared.templatetags.figures"],
        },
    }
]
FORM_RENDERER = "shared.furniture.FormRenderer"

DATABASES = {
    "default": databases.from_url(
        environment.text("DATABASE_URL")
        or f"sqlite:///{DATA_DIR / 'second-crossing.sqlite3'}"
    )
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shared.Person"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
    )
]
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
# A name is closed to one address for a while after so many wrong passwords: enough for
# cold fingers, too few for guessing, and nobody locks a volunteer out from elsewhere.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "shared/locked.html"
AXES_CLIENT_IP_CALLABLE = "shared.callers.address"
# Who signed in when, and from where, is nobody's business; only failures are kept.
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
# A link by mail signs in once, soon after it was asked for.
SESAME_ONE_TIME = True
SESAME_MAX_AGE = timedelta(minutes=15)
# Calls a minute of one person, or of one address where nobody is signed in.
LIMITS = {
    "sign-in": 30,
    "mail": 5,
    "export": 20,
    "visit": 120,
    "upload": 1200,
    "run-check": 60,
    # Answers of the API to one caller, by each worker.
    "read": 3000,
}
LOGIN_URL = "accounts:sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/"
# A volunteer comes back to a phone weeks later and must still be able to send.
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
SESSION_COOKIE_NAME = "second_crossing_session"
CSRF_COOKIE_NAME = "second_crossing_csrf"

LANGUAGE_CODE = "en-us"
TIME_ZONE = environment.text("TIME_ZONE", "America/New_York")
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
# Where photographs lie: a folder, or a bucket of a store that speaks S3.
MEDIA_BUCKET = environment.text("MEDIA_BUCKET")
STORAGES = {
    # Both are private: what a visitor may see of them is decided by a view.
    "default": media.bucket(MEDIA_BUCKET)
    if MEDIA_BUCKET
    else media.folder(DATA_DIR / "media"),
    "staticfiles": {
        "BACKEND": (
            "shared.storage.ModuleStorage"
            if PRODUCTION
            else "django.contrib.staticfiles.storage.StaticFilesStorage"
        ),
    },
}
MEDIA_ROOT = DATA_DIR / "media"
# The fonts come inside packages, so page and PDF use the same files.
STATICFILES_DIRS = []
for _family, _module in (
    ("source-serif-4", "fontpkg_source_serif_4"),
    ("source-sans-3", "fontpkg_source_sans_3"),
):
    _root = __import__(_module).ROOT
    STATICFILES_DIRS.append((f"fonts/{_family}", str(_root)))
# Without a collected copy WhiteNoise serves straight from the apps.
WHITENOISE_USE_FINDERS = not PRODUCTION
WHITENOISE_AUTOREFRESH = not PRODUCTION

# Larger uploads go in chunks; one form with photographs may be this large.
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 20_000
DATA_UPLOAD_MAX_NUMBER_FILES = 60
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
PHOTO_MAX_BYTES = environment.whole("PHOTO_MAX_MB", 40) * 1024 * 1024
PHOTO_MAX_PIXELS = 60_000_000

REST_FRAMEWORK = {
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["shared.api.Json"],
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.SessionAuthentication"
    ],
    "DEFAULT_PERMISSION_CLASSES": [
        "rest_framework.permissions.IsAuthenticatedOrReadOnly"
    ],
    "DEFAULT_THROTTLE_CLASSES": ["shared.limits.Reading"],
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_PAGINATION_CLASS": "shared.api.Pages",
    "DEFAULT_SCHEMA_CLASS": "shared.schema.Schema",
    "EXCEPTION_HANDLER": "shared.api.handle_exception",
    # Without this a caller escapes the limit by sending another X-Forwarded-For.
    "NUM_PROXIES": 1 if BEHIND_PROXY else 0,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Second Crossing",
    "DESCRIPTION": (
        "The record of a historic-bridge society. Load figures are screening "
        "estimates, not load ratings, and not for posting."
    ),
    "VERSION": "1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "shared.schema.document_faults",
    ],
    # One name for what several fields are chosen from.
    "ENUM_NAME_OVERRIDES": {
        "GeoFeatureEnum": ["Feature"],
        "GeoCollectionEnum": ["FeatureCollection"],
        "ConfidenceEnum": "bridges.models.Confidence",
        "BridgeStatusEnum": "bridges.models.Bridge.Status",
        "VisitStatusEnum": "surveys.models.Visit.Status",
    },
}

TILE_URL = environment.text("TILE_URL")
TILE_ATTRIBUTION = environment.text("TILE_ATTRIBUTION")
# A GeoJSON file, or a folder of them. The demonstration's region is invented: under
# another society's bridges there is plain paper until it names its own ground.
BASE_MAP = environment.text("BASE_MAP") or (
    str(BASE_DIR / "fixtures" / "region") if SOCIETY_NAME == DEMONSTRATION else ""
)
TILE_MAX_ZOOM = environment.whole("TILE_MAX_ZOOM", 17)
# The library's own default names a public tile server; the base map is ours.
LEAFLET_CONFIG = {"TILES": [], "RESET_VIEW": False, "ATTRIBUTION_PREFIX": ""}

_TILE_HOST = []
if TILE_URL:
    from urllib.parse import urlsplit

    _parts = urlsplit(TILE_URL)
    _TILE_HOST = [f"{_parts.scheme}://{_parts.netloc.replace('{s}', '*')}"]

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "blob:", "data:", *_TILE_HOST],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
if PRODUCTION:
    SECURE_SSL_REDIRECT = environment.flag("SECURE_SSL_REDIRECT", True)
    # A probe on the machine itself asks without TLS.
    SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
    SECURE_HSTS_SECONDS = environment.whole("HSTS_SECONDS", 60 * 60 * 24 * 365)
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    CSRF_TRUSTED_ORIGINS = [
        f"https://*{host}" if host.startswith(".") else f"https://{host}"
        for host in ALLOWED_HOSTS
    ]
    if BEHIND_PROXY:
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

# Where mail that no page asked for says that the site is.
SITE_ADDRESS = environment.text(
    "SITE_ADDRESS",
    f"https://{ALLOWED_HOSTS[0].removeprefix('.')}"
    if PRODUCTION
    else "http://127.0.0.1:8000",
).rstrip("/")
# Whom a volunteer calls who finds something dangerous, after the owner: a name and a
# number, as it should be read at the roadside.
DANGER_CONTACT = environment.text("DANGER_CONTACT")
# Without a mail server what would be sent is printed where the site was started.
EMAIL_HOST = environment.text("EMAIL_HOST")
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend"
    if EMAIL_HOST
    else "django.core.mail.backends.console.EmailBackend"
)
EMAIL_PORT = environment.whole("EMAIL_PORT", 587)
EMAIL_HOST_USER = environment.text("EMAIL_HOST_USER")
EMAIL_HOST_PASSWORD = environment.text("EMAIL_HOST_PASSWORD")
EMAIL_USE_TLS = environment.flag("EMAIL_USE_TLS", True)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = environment.text("DEFAULT_FROM_EMAIL", "bridges@localhost")
SERVER_EMAIL = DEFAULT_FROM_EMAIL
SILENCED_SYSTEM_CHECKS = []
# Jobs run at once, in the same process, unless a worker is set to take them.
JOBS_INLINE = environment.flag("JOBS_INLINE", True)
# A worker that has not been heard of for so long is taken for gone.
JOBS_LEASE_S = environment.whole("JOBS_LEASE_S", 60)
# How many processes a recheck of everything computes in, at most: each takes a core and
# some 150 MB.
RECHECK_PROCESSES = environment.whole("RECHECK_PROCESSES", min(4, environment.cores()))

# What one caller may read in a log: a line for each request, and faults.
LOG_AS = environment.text("LOG_AS", "json" if PRODUCTION else "text")
ERROR_MAIL = environment.words("ERROR_MAIL")
LOGGING = logs.settings(as_json=LOG_AS == "json", mail_to=ERROR_MAIL)
ADMINS = [("keeper", address) for address in ERROR_MAIL]
SENTRY_DSN = environment.text("SENTRY_DSN")
if SENTRY_DSN:
    logs.report_to(SENTRY_DSN, __version__)

# Pages of other rooms that a phone keeps with the field page, and their styles.
FIELD_PAGES = ("/field/forms/",)
FIELD_STYLES = ("analysis/css/forms.css",)

# What visits had seen of bridges by a day, for the files of the room below.
SEEN_ON = "surveys.as_of.seen_on"

# What the keeper's page counts, by the model's name.
KEEPER_COUNTS = {
    "Bridges": "bridges.Bridge",
    "Visits": "surveys.Visit",
    "Photographs": "surveys.Photo",
    "Checks": "analysis.Check",
    "People": "shared.Person",
}
