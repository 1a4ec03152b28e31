"""The inventory as files: CSV, GeoJSON, GPX and KML, written a bridge at a time.

What a file holds is what the person may see: a position that is kept from them is the
middle of its square and says so, and bridges and columns that are the society's own
stay out. ``full`` gives everything and is for the keeper's command only.

Formats: RFC 4180 with a byte order mark for spreadsheets; RFC 7946 (longitude first,
six decimals); GPX 1.1; OGC KML 2.2.

As of a day a file holds the bridges that a view as of that day holds, with what is
dated as it was then: the status, the deck, the posted limit, the visits. What nobody
has dated (a name, a road, a place) is as the record has it now.
"""

import csv
import datetime
import io
import itertools
import json
import re
from dataclasses import dataclass
from xml.sax.saxutils import XMLGenerator

from django.conf import settings
from django.db.models import Max, Q
from django.utils.http import content_disposition_header
from django.utils.module_loading import import_string

from shared.dates import display

from .models import Bridge, LifeEvent, Standing, StatusSpell, generalised

FORMATS = {
    "csv": "text/csv; charset=utf-8",
    "geojson": "application/geo+json",
    "gpx": "application/gpx+xml",
    "kml": "application/vnd.google-earth.kml+xml",
}
ABOUT = "about 2 miles"
EXACT = "exact"
# Characters that no XML 1.0 document may hold (section 2.2, Char).
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
# A spreadsheet takes a cell that begins so for a formula. "'" itself is here so that
# the guard can be taken off again without a guess.
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")

IDENTITY = (
    "number",
    "slug",
    "name",
    "also_known_as",
    "county",
    "town",
    "road",
    "crossing",
    "status",
    "listing",
    "built",
    "built_earliest",
    "built_latest",
    "built_confidence",
    "lost",
)
STANDING = (
    "form",
    "deck_position",
    "connection",
    "material",
    "span_count",
    "longest_span_ft",
    "builder_names",
    "deck",
    "posted_tons",
    "visit_count",
    "last_visited",
    "last_changed",
    "changed_parts",
)
PLACE = ("latitude", "longitude", "position")
SOCIETY = (
    "access_notes",
    "owner",
    "owner_contact",
    "is_public",
    "is_position_sensitive",
)
ENDING = ("summary",)
CHUNK = 500


@dataclass(frozen=True)
class Sight:
    """How much of a bridge a file may hold, and as of which day (None: now)."""

    exact: bool = False
    full: bool = False
    as_of: datetime.date | None = None


def columns(sight):
    """Return the columns of the CSV file and the properties of the GeoJSON one."""
    society = SOCIETY if sight.full else ()
    day = () if sight.as_of is None else ("as_of",)
    return (*IDENTITY, *STANDING, *PLACE, *ENDING, *society, *day)


def facts_of(bridge, sight, then=None):
    """Return {column: value} of one bridge, its place as the sight allows.

    ``then`` holds the columns that were otherwise on the sight's day.
    """
    facts = {name: getattr(bridge, name) for name in IDENTITY + ENDING}
    standing = getattr(bridge, "standing", None) or Standing()
    facts |= {name: getattr(standing, name) for name in STANDING}
    facts |= then or {}
    facts["changed_parts"] = facts["changed_parts"].strip(",").replace(",", " ")
    place = float(bridge.latitude), float(bridge.longitude)
    hidden = bridge.is_position_sensitive and not (sight.exact or sight.full)
    facts["latitude"], facts["longitude"] = generalised(*place) if hidden else place
    facts["position"] = ABOUT if hidden else EXACT
    if sight.full:
        facts |= {name: getattr(bridge, name) for name in SOCIETY}
    facts["as_of"] = sight.as_of
    return facts


def _told(bridges, sight):
    """Yield each bridge with its facts, those of a day a chunk at a time."""
    bridges = bridges.iterator(chunk_size=CHUNK)
    if sight.as_of is None:
        for bridge in bridges:
            yield bridge, facts_of(bridge, sight)
        return
    seen_on = import_string(settings.SEEN_ON)
    while chunk := list(itertools.islice(bridges, CHUNK)):
        seen, statuses = seen_on(chunk, sight.as_of), _statuses(chunk, sight.as_of)
        listed_later = _listed_later(chunk, sight.as_of)
        for bridge in chunk:
            then = {**seen[bridge.pk], "status": statuses.get(bridge.pk, "")}
            if bridge.lost_earliest and bridge.lost_earliest > sight.as_of:
                then["lost"] = ""
            if bridge.pk in listed_later:
                then["listing"] = ""
            yield bridge, facts_of(bridge, sight, then)


def _statuses(bridges, day):
    spells = StatusSpell.objects.filter(
        Q(first__isnull=True) | Q(first__lte=day),
        Q(last__isnull=True) | Q(last__gte=day),
        bridge__in=bridges,
    )
    return dict(spells.values_list("bridge_id", "status"))


def _listed_later(bridges, day):
    """Return the bridges whose listing, by its event, is younger than the day."""
    events = LifeEvent.objects.filter(bridge__in=bridges, kind=LifeEvent.Kind.LISTED)
    last = events.order_by().values("bridge_id").annotate(last=Max("when_latest"))
    return {row["bridge_id"] for row in last if row["last"] and row["last"] > day}


def guard(text):
    """Keep a spreadsheet from running a cell as a formula; numbers stay numbers."""
    if text.startswith(RISKY) and not NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def unguard(text):
    """Take the guard of ``guard`` off again, for a file that comes back in."""
    return text[1:] if text.startswith("'") and text[1:].startswith(RISKY) else text


