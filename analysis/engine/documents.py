"""Tables that say what a JSON document may hold.

Each table reads a value and, from the same limits, writes its JSON Schema (draft
2020-12), so the two cannot drift apart. Reading never raises: it adds a ``Fault`` with
the JSON path and goes on, so that a person sees everything that is wrong at once.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from .errors import Fault

#: A file with more faults than this is reported up to here.
MOST_FAULTS = 50

PLAIN_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")


class _Absent:
    """Nothing: a key that is not there, or a value that could not be read."""

    def __repr__(self) -> str:
        return "ABSENT"


ABSENT: Any = _Absent()


class Faults:
    """The faults found so far, the first ``MOST_FAULTS`` of them kept."""

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.left_out = 0

    def add(self, at: str, message: str, code: str) -> None:
        if len(self.found) < MOST_FAULTS:
            self.found.append(Fault(at or "$", message, code))
        else:
            self.left_out += 1

    def all(self) -> list[Fault]:
        if not self.left_out:
            return self.found
        more = f"and {self.left_out} more faults like these"
        return [*self.found, Fault("$", more, "too-many")]


def child(at: str, key: str | int) -> str:
    """Return the JSON path of an entry of the value at ``at``."""
    if isinstance(key, int):
        return f"{at}[{key}]"
    if not PLAIN_KEY.fullmatch(key):
        return f"{at}[{quoted(key)}]"
    return f"{at}.{key}" if at else key


def quoted(text: str, longest: int = 60) -> str:
    """Return a text in quotation marks, printable anywhere, shortened if need be."""
    short = text if len(text) <= longest else text[:longest] + "..."
    return json.dumps(short)


def shown(value: object) -> str:
    """Return a value as a message shows it, however odd or large it is."""
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, str):
        return quoted(value, 40)
    if isinstance(value, int):
        digits = int(value.bit_length() * math.log10(2)) + 1
        return str(value) if digits < 30 else f"a number of {digits} digits"
    if isinstance(value, float):
        return f"{value:g}" if math.isfinite(value) else "a number that is not finite"
    if isinstance(value, list | tuple):
        return "a list"
    return "an object" if isinstance(value, Mapping) else "something else"


def type_of(value: object) -> str:
    """Return the JSON type of a Python value; true and false are ``boolean``."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "boolean"
    if isinstance(value, int | float):
        return "number"
    if isinstance(value, str):
        return "string"
    if isinstance(value, list | tuple):
        return "array"
    return "object" if isinstance(value, Mapping) else "unknown"


