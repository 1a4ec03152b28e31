"""Typed readers for what differs between machines.

A variable that is set but blank counts as not set: an empty line in an environment
file must not switch a protection off.
"""

import os
import stat
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"0", "false", "no", "off"}


def load(path: Path) -> bool:
    """Read ``NAME=value`` lines of a file into the environment; False without a file.

    What is set already stays. Quotes around a value are taken off, as systemd does.
    Raises ``ImproperlyConfigured`` for a line that is none, and for a file that
    everybody on the machine may read.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return False
    except (OSError, UnicodeDecodeError) as error:
        raise ImproperlyConfigured(f"{path} cannot be read: {error}")
    if path.stat().st_mode & stat.S_IROTH:
        raise ImproperlyConfigured(
            f"{path} holds secrets and everybody on this machine may read it: "
            f"chmod 600 {path}"
        )
    for number, line in enumerate(lines, start=1):
        line = line.strip()
        if not line or line.startswith("#"):
            continue
        name, equals, value = line.partition("=")
        name, value = name.strip(), value.strip()
        if not equals or not name.isidentifier():
            raise ImproperlyConfigured(f"{path}, line {number}: not NAME=value.")
        if len(value) > 1 and value[0] == value[-1] and value[0] in "\"'":
            value = value[1:-1]
        os.environ.setdefault(name, value)
    return True


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


def cores() -> int:
    """Return how many processors this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def words(name: str, default: tuple[str, ...] = ()) -> list[str]:
    """Read a list whose parts are set apart by commas."""
    value = text(name)
    if not value:
        return list(default)
    return [word.strip() for word in value.split(",") if word.strip()]