def write(kind, bridges, sight, address_of=None):
    """Yield the pieces of a file of one of ``FORMATS``.

    ``bridges`` is a queryset with ``standing`` loaded; ``address_of`` gives a bridge's
    full address for a link, where there is one.
    """
    pieces = {"csv": _csv, "geojson": _geojson, "gpx": _gpx, "kml": _kml}[kind]
    return pieces(_told(bridges, sight), sight, address_of)


def headers(kind, name="bridges", as_of=None):
    if as_of is not None:
        name = f"{name}-{as_of.isoformat()}"
    return {
        "Content-Type": FORMATS[kind],
        "Content-Disposition": content_disposition_header(True, f"{name}.{kind}"),
        "Cache-Control": "private, no-store",
    }


def _csv(bridges, sight, address_of):
    out = io.StringIO()
    rows = csv.writer(out)
    names = columns(sight)
    out.write("\ufeff")
    rows.writerow([*names, "page"] if address_of else names)
    for bridge, facts in bridges:
        cells = [guard(_cell(facts[name])) for name in names]
        if address_of:
            cells.append(address_of(bridge))
        rows.writerow(cells)
        yield _taken(out)
    yield _taken(out)


def _cell(value):
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".")
    return str(value)


def _taken(out):
    text = out.getvalue()
    out.seek(0)
    out.truncate()
    return text


def _geojson(bridges, sight, address_of):
    names = [name for name in columns(sight) if name not in ("latitude", "longitude")]
    yield '{"type":"FeatureCollection","features":['
    between = ""
    for bridge, facts in bridges:
        place = [round(facts["longitude"], 6), round(facts["latitude"], 6)]
        properties = {name: _plain(facts[name]) for name in names}
        if address_of:
            properties["page"] = address_of(bridge)
        feature = {
            "type": "Feature",
            "id": bridge.slug,
            "geometry": {"type": "Point", "coordinates": place},
            "properties": properties,
        }
        yield between + json.dumps(feature, ensure_ascii=False, separators=(",", ":"))
        between = ","
    yield "]}\n"


def _plain(value):
    return value.isoformat() if hasattr(value, "isoformat") else value


def _in_words(bridge, facts):
    """Return what a person reads of a bridge on a receiver or a globe."""
    standing = getattr(bridge, "standing", None) or Standing()
    status = dict(Bridge.Status.choices).get(facts["status"], "status not known")
    if facts["as_of"] is not None:
        status = f"{status} on {display(facts['as_of'].isoformat())}"
    said = [
        standing.get_form_display(),
        f"built {display(bridge.built)}" if bridge.built else "date unknown",
        status,
    ]
    if bridge.crossing:
        said.append(f"crosses {bridge.crossing}")
    if facts["position"] == ABOUT:
        said.append(f"place to {ABOUT} only")
    return "; ".join(said)


class _Xml:
    """Writes elements and hands over what was written."""

    def __init__(self):
        self.out = io.StringIO()
        self.xml = XMLGenerator(self.out, encoding="utf-8", short_empty_elements=True)

    def start(self, name, /, **attributes):
        self.xml.startElement(name, attributes)

    def end(self, name):
        self.xml.endElement(name)

    def leaf(self, name, text, /):
        self.start(name)
        self.xml.characters(NOT_XML.sub("", text))
        self.end(name)

    def taken(self):
        return _taken(self.out)


def _gpx(bridges, sight, address_of):
    xml = _Xml()
    xml.xml.startDocument()
    xml.start(
        "gpx",
        version="1.1",
        creator="Second Crossing",
        xmlns="http://www.topografix.com/GPX/1/1",
    )
    for bridge, facts in bridges:
        # The schema's longitudes end just short of 180.
        longitude = -180.0 if facts["longitude"] >= 180 else facts["longitude"]
        xml.start("wpt", lat=f"{facts['latitude']:.6f}", lon=f"{longitude:.6f}")
        # The schema wants the children in this order.
        xml.leaf("name", bridge.name)
        xml.leaf("cmt", bridge.number)
        xml.leaf("desc", _in_words(bridge, facts))
        if address_of:
            xml.start("link", href=address_of(bridge))
            xml.leaf("text", bridge.name)
            xml.end("link")
        xml.leaf("type", "bridge")
        xml.end("wpt")
        yield xml.taken()
    xml.end("gpx")
    yield xml.taken()


def _kml(bridges, sight, address_of):
    xml = _Xml()
    xml.xml.startDocument()
    xml.start("kml", xmlns="http://www.opengis.net/kml/2.2")
    xml.start("Document")
    xml.leaf("name", "Bridges")
    for bridge, facts in bridges:
        said = _in_words(bridge, facts)
        if address_of:
            said = f"{said}\n{address_of(bridge)}"
        xml.start("Placemark", id=f"bridge-{bridge.slug}")
        xml.leaf("name", bridge.name)
        xml.leaf("description", said)
        xml.start("ExtendedData")
        for name in columns(sight):
            if name not in PLACE and facts[name] not in (None, ""):
                xml.start("Data", name=name)
                xml.leaf("value", _cell(facts[name]))
                xml.end("Data")
        xml.end("ExtendedData")
        xml.start("Point")
        xml.leaf("coordinates", f"{facts['longitude']:.6f},{facts['latitude']:.6f}")
        xml.end("Point")
        xml.end("Placemark")
        yield xml.taken()
    xml.end("Document")
    xml.end("kml")
    yield xml.taken()


def everything(full=False):
    """Return the queryset of the whole inventory, for the keeper or for anyone."""
    bridges = Bridge.objects.for_list()
    return bridges if full else bridges.visible_to(None)