class Table(Protocol):
    """What every table below can do."""

    def expected(self) -> str:
        """Return what a message says was expected."""

    def read(self, value: object, at: str, faults: Faults) -> Any:
        """Return the value in plain form, or ``ABSENT`` having added faults."""

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema that accepts the same values."""


@dataclass(frozen=True)
class Number:
    """A finite number within limits, read as a float (or an int where ``whole``)."""

    least: float
    most: float
    below: bool = False  # strictly below ``most``
    whole: bool = False
    nullable: bool = False

    def expected(self) -> str:
        noun = "a whole number" if self.whole else "a number"
        high = "below" if self.below else "at most"
        text = f"{noun} of at least {self.least:.15g} and {high} {self.most:.15g}"
        return f"{text}, or null" if self.nullable else text

    def read(self, value: object, at: str, faults: Faults) -> Any:
        if value is None and self.nullable:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return self._refuse(value, at, faults, "type")
        is_whole = isinstance(value, int) or value.is_integer()
        if self.whole and not is_whole:
            return self._refuse(value, at, faults, "type")
        high = value < self.most if self.below else value <= self.most
        if not (value >= self.least and high):
            return self._refuse(value, at, faults, "range")
        # Adding zero makes -0.0 and 0.0 the same document.
        return int(value) if self.whole else float(value) + 0.0

    def _refuse(self, value: object, at: str, faults: Faults, code: str) -> Any:
        faults.add(at, f"expected {self.expected()}, found {shown(value)}", code)
        return ABSENT

    def schema(self) -> dict[str, Any]:
        name = "integer" if self.whole else "number"
        high = "exclusiveMaximum" if self.below else "maximum"
        kind: Any = [name, "null"] if self.nullable else name
        return {"type": kind, "minimum": self.least, high: self.most}


@dataclass(frozen=True)
class Text:
    """A text of limited length, of one pattern where given."""

    longest: int
    pattern: str = ""
    says: str = ""

    def expected(self) -> str:
        return f"{self.says or 'a text'} of at most {self.longest} letters"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        expected = f"expected {self.expected()}"
        if not isinstance(value, str):
            faults.add(at, f"{expected}, found {shown(value)}", "type")
        elif len(value) > self.longest:
            faults.add(at, f"{expected}, found {len(value)}", "length")
        elif self.pattern and not re.search(self.pattern, value):
            faults.add(at, f"{expected}, found {shown(value)}", "pattern")
        else:
            return value
        return ABSENT

    def schema(self) -> dict[str, Any]:
        answer: dict[str, Any] = {"type": "string", "maxLength": self.longest}
        return answer | ({"pattern": self.pattern} if self.pattern else {})


@dataclass(frozen=True)
class Choice:
    """One of a few words."""

    values: tuple[str, ...]

    def expected(self) -> str:
        return f"one of {', '.join(self.values)}"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        if isinstance(value, str) and value in self.values:
            return value
        faults.add(at, f"expected {self.expected()}; found {shown(value)}", "choice")
        return ABSENT

    def schema(self) -> dict[str, Any]:
        return {"enum": list(self.values)}


@dataclass(frozen=True)
class Flag:
    """true or false."""

    def expected(self) -> str:
        return "true or false"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        if isinstance(value, bool):
            return value
        faults.add(at, f"expected {self.expected()}, found {shown(value)}", "type")
        return ABSENT

    def schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Many:
    """A list, read as a tuple."""

    item: Table
    least: int
    most: int
    of: str

    def expected(self) -> str:
        limits = (
            f"{self.least}" if self.least == self.most else f"{self.least}-{self.most}"
        )
        return f"a list of {limits} {self.of}"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        expected = f"expected {self.expected()}"
        if not isinstance(value, list | tuple):
            faults.add(at, f"{expected}, found {shown(value)}", "type")
            return ABSENT
        if not self.least <= len(value) <= self.most:
            faults.add(at, f"{expected}, found {len(value)}", "length")
            return ABSENT
        items = tuple(
            self.item.read(item, child(at, number), faults)
            for number, item in enumerate(value)
        )
        return ABSENT if any(item is ABSENT for item in items) else items

    def schema(self) -> dict[str, Any]:
        return {
            "type": "array",
            "items": self.item.schema(),
            "minItems": self.least,
            "maxItems": self.most,
        }


@dataclass(frozen=True)
class Mapped:
    """An object whose keys are names of the document's own, as of joints."""

    key: Text
    item: Table
    least: int
    most: int
    of: str

    def expected(self) -> str:
        return f"an object of {self.least}-{self.most} {self.of}"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        expected = f"expected {self.expected()}"
        if not isinstance(value, Mapping):
            faults.add(at, f"{expected}, found {shown(value)}", "type")
            return ABSENT
        if not self.least <= len(value) <= self.most:
            faults.add(at, f"{expected}, found {len(value)}", "length")
            return ABSENT
        answer: dict[str, Any] = {}
        sound = True
        for key, item in value.items():
            if not isinstance(key, str):
                faults.add(at, "expected every key to be a text", "type")
                sound = False
                continue
            under = child(at, key)
            read = self.item.read(item, under, faults)
            sound &= self.key.read(key, under, faults) is not ABSENT
            sound &= read is not ABSENT
            answer[key] = read
        return answer if sound else ABSENT

    def schema(self) -> dict[str, Any]:
        return {
            "type": "object",
            "propertyNames": self.key.schema(),
            "additionalProperties": self.item.schema(),
            "minProperties": self.least,
            "maxProperties": self.most,
        }


