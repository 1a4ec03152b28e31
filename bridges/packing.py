"""One bridge's part of the map's index as a few bytes, written when the bridge is.

Reading a million bridges column by column makes twenty million Python objects; reading
a million small strings and joining them makes one array. So each write packs its own
bridge, and the index is made of what is packed (``bridges.mapindex``).
"""

from __future__ import annotations

import datetime
import hashlib
import math

import numpy as np

from .derived import MapRow, MapTerm
from .filters import PARTS, PLATES, SPANS, span_band
from .models import (
    Attribution,
    Bridge,
    Confidence,
    Connection,
    DeckPosition,
    Form,
    Material,
    generalised,
)

BITS = 26
# Where Web Mercator's square ends: atan(sinh(pi)) in degrees.
MOST_LATITUDE = math.degrees(math.atan(math.sinh(math.pi)))
# Days are counted from here, in two bytes; what is earlier counts as this day.
FIRST_DAY = datetime.date(1900, 1, 1)
NO_YEAR, OPEN_END = 0, 9999
CHOICES = {
    "form": Form.values,
    "deck_position": DeckPosition.values,
    "connection": Connection.values,
    "material": Material.values,
    "status": Bridge.Status.values,
    "listing": Bridge.Listing.values,
    "certainty": Confidence.values,
    "span": [value for value, _ in SPANS],
}
TERMS = ("deck", "county", "crossing")
RECORD = np.dtype(
    [
        ("id", "<u4"),
        ("x", "<i4"),
        ("y", "<i4"),
        ("general_x", "<i4"),
        ("general_y", "<i4"),
        ("first_year", "<u2"),
        ("last_year", "<u2"),
        ("visited", "<u2"),
        ("changed_on", "<u2"),
        ("span_dft", "<u2"),
        ("parts", "<u2"),
        ("ever_parts", "<u2"),
        ("deck", "<u4"),
        ("county", "<u4"),
        ("crossing", "<u4"),
        ("panels", "u1"),
        ("plate", "u1"),
        ("flags", "u1"),
        ("hands", "u1"),
        *((name, "u1") for name in CHOICES),
    ]
)
# Numbers stand for choices by their place, so other choices make other numbers.
LAYOUT = hashlib.sha256(
    repr((RECORD.descr, CHOICES, PARTS, PLATES, Confidence.values)).encode()
).hexdigest()[:40]
IS_PUBLIC, IS_SENSITIVE, HAS_REPAIR, IS_DATED = 1, 2, 4, 8
HAND = np.dtype([("builder", "<u4"), ("confidence", "u1")])
MOST_HANDS = 255
CHUNK = 2000


def project(latitude, longitude):
    """Return world coordinates (x, y) of ``BITS`` bits; y grows to the south."""
    top = 1 << BITS
    sine = np.sin(np.radians(np.clip(latitude, -MOST_LATITUDE, MOST_LATITUDE)))
    x = (np.asarray(longitude) + 180) / 360
    y = 0.5 - np.log((1 + sine) / (1 - sine)) / (4 * math.pi)
    return tuple(
        np.clip(np.floor(part * top), 0, top - 1).astype(np.int32) for part in (x, y)
    )


def days(day):
    """Return a day as two bytes hold it, 0 for none."""
    if day is None:
        return 0
    return min(max((day - FIRST_DAY).days, 0) + 1, 65_535)


def bits(words, parts):
    words = (words or "").split(",")
    return sum(1 << bit for bit, (part, _) in enumerate(parts) if part in words)


def pack(ids, stamp):
    """Write the ``MapRow`` of each bridge of ``ids``; None writes those of all."""
    if ids is None:
        ids = list(Bridge.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), CHUNK):
        _pack(ids[start : start + CHUNK], stamp)


