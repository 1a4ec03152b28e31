"""Reading many check files of which most parts are alike, each part once.

Of one truss in its configurations a few members and the floor differ, and yet each is a
file of its own. ``Reader.read`` gives what ``checkfile.read`` gives; whatever it is not
sure to read alike, faults first of all, it leaves to that.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

from . import checkfile
from .checkfile import CheckInput
from .documents import ABSENT, Faults
from .forms import Geometry
from .question import MemberInput
from .tables import DOCUMENT, GROUP, MOST_GROUPS, MOST_MEMBERS


class _Other(Exception):
    """This file is not one to be read from parts."""


class Reader:
    """Remembers the parts of the files it has read; equal files are one object.

    Of files that differ in nothing but the title the first one's is kept, and no other
    title is looked at.
    """

    def __init__(self) -> None:
        self._checks: dict[Hashable, CheckInput] = {}
        self._values: dict[Hashable, Any] = {}
        self._groups: dict[Hashable, dict[str, Any]] = {}
        self._geometries: dict[Hashable, Geometry] = {}
        self._members: dict[Hashable, dict[Hashable, MemberInput]] = {}

    def read(
        self, document: Mapping[str, Any], labels: Sequence[Hashable]
    ) -> CheckInput:
        """Return a document as the engine understands it, as ``checkfile.read``.

        ``labels`` stand for the document's groups of members, in their order: groups
        with equal labels differ in nothing but their names. Raises ``CheckFileError``.
        """
        groups = document.get("members", ())
        key = (
            tuple(
                (name, repr(value))
                for name, value in document.items()
                if name not in ("title", "members")
            ),
            tuple(labels),
            tuple(tuple(group.get("names", ())) for group in groups),
        )
        found = self._checks.get(key)
        if found is None:
            try:
                found = self._from_parts(document, groups, labels)
            except _Other:
                found = checkfile.read(document)
            self._checks[key] = found
        return found

    def _from_parts(
        self,
        document: Mapping[str, Any],
        groups: Sequence[Mapping[str, Any]],
        labels: Sequence[Hashable],
    ) -> CheckInput:
        if len(groups) > MOST_GROUPS or not document.keys() <= DOCUMENT.keys.keys():
            raise _Other
        plain = {
            name: self._value(name, document)
            for name, key in DOCUMENT.keys.items()
            if name in document or key.required or key.default is not ABSENT
        }
        geometry = self._geometry(plain, repr(document["geometry"]))
        last: dict[str, Hashable] = {}
        for group, label in zip(groups, labels, strict=True):
            if "kinds" in group or not 1 <= len(group.get("names", ())) <= MOST_MEMBERS:
                raise _Other
            if label not in self._groups:
                self._groups[label] = self._group(group)
            for name in group["names"]:
                last[name] = label
        if not last.keys() <= set(geometry.names):
            raise _Other
        faults = Faults()
        members = self._all_members(plain, geometry, last)
        check = checkfile.put_together(plain, geometry, members, faults)
        if faults.found:
            raise _Other
        return check

    def _value(self, name: str, document: Mapping[str, Any]) -> Any:
        """Return the value of one key in plain form, ``()`` for the members."""
        if name == "members" or name not in document:
            if name == "geometry":
                raise _Other
            return () if name == "members" else DOCUMENT.keys[name].default
        text = (name, repr(document[name]))
        if text not in self._values:
            faults = Faults()
            value = DOCUMENT.keys[name].table.read(document[name], name, faults)
            if faults.found:
                raise _Other
            self._values[text] = value
        return self._values[text]

    def _geometry(self, plain: dict[str, Any], text: str) -> Geometry:
        key = (plain["deck_position"], text)
        if key not in self._geometries:
            made = checkfile.geometry_of(plain["geometry"], key[0], Faults())
            if made is None:
                raise _Other
            self._geometries[key] = made
        return self._geometries[key]

    def _group(self, group: Mapping[str, Any]) -> dict[str, Any]:
        faults = Faults()
        plain = GROUP.read(group, "members", faults)
        if plain is ABSENT:
            raise _Other
        read = checkfile.group_of(plain, "members", faults)
        if faults.found:
            raise _Other
        return read

    def _all_members(
        self, plain: dict[str, Any], geometry: Geometry, last: Mapping[str, Hashable]
    ) -> tuple[MemberInput, ...]:
        material = checkfile.material_of(plain.get("material"))
        # By identity: geometries are kept here, and what is kept is never another.
        under = (id(geometry), material, plain["connection"])
        known = self._members.setdefault(under, {})
        found = []
        for name, ends, length in zip(
            geometry.names, geometry.members, geometry.lengths_ft, strict=True
        ):
            label = last.get(name, ABSENT)
            member = known.get((name, label))
            if member is None:
                group = None if label is ABSENT else self._groups[label]
                member = checkfile.member_of(
                    ends, length, group, plain, material, geometry.kinds
                )
                known[name, label] = member
            found.append(member)
        return tuple(found)
