"""New viewpoints that a visit describes: camera stations to be stood at again.

They are part of what was submitted, and stand in the record once the visit does.
"""

from __future__ import annotations

from .models import Viewpoint

KEYS = {"name", "description", "latitude", "longitude", "bearing_deg"}
MOST = 30


def read(rows, reader):
    """Return ``{name: facts}`` of the viewpoints described; faults go to ``reader``."""
    found = {}
    for index, row in enumerate(rows):
        path = f"viewpoints.{index}"
        if not isinstance(row, dict):
            reader.fault(path, "object", "Expected an object.")
            continue
        reader._known_keys(row, KEYS, path)
        name = reader._text(row, "name", path, Viewpoint).strip()
        if not name:
            reader.fault(f"{path}.name", "required", "A viewpoint needs a name.")
            continue
        found[name] = {
            "description": reader._text(row, "description", path, Viewpoint),
            "latitude": reader.number(row.get("latitude"), f"{path}.latitude", -90, 90),
            "longitude": reader.number(
                row.get("longitude"), f"{path}.longitude", -180, 180
            ),
            "bearing_deg": reader.number(
                row.get("bearing_deg"), f"{path}.bearing_deg", 0, 359.999
            ),
        }
    return found


def establish(visit):
    """Put an accepted visit's new viewpoints into the record, with its photos of them.

    Safe to repeat; a viewpoint that stands already keeps what is written of it.
    """
    found = read(visit.submitted.get("viewpoints") or [], _Quiet())
    if not found:
        return
    made = {}
    for name, facts in found.items():
        made[name], _ = Viewpoint.objects.get_or_create(
            bridge=visit.bridge, name=name, defaults=facts
        )
    named = {
        row.get("client_id"): row.get("viewpoint")
        for row in visit.submitted.get("photos") or []
        if isinstance(row, dict)
    }
    for photo in visit.photos.filter(viewpoint=None):
        viewpoint = made.get(named.get(str(photo.client_id)))
        if viewpoint is not None:
            photo.viewpoint = viewpoint
            photo.save(update_fields=["viewpoint"])


class _Quiet:
    """Reads what was read before: its faults have been told."""

    def fault(self, *_args, **_more):
        pass

    def _known_keys(self, *_args):
        pass

    def _text(self, row, name, _path, model):
        value = row.get(name)
        most = model._meta.get_field(name).max_length
        return value[:most] if isinstance(value, str) else ""

    def number(self, value, _path, least, most):
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        return float(value) if is_number and least <= value <= most else None
