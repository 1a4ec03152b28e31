"""The photograph log of a dossier: numbers, names, directions, what is still wanted."""

from __future__ import annotations

import re
import unicodedata

# The naming of digital photographs for nominations, as the National Park Service's
# policy of about 2013 gives it: state, county, property, and a four-digit number.
PHOTO_NAME = re.compile(r"[A-Z]{2}_[^_/\\]+_[^_/\\]+_[0-9]{4}\.(?:tif|tiff|jpg|jpeg)")
SUFFIX = {"JPEG": "jpg", "TIFF": "tif"}


def photo_name(facts, number, suffix="jpg"):
    """Return the name of photograph ``number``, empty where the state is not given."""
    state = facts["case"]["answers"]["state_code"].strip()
    parts = [state, facts["bridge"]["county"], facts["bridge"]["name"]]
    if not all(parts):
        return ""
    return f"{'_'.join(map(_plain, parts))}_{number:04d}.{suffix}"


def _plain(text):
    """Spell a name so that every file system and archive takes it."""
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"\s+", " ", re.sub(r"[^A-Za-z0-9 .-]+", "", flat)).strip(" .")


def log(facts):
    """Return the rows of the log: every chosen photograph with its name, in order."""
    chosen = [one for one in facts["photographs"] if one["is_chosen"]]
    return [
        {**one, "name": photo_name(facts, one["number"]), "of_how_many": len(chosen)}
        for one in chosen
    ]


def pairs(facts):
    """Return (earlier, later) photographs of which the later repeats the earlier."""
    by_key = {one["key"]: one for one in facts["photographs"]}
    return [
        (by_key[one["repeats"]], one)
        for one in facts["photographs"]
        if one["repeats"] in by_key
    ]