def _pack(ids, stamp):
    bridges = list(
        Bridge.objects.filter(pk__in=ids).select_related("standing").order_by("pk")
    )
    terms = _terms(bridges)
    hands = _hands(ids)
    records = np.zeros(len(bridges), dtype=RECORD)
    places = np.array(
        [(float(one.latitude), float(one.longitude)) for one in bridges]
    ).reshape(-1, 2)
    general = np.array([generalised(*place) for place in places.tolist()])
    records["x"], records["y"] = project(places[:, 0], places[:, 1])
    general = general.reshape(-1, 2)
    records["general_x"], records["general_y"] = project(general[:, 0], general[:, 1])
    for record, bridge in zip(records, bridges, strict=True):
        _fill(record, bridge, terms)
        record["hands"] = len(hands.get(bridge.pk, ()))
    rows = [
        MapRow(
            bridge_id=bridge.pk,
            packed=record.tobytes(),
            hands=np.array(hands.get(bridge.pk, []), dtype=HAND).tobytes(),
            stamp=stamp,
        )
        for record, bridge in zip(records, bridges, strict=True)
    ]
    MapRow.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["bridge"],
        update_fields=["packed", "hands", "stamp"],
        batch_size=500,
    )


def _fill(record, bridge, terms):
    from .models import Standing

    standing = getattr(bridge, "standing", None)
    is_bare = standing is None
    standing = standing or Standing()
    record["id"] = bridge.pk
    if bridge.built:
        first, last = bridge.built_earliest, bridge.built_latest
        record["first_year"] = first.year if first else 1
        record["last_year"] = last.year if last else OPEN_END
    record["visited"] = days(standing.last_visited)
    record["changed_on"] = days(standing.last_changed)
    span_ft = standing.longest_span_ft
    record["span_dft"] = min(round(span_ft * 10), 65_535) if span_ft else 0
    record["panels"] = min(standing.panels or 0, 255)
    record["parts"] = bits(standing.changed_parts, PARTS)
    record["ever_parts"] = bits(standing.ever_changed, PARTS)
    record["plate"] = bits(standing.plates, PLATES)
    record["flags"] = (
        IS_PUBLIC * bridge.is_public
        + IS_SENSITIVE * bridge.is_position_sensitive
        + HAS_REPAIR * bool(standing.repair_count)
        + IS_DATED * bool(bridge.built_earliest and bridge.built_latest)
    )
    for name in CHOICES:
        value = _choice(name, bridge, standing)
        # A bridge that nobody has refreshed yet is of no form, not of one not known.
        missing = is_bare and name in (
            "form",
            "deck_position",
            "connection",
            "material",
            "span",
        )
        known = CHOICES[name]
        record[name] = known.index(value) + 1 if value in known and not missing else 0
    for name in TERMS:
        record[name] = terms.get((name, _term(name, bridge, standing)), 0)


def _choice(name, bridge, standing):
    if name in ("status", "listing"):
        return getattr(bridge, name)
    if name == "certainty":
        return bridge.built_confidence
    if name == "span":
        return span_band(standing.longest_span_ft)
    return getattr(standing, name)


def _term(name, bridge, standing):
    return standing.deck if name == "deck" else getattr(bridge, name)


def _terms(bridges):
    """Return {(kind, word): number}, giving new words numbers of their own."""
    wanted = set()
    for bridge in bridges:
        standing = getattr(bridge, "standing", None)
        for name in TERMS:
            if name == "deck" and standing is None:
                continue
            if word := _term(name, bridge, standing):
                wanted.add((name, word))
    MapTerm.objects.bulk_create(
        [MapTerm(kind=kind, word=word) for kind, word in sorted(wanted)],
        ignore_conflicts=True,
        batch_size=400,
    )
    words = list({word for _, word in wanted})
    known = {}
    for start in range(0, len(words), 400):
        rows = MapTerm.objects.filter(word__in=words[start : start + 400])
        known |= {
            (kind, word): pk
            for pk, kind, word in rows.values_list("pk", "kind", "word")
        }
    return known


def _hands(ids):
    """Return {bridge: [(builder, confidence)]}, the surest where one had several."""
    order = {value: rank for rank, value in enumerate(Confidence.values)}
    found = {}
    rows = Attribution.objects.filter(bridge__in=ids).order_by("builder_id", "id")
    for bridge, builder, confidence in rows.values_list(
        "bridge_id", "builder_id", "confidence"
    ):
        rank = order.get(confidence, len(order) - 1)
        surest = found.setdefault(bridge, {})
        surest[builder] = surest.get(builder, 0) | (1 << rank)
    return {
        bridge: sorted(surest.items())[:MOST_HANDS] for bridge, surest in found.items()
    }
