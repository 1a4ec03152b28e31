"""Picture files damaged at random: each is shown or refused, and none fells the site.

Small here; by hand, for a night and with the counts printed:

    BROKEN_PICTURES=20000 pytest -s tests/endurance/test_broken_pictures.py
"""

import collections
import io
import os
import random

import pytest
from PIL import Image

from surveys import pictures
from tests.images import HEIC, jpeg, linear_profile, with_place

RUNS = int(os.environ.get("BROKEN_PICTURES", "150"))


def saved(kind, **options):
    out = io.BytesIO()
    Image.open(io.BytesIO(jpeg(160, 120))).save(out, kind, **options)
    return out.getvalue()


SOUND = {
    "JPEG with a place": with_place(comment=b"a comment"),
    "JPEG with a profile": jpeg(160, 120, icc_profile=linear_profile()),
    "PNG": saved("PNG"),
    "WebP": saved("WEBP"),
    "HEIC": HEIC,
}


def damaged(data, chance):
    """Return the bytes with one to eight of them spoilt, left out, doubled or cut."""
    data = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        # Half of the damage falls on the head, where the structure is told.
        reach = len(data) if chance.random() < 0.5 else min(len(data), 400)
        at = chance.randrange(max(1, reach))
        kind = chance.randrange(5)
        if kind == 0:
            data[at : at + 1] = bytes([chance.randrange(256)])
        elif kind == 1:
            data[at : at + 4] = bytes([chance.choice((0, 255))]) * 4
        elif kind == 2:
            del data[at : at + chance.randint(1, 40)]
        elif kind == 3:
            data[at:at] = data[at : at + chance.randint(1, 40)]
        elif chance.random() < 0.3:
            del data[at:]
    return bytes(data)


# The library says in a warning what it skips of a broken EXIF block.
@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("name", SOUND)
def test_a_damaged_picture_is_shown_or_refused(name):
    chance = random.Random(f"{name} 1908")
    seen = collections.Counter()
    for _ in range(RUNS):
        file = io.BytesIO(damaged(SOUND[name], chance))
        try:
            picture = pictures.read(file)
        except pictures.Unreadable as refusal:
            seen[refusal.code] += 1
        else:
            assert set(picture.copies) == set(pictures.SIZES)
            seen["shown"] += 1
    print(f"\n{name}: {dict(seen)}")
    assert sum(seen.values()) == RUNS
    assert len(seen) > 1, "the damage reached nothing"
