"""Typed readers for what differs between machines."""

import os

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"", "0", "false", "no", "off"}


def text(name, default=""):
    return os.environ.get(name, default).strip()


def flag(name, default=False):
    value = os.environ.get(name)
    if value is None:
        return default
    word = value.strip().lower()
    if word in TRUE:
        return True
    if word in FALSE:
        return False
    raise ImproperlyConfigured(f"{name} must be 1 or 0, not {value!r}.")


def whole(name, default):
    value = os.environ.get(name)
    if value is None:
        return default
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.")


def words(name, default=()):
    value = os.environ.get(name)
    if value is None:
        return list(default)
    return [word.strip() for word in value.split(",") if word.strip()]
