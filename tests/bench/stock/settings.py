"""Settings as ``startproject`` leaves them, except for what has to be said; connections are kept, which is kind to it."""

from __future__ import annotations

import os
from urllib.parse import unquote, urlsplit

_ADDRESS = urlsplit(os.environ["BENCH_STOCK_DATABASE"])
#: Its own tables stand in a schema of their own, beside the tables of the service.
_SEARCH_PATH = os.environ.get("BENCH_STOCK_SEARCH_PATH", "stock,public")

SECRET_KEY = "only-for-a-reference-that-nobody-else-reaches"
ALLOWED_HOSTS = ["127.0.0.1"]
ROOT_URLCONF = "tests.bench.stock.urls"
INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "rest_framework",
    "rest_framework.authtoken",
    "tests.bench.stock",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
DATABASES = {
    "default": {
        "ENGINE": "django.db.backends.postgresql",
        "HOST": unquote(_ADDRESS.hostname or ""),
        "PORT": _ADDRESS.port,
        "USER": _ADDRESS.username,
        "NAME": _ADDRESS.path.lstrip("/"),
        "CONN_MAX_AGE": 60,
        "OPTIONS": {"options": f"-c search_path={_SEARCH_PATH}"},
    }
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
USE_TZ = True
DATA_UPLOAD_MAX_MEMORY_SIZE = None
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
}
