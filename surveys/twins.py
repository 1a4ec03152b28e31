"""Photographs that were there before: the same file, or one that looks the same.

Noticed and shown to whoever reviews, never refused: the same picture may rightly belong
to two visits, and a fixed camera station gives pictures that look alike by design.
"""

from __future__ import annotations

from dataclasses import dataclass

from .models import Photo
from .pictures import unlike

# Society's choice: of 64 bits, two files of one picture differ in some 0 to 4, two
# pictures of one scene in a dozen or more (tests/surveys/test_twins.py).
MOST_UNLIKE = 6
# A sky or a wall without edges has no looks to speak of.
LEAST_BITS, MOST_BITS = 6, 58


@dataclass(frozen=True)
class Twin:
    """Another photo that one photo repeats, exactly or nearly."""

    photo: Photo
    is_same_file: bool

    @property
    def words(self):
        return "The same file as" if self.is_same_file else "Looks the same as"


def of_visit(visit) -> dict[int, list[Twin]]:
    """Return ``{photo id: twins}`` of a visit's photos, in two queries.

    The same file is looked for in the whole record, a like picture at the same bridge.
    A photo that says which one it repeats is not told of for looking like it.
    """
    own = [one for one in visit.photos.all() if one.arrived_at or one.fault]
    if not own:
        return {}
    wanted = {one.sha256 for one in own}
    others = Photo.objects.select_related("visit__bridge").order_by("pk")
    same = list(others.filter(sha256__in=wanted).exclude(original=""))
    here = others.filter(visit__bridge=visit.bridge_id).exclude(looks="")
    near = list(here.defer("visit__submitted"))
    found: dict[int, list[Twin]] = {}
    for photo in own:
        twins = [
            Twin(one, True)
            for one in same
            if one.sha256 == photo.sha256 and one.pk != photo.pk
        ]
        known = {one.photo.sha256 for one in twins} | {photo.sha256}
        twins += [
            Twin(one, False)
            for one in near
            if one.sha256 not in known
            and photo.repeats_id != one.pk
            and one.repeats_id != photo.pk
            and is_like(photo.looks, one.looks)
        ]
        if twins:
            found[photo.pk] = twins
    return found


def is_like(one, other):
    """Whether two looks are so near that somebody should see both pictures."""
    if not one or not other:
        return False
    if not LEAST_BITS <= int(one, 16).bit_count() <= MOST_BITS:
        return False
    return unlike(one, other) <= MOST_UNLIKE
