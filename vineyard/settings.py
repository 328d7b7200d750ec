"""All settings of the service, in one file; every value from outside comes through ``vineyard.env``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from vineyard import env, logs
from vineyard.databases import primary_at, replica_at
from vineyard.limits.rates import Limit

BASE_DIR = Path(__file__).resolve().parent.parent
FIXTURES_DIR = BASE_DIR / "fixtures"

# --- What the environment says -------------------------------------------------------------------------

SECRET_KEY = env.secret(
    "SECRET_KEY",
    "the key that signs sessions and page cursors",
    shortest=40,
)
_DATABASE = env.database("DATABASE_URL", "the address of PostgreSQL, as the role that serves")
#: The role that serves requests and carries out jobs; it owns nothing.
SERVING_ROLE = _DATABASE.user
#: The role that owns the tables: only ``manage.py migrate`` uses it.
DATABASE_OWNER = env.database(
    "DATABASE_OWNER_URL",
    "the same database, as the role that owns the tables and migrates them",
    default="postgresql://nobody@nowhere/none",
)
#: The role that sees every row of every farm: only ``manage.py backup`` and ``restore`` use it.
DATABASE_BACKUP = env.database(
    "DATABASE_BACKUP_URL",
    "the same database, as a role that sees every row, for backup and restore",
    default="postgresql://nobody@nowhere/none",
)
#: A standby that summaries may be read from; nothing else is.
_REPLICA = env.replica(
    "REPLICA_DATABASE_URL", "a streaming replica of the same database, that summaries are read from", _DATABASE
)
SUMMARIES_MAY_LAG_SECONDS = env.integer(
    "SUMMARIES_MAY_LAG_SECONDS",
    "how old what a summary says may be, in seconds, where it is read from the replica",
    5,
    low=0,
    high=3_600,
)
BROKER_URL = env.broker("BROKER_URL", "the address of Valkey, which wakes the worker")
PUBLIC_URL = env.public_url("PUBLIC_URL", "the address under which clients reach the service", "http://localhost:8000")
ALLOWED_HOSTS = env.hosts("ALLOWED_HOSTS", "the host names that the service answers for", "localhost,127.0.0.1,[::1]")
_STATEMENT_TIMEOUT_MS = env.integer(
    "STATEMENT_TIMEOUT_MS",
    "the longest time in milliseconds that one database statement may take",
    5_000,
    low=100,
    high=3_600_000,
)
API_THREADS = env.integer(
    "API_THREADS",
    "how many requests one API worker process works on at once; each thread keeps one database connection",
    16,
    low=2,
    high=64,
)
TRUSTED_PROXIES = env.integer(
    "TRUSTED_PROXIES",
    "how many proxies of ours stand before the service; the address that the outermost of them saw is the client's",
    0,
    low=0,
    high=10,
)
_RATES = {
    "key": env.rate("RATE_LIMIT_KEY", "how many requests one key or login may send in how many seconds", "24000/60"),
    "farm": env.rate("RATE_LIMIT_FARM", "the same for all that is sent to one farm", "48000/60"),
    "address": env.rate("RATE_LIMIT_ADDRESS", "the same for one address that sends no key", "6000/60"),
    "wrong_keys": env.rate("RATE_LIMIT_WRONG_KEYS", "how many wrong keys one address may send", "3000/60"),
    "login_account": env.rate("RATE_LIMIT_LOGIN_ACCOUNT", "how many wrong passwords an account may be given", "10/300"),
    "login_address": env.rate("RATE_LIMIT_LOGIN_ADDRESS", "how many wrong passwords one address may send", "100/300"),
}
#: Limit by name; ``None`` limits nothing.
RATE_LIMITS = {name: Limit(name, *rate) if rate else None for name, rate in _RATES.items()}

# --- The process ---------------------------------------------------------------------------------------

DEBUG = False
ROOT_URLCONF = "vineyard.urls"
WSGI_APPLICATION = "vineyard.wsgi.application"
APPEND_SLASH = False
INSTALLED_APPS = [
    "vineyard",
    "balance",
    "records",
    "django.contrib.admin.apps.SimpleAdminConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.sessions",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]
MIDDLEWARE = [
    "vineyard.api.watching.Watched",
    "vineyard.api.middleware.RequestId",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.common.CommonMiddleware",
    "vineyard.api.throttling.RateLimitHeaders",
    "vineyard.api.deprecating.TellDeprecations",
    "vineyard.api.middleware.BodyRules",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "records.api.visiting.KeepVisits",
]
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
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

# --- Records -------------------------------------------------------------------------------------------

DATABASES: dict[str, dict[str, Any]] = {"default": primary_at(_DATABASE, _STATEMENT_TIMEOUT_MS)}
if _REPLICA:
    DATABASES["replica"] = replica_at(_REPLICA, _STATEMENT_TIMEOUT_MS)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "records.Person"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "/login"
LOGIN_REDIRECT_URL = "/docs"
SESSION_COOKIE_AGE = 12 * 3_600  # a working day
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = False
LANGUAGE_CODE = "en"

# --- Background work -----------------------------------------------------------------------------------

CELERY_BROKER_URL = BROKER_URL
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_TIME_LIMIT = 900
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": 1_800,  # longer than the longest task, or the broker would start it twice
    "unacked_restore_interval": 1,
    "unacked_restore_throttle": 1,  # together: a dead worker's task is offered again within seconds
    "socket_timeout": 10,
    "socket_connect_timeout": 2,
    "health_check_interval": 25,
}
CELERY_IMPORTS = (
    "balance.benchmarks.tasks",
    "balance.program_work.tasks",
    "balance.reports.tasks",
)  # beside the tasks of each app
CELERY_BEAT_SCHEDULE = {
    "forget-old-answers": {"task": "records.tasks.forget_old_answers", "schedule": 3_600.0},
    "sweep-jobs": {"task": "records.tasks.sweep_jobs", "schedule": 10.0},
    "sweep-program-work": {"task": "balance.program_work.tasks.sweep_program_work", "schedule": 10.0},
}

# --- What leaves the house -----------------------------------------------------------------------------

#: Hosts with ports that webhooks may go to wherever they lead: receivers in a network of one's own, and in tests.
WEBHOOKS_MAY_GO_TO: frozenset[str] = env.places(
    "WEBHOOKS_MAY_GO_TO",
    "the receivers of webhooks, as host:port with commas, that need not be public and may have any port",
)
WEBHOOKS_ONLY_LISTED: bool = env.one_of(
    "WEBHOOKS_ONLY_LISTED", "yes: webhooks go to WEBHOOKS_MAY_GO_TO alone, and no other name is looked up", "no",
    ["yes", "no"],
) == "yes"  # fmt: skip
WEBHOOKS_CA_FILE: str = env.file(
    "WEBHOOKS_CA_FILE",
    "a file of certificates (PEM) of authorities of your own that receivers of webhooks may be signed by",
)
_MAIL = env.mail("EMAIL_URL", "how mail is sent", "none:")
EMAIL_BACKEND = _MAIL.backend
EMAIL_HOST, EMAIL_PORT = _MAIL.host, _MAIL.port
EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = _MAIL.user, _MAIL.password
EMAIL_USE_TLS, EMAIL_USE_SSL = _MAIL.starttls, _MAIL.tls
EMAIL_TIMEOUT = 10  # less than a worker's lease
DEFAULT_FROM_EMAIL = env.text("EMAIL_FROM", "the address that mail comes from", "vineyard@localhost")

# --- The API -------------------------------------------------------------------------------------------

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["records.api.authentication.ApiKeyAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["vineyard.api.parsers.StrictJSONParser"],
    "DEFAULT_THROTTLE_CLASSES": ["vineyard.api.throttling.RateLimit"],
    "DEFAULT_RENDERER_CLASSES": ["vineyard.api.renderers.OrjsonRenderer"],
    "DEFAULT_PAGINATION_CLASS": "vineyard.api.paging.KeysetPagination",
    "DEFAULT_SCHEMA_CLASS": "vineyard.api.schema.ApiSchema",
    "EXCEPTION_HANDLER": "vineyard.api.errors.problem_handler",
    "URL_FORMAT_OVERRIDE": None,
    "UNAUTHENTICATED_USER": None,
    "UNAUTHENTICATED_TOKEN": None,
    "COERCE_DECIMAL_TO_STRING": False,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Balanced pruning of grapevines",
    "DESCRIPTION": (
        "Weigh the one-year-old prunings of a vine, get the number of count nodes to keep, with formula, source and "
        "steps; send the count that was left, get the verdict.\n\n"
        "Send a key as `Authorization: Bearer vine_…`. Everything of a farm stands under `/farms/{farm}`; another "
        "farm's things are answered as if there were none. A create with an `id` of your own may be sent again for "
        "ever. A change takes the ETag that you read as `If-Match`. Every answer that is not a success is a problem "
        "by RFC 9457, explained at `/problems`. Lists are paged: follow `next`.\n\n"
        "What has no id of yours takes an `Idempotency-Key`, by which it is known again for 30 days. `RateLimit` says "
        "what is left of what you may ask; 429 and 503 say in `Retry-After` when to come back.\n\n"
        "A guide only: check bud survival, cultivar and site with local extension or a licensed adviser."
    ),
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.0",
    "SERVERS": [{"url": "/", "description": "The service that gave this document."}],
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "COMPONENT_SPLIT_REQUEST": True,
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "ENUM_NAME_OVERRIDES": {
        "JobState": "records.models.jobs.JobState",
        "LineOutcome": "records.models.imports.LineOutcome",
        "ScaleWord": ["spring", "digital", "not_stated"],
        "StageScale": ["bbch", "eichhorn_lorenz", "modified_eichhorn_lorenz"],
        "CountOutcome": ["within_tolerance", "too_many", "too_few"],
        "TargetStatus": "balance.models.TargetStatus",
        "FormulaKind": "records.models.catalogue.FormulaKind",
        "SourceMark": "balance.formulas.methods.MARKS",
        "RangeMeasure": "records.models.ranges.Measure",
        "SpacingMeasure": "balance.spacing.UNITS",
        "BenchmarkMeasure": "balance.benchmarks.measures.NAMES",
        "BulkStatus": ["created", "updated", "unchanged", "error"],
        "CordonReason": "balance.cordons.models.Reason",
        "CordonScope": "balance.cordons.models.Scope",
        "HarvestScope": "records.kinds.definitions.SCOPES",
        "ReportForm": "balance.reports.models.Form",
        "FormEnum": ["spur", "cane"],
        "VerdictEnum": "balance.api.figures.VERDICTS",
        "BasisEnum": "balance.crops.block_crops.BASES",
        "OrderEnum": "balance.cordons.worklist.ORDERS",
        "ComparisonOrder": "balance.summaries.comparison.ORDERS",
        "SummaryScope": "balance.api.summaries.parts_out.SCOPES",
        "NoticeCode": "balance.summaries.attention_list.CODES",
        "LackCode": "balance.summaries.completeness.LACK_CODES",
        "BulkErrorStatus": [(status, status) for status in (400, 409, 412, 422)],
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "vineyard.api.schema.complete_operations",
    ],
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000

# --- Static files and transport ------------------------------------------------------------------------

STATIC_URL = "/static/"
WHITENOISE_USE_FINDERS = True  # the files come from installed packages; nothing to collect
WHITENOISE_AUTOREFRESH = False
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
_HTTPS = PUBLIC_URL.startswith("https://")
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = _HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _HTTPS else None
SESSION_COOKIE_NAME = "__Host-session" if _HTTPS else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if _HTTPS else "csrf"
CSRF_COOKIE_HTTPONLY = True  # the pages carry the token in their forms
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
CSRF_FAILURE_VIEW = "vineyard.api.answers.token_missing"
SECURE_HSTS_SECONDS = 31_536_000 if _HTTPS else 0

# --- What watches the service --------------------------------------------------------------------------

LOG_FORMAT = env.one_of("LOG_FORMAT", logs.FORM_MEANING, logs.FORM_DEFAULT, logs.FORMATS)
LOGGING = logs.CONFIGURATION
#: Where the processes of the API keep their counts for each other; read by prometheus-client itself.
METRICS_FOLDER = env.text(
    "PROMETHEUS_MULTIPROC_DIR",
    "the folder in which the processes of one start keep their counts; without it each answers for itself",
    default="",
)
METRICS_TOKEN = env.secret(
    "METRICS_TOKEN",
    "the token by which /metrics is read; without it, it answers on this machine alone",
    default="",
    shortest=24,
)
OLDEST_JOB_SECONDS = env.integer(
    "OLDEST_JOB_SECONDS",
    "how long a job may wait, in seconds, before /readyz calls the service degraded",
    900,
    low=10,
    high=604_800,
)