@dataclass(frozen=True)
class Either:
    """A value whose JSON type says which table reads it."""

    by_type: Mapping[str, Table]

    def expected(self) -> str:
        return ", or ".join(table.expected() for table in self.by_type.values())

    def read(self, value: object, at: str, faults: Faults) -> Any:
        table = self.by_type.get(type_of(value))
        if table is not None:
            return table.read(value, at, faults)
        faults.add(at, f"expected {self.expected()}; found {shown(value)}", "type")
        return ABSENT

    def schema(self) -> dict[str, Any]:
        return {"anyOf": [table.schema() for table in self.by_type.values()]}


@dataclass(frozen=True)
class Key:
    """One key of a record: its table, and whether it may be left out.

    ``default`` is what a reader gets where the key is left out; it is left out of the
    record altogether where there is none. ``says`` goes into the schema.
    """

    table: Table
    required: bool = False
    default: Any = ABSENT
    says: str = ""

    def schema(self) -> dict[str, Any]:
        answer = self.table.schema()
        if self.default is not ABSENT:
            answer = answer | {"default": self.default}
        return answer | ({"description": self.says} if self.says else {})


class Rule(Protocol):
    """What a record's keys must satisfy together."""

    def check(self, keys: Mapping[str, Any], at: str, faults: Faults) -> None: ...

    def schema(self) -> dict[str, Any]: ...


@dataclass(frozen=True)
class SomeOf:
    """At least one of these keys; ``unless`` a flag is true."""

    names: tuple[str, ...]
    unless: str = ""

    def check(self, keys: Mapping[str, Any], at: str, faults: Faults) -> None:
        if self.unless and keys.get(self.unless) is True:
            return
        if not any(name in keys for name in self.names):
            among = " or ".join(self.names)
            faults.add(at, f"expected {among}", "required")

    def schema(self) -> dict[str, Any]:
        ways: list[dict[str, Any]] = [{"required": [name]} for name in self.names]
        if self.unless:
            flag = {"properties": {self.unless: {"const": True}}}
            ways.append({**flag, "required": [self.unless]})
        return {"anyOf": ways}


@dataclass(frozen=True)
class NotBoth:
    """Never these two keys together."""

    one: str
    other: str

    def check(self, keys: Mapping[str, Any], at: str, faults: Faults) -> None:
        if self.one in keys and self.other in keys:
            found = f"expected {self.one} or {self.other}, found both"
            faults.add(child(at, self.other), found, "combination")

    def schema(self) -> dict[str, Any]:
        return {"not": {"required": [self.one, self.other]}}


@dataclass(frozen=True)
class Needs:
    """Where one key is given, the other must be."""

    given: str
    needed: str

    def check(self, keys: Mapping[str, Any], at: str, faults: Faults) -> None:
        if self.given in keys and self.needed not in keys:
            message = f"expected, because {self.given} is given"
            faults.add(child(at, self.needed), message, "required")

    def schema(self) -> dict[str, Any]:
        return {"dependentRequired": {self.given: [self.needed]}}


@dataclass(frozen=True)
class Together:
    """All of these keys or none."""

    names: tuple[str, ...]

    def check(self, keys: Mapping[str, Any], at: str, faults: Faults) -> None:
        given = [name for name in self.names if name in keys]
        for name in self.names:
            if given and name not in keys:
                message = f"expected, because {given[0]} is given"
                faults.add(child(at, name), message, "required")

    def schema(self) -> dict[str, Any]:
        rest = {n: [m for m in self.names if m != n] for n in self.names}
        return {"dependentRequired": rest}


