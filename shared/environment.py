"""Typed readers for what differs between machines.

A variable that is set but blank counts as not set: an empty line in an environment
file must not switch a protection off.
"""

import os

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"0", "false", "no", "off"}


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, "").strip() or default


def flag(name: str, default: bool = False) -> bool:
    """Raises ``ImproperlyConfigured`` for a word that is neither yes nor no."""
    word = text(name).lower()
    if not word:
        return default
    if word in TRUE:
        return True
    if word in FALSE:
        return False
    raise ImproperlyConfigured(f"{name} must be 1 or 0, not {word!r}.")


def whole(name: str, default: int) -> int:
    """Raises ``ImproperlyConfigured`` for anything but a whole number."""
    value = text(name)
    if not value:
        return default
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.")


def words(name: str, default: tuple[str, ...] = ()) -> list[str]:
    """Read a list whose parts are set apart by commas."""
    value = text(name)
    if not value:
        return list(default)
    return [word.strip() for word in value.split(",") if word.strip()]
