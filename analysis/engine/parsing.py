"""From text to a JSON object, refusing what JSON readers let through."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any, NoReturn

from .documents import Faults, child
from .errors import CheckFileError, Fault

MOST_BYTES = 1_000_000
MOST_DEPTH = 20
#: Digits of a whole number; more cannot be a size of anything here.
MOST_DIGITS = 30


class _Repeated(dict[str, Any]):
    """An object in which a key stood twice; it remembers which."""

    repeated: tuple[str, ...] = ()


def parse(text: str | bytes) -> dict[str, Any]:
    """Return the JSON object a text holds.

    Raises ``CheckFileError`` for anything that is not one JSON object of reasonable
    size: no UTF-8, no JSON, a key twice in one object, NaN or Infinity, numbers too
    large to be sizes, nesting deeper than any check file.
    """
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    if len(raw) > MOST_BYTES:
        _refuse(
            "$", f"expected at most {MOST_BYTES:,} bytes, found {len(raw):,}", "size"
        )
    try:
        decoded = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        _refuse(
            "$", f"expected UTF-8 text, found byte {error.start} is not", "encoding"
        )
    _check_depth(decoded)
    try:
        document = json.loads(
            decoded,
            object_pairs_hook=_object,
            parse_constant=_constant,
            parse_int=_whole,
        )
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        _refuse("$", f"expected JSON, found a fault at {place}: {error.msg}", "json")
    except _NotANumber as error:
        _refuse("$", str(error), "range")
    if not isinstance(document, dict):
        _refuse("$", "expected a JSON object", "type")
    faults = Faults()
    _find_repeated(document, "", faults)
    if faults.found:
        raise CheckFileError(faults.all())
    return document


class _NotANumber(ValueError):
    """A number JSON readers accept and a check file does not."""


def _refuse(path: str, message: str, code: str) -> NoReturn:
    raise CheckFileError([Fault(path, message, code)])


def _check_depth(text: str) -> None:
    """Refuse deep nesting before the JSON reader recurses into it."""
    depth = 0
    in_text = escaped = False
    for letter in text:
        if in_text:
            in_text = escaped or letter != '"'
            escaped = not escaped and letter == "\\"
        elif letter == '"':
            in_text, escaped = True, False
        elif letter in "[{":
            depth += 1
            if depth > MOST_DEPTH:
                _refuse(
                    "$", f"expected at most {MOST_DEPTH} levels of nesting", "depth"
                )
        elif letter in "]}":
            depth -= 1


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    answer = _Repeated(pairs)
    if len(answer) < len(pairs):
        counts = Counter(key for key, _ in pairs)
        answer.repeated = tuple(key for key in answer if counts[key] > 1)
        return answer
    return dict(answer)


def _constant(word: str) -> NoReturn:
    raise _NotANumber(f"expected finite numbers, found {word}")


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise _NotANumber(
            f"expected numbers of at most {MOST_DIGITS} digits, found {len(digits)}"
        )
    return int(digits)


def _find_repeated(value: Any, at: str, faults: Faults) -> None:
    if isinstance(value, _Repeated):
        for key in value.repeated:
            faults.add(
                child(at, key), "expected once, found more than once", "repeated"
            )
    if isinstance(value, dict):
        for key, item in value.items():
            _find_repeated(item, child(at, key), faults)
    elif isinstance(value, list):
        for number, item in enumerate(value):
            _find_repeated(item, child(at, number), faults)