@dataclass(frozen=True)
class Record:
    """An object of known keys; every other key is refused."""

    keys: Mapping[str, Key]
    rules: tuple[Rule, ...] = ()
    says: str = ""
    #: Keys that another table reads (the one that says which record this is).
    fixed: Mapping[str, str] = field(default_factory=dict)

    def expected(self) -> str:
        return f"an object with {', '.join([*self.fixed, *self.keys])}"

    def read(self, value: object, at: str, faults: Faults) -> Any:
        if not isinstance(value, Mapping):
            faults.add(at, f"expected an object, found {shown(value)}", "type")
            return ABSENT
        before = len(faults.found) + faults.left_out
        answer: dict[str, Any] = dict(self.fixed)
        for name in value:
            if name not in self.keys and name not in self.fixed:
                self._refuse_key(name, at, faults)
        for name, key in self.keys.items():
            answer_for_key = self._read_key(name, key, value, at, faults)
            if answer_for_key is not ABSENT:
                answer[name] = answer_for_key
        for rule in self.rules:
            rule.check(value, at, faults)
        after = len(faults.found) + faults.left_out
        return answer if after == before else ABSENT

    def _read_key(
        self, name: str, key: Key, value: Mapping[str, Any], at: str, faults: Faults
    ) -> Any:
        if name in value:
            # As ``child`` writes it: the keys of tables are plain.
            under = f"{at}.{name}" if at else name
            return key.table.read(value[name], under, faults)
        if key.required:
            message = f"expected {key.table.expected()}; found nothing"
            faults.add(child(at, name), message, "required")
        return key.default

    def _refuse_key(self, name: object, at: str, faults: Faults) -> None:
        if not isinstance(name, str):
            faults.add(at, "expected every key to be a text", "type")
            return
        known = ", ".join([*self.fixed, *self.keys])
        faults.add(child(at, name), f"unknown key; expected {known}", "unknown-key")

    def schema(self) -> dict[str, Any]:
        fixed = {name: {"const": value} for name, value in self.fixed.items()}
        needed = [name for name, key in self.keys.items() if key.required]
        answer: dict[str, Any] = {
            "type": "object",
            "properties": fixed | {n: key.schema() for n, key in self.keys.items()},
            "additionalProperties": False,
        }
        if needed or fixed:
            answer["required"] = [*fixed, *needed]
        if self.says:
            answer["description"] = self.says
        if self.rules:
            answer["allOf"] = [rule.schema() for rule in self.rules]
        return answer


@dataclass(frozen=True)
class Variants:
    """Records told apart by the word under one key, or by its absence."""

    key: str
    records: Mapping[str, Record]
    otherwise: Record | None = None

    def expected(self) -> str:
        ways = [f"an object with {self.key} one of {', '.join(self.records)}"]
        if self.otherwise is not None:
            ways.append(self.otherwise.expected())
        return ", or ".join(ways)

    def read(self, value: object, at: str, faults: Faults) -> Any:
        if not isinstance(value, Mapping):
            faults.add(at, f"expected an object, found {shown(value)}", "type")
            return ABSENT
        if self.key not in value:
            if self.otherwise is not None:
                return self.otherwise.read(value, at, faults)
            among = ", ".join(self.records)
            message = f"expected one of {among}; found nothing"
            faults.add(child(at, self.key), message, "required")
            return ABSENT
        word = Choice(tuple(self.records)).read(
            value[self.key], child(at, self.key), faults
        )
        if word is ABSENT:
            return ABSENT
        return self.records[word].read(value, at, faults)

    def schema(self) -> dict[str, Any]:
        tables = list(self.records.values())
        if self.otherwise is not None:
            tables.append(self.otherwise)
        return {"oneOf": [table.schema() for table in tables]}


def variants(
    key: str, records: Mapping[str, Record], otherwise: Record | None = None
) -> Variants:
    """Return the variants with each record knowing its own word."""
    told = {
        word: Record(record.keys, record.rules, record.says, {key: word})
        for word, record in records.items()
    }
    return Variants(key, told, otherwise)
