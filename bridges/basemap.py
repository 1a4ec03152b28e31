"""Water, roads, county lines and towns under the bridges' marks, as GeoJSON.

Read from the folder or file of the setting ``BASE_MAP`` and kept until a file there
changes. Features carry ``kind`` (land, county, water, creek, river, road, town) and
``name``. Without any, or where the setting is blank, the map works on plain paper.
"""

import gzip
import hashlib
import json
import logging
from pathlib import Path

from django.conf import settings
from django.http import HttpResponse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

log = logging.getLogger(__name__)
_held = {}


def place():
    """Return the folder or file that the base map is read from; None for plain paper."""
    return Path(settings.BASE_MAP) if settings.BASE_MAP else None


def read(path):
    """Return (plain bytes, gzipped bytes, ETag, features) of a folder or file, or None."""
    if path is None:
        files = []
    else:
        files = [path] if path.is_file() else sorted(path.glob("*.geojson"))
    key = tuple((str(file), file.stat().st_mtime_ns) for file in files)
    if _held.get("key") != key:
        body = {"type": "FeatureCollection", "features": []}
        for file in files:
            body["features"] += _features(file)
        plain = json.dumps(body, ensure_ascii=False, separators=(",", ":")).encode()
        etag = f'"{hashlib.sha256(plain).hexdigest()[:24]}"'
        answer = plain, gzip.compress(plain, mtime=0), etag, body["features"]
        _held.update(key=key, answer=answer)
    return _held["answer"]


def _features(file):
    try:
        features = json.loads(file.read_text("utf-8"))["features"]
        return [one for one in features if _is_feature(one)]
    except (OSError, ValueError, KeyError, TypeError):
        log.warning(
            "%s is not a GeoJSON collection; the base map does without it", file
        )
        return []


def _is_feature(one):
    geometry, properties = one.get("geometry"), one.get("properties")
    return isinstance(geometry, dict) and isinstance(properties, dict)


def lines_named(name):
    """Return the lines, as lists of [longitude, latitude], that bear a name."""
    found = []
    for feature in read(place())[3]:
        if feature["properties"].get("name") != name:
            continue
        geometry = feature["geometry"]
        if geometry.get("type") == "LineString":
            found.append(geometry["coordinates"])
        elif geometry.get("type") == "MultiLineString":
            found += geometry["coordinates"]
    return found


@require_safe
def serve(request):
    """Hand the base map out, for browsers to keep."""
    plain, packed, etag, _ = read(place())
    if request.headers.get("If-None-Match") == etag:
        return HttpResponse(status=304, headers={"ETag": etag})
    is_packed = "gzip" in request.headers.get("Accept-Encoding", "")
    response = HttpResponse(
        packed if is_packed else plain,
        content_type="application/geo+json",
        headers={"ETag": etag, "Cache-Control": "public, max-age=3600"},
    )
    if is_packed:
        response.headers["Content-Encoding"] = "gzip"
    patch_vary_headers(response, ["Accept-Encoding"])
    return response
