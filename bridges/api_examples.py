"""What calls of this room answer, for whoever reads the API's description."""

BUILT = {
    "edtf": "1886",
    "words": "1886",
    "earliest": "1886-01-01",
    "latest": "1886-12-31",
}
NO_DATE = {"edtf": "", "words": "date unknown", "earliest": None, "latest": None}
BRIDGE = {
    "slug": "heron-lane",
    "number": "C-04",
    "name": "Heron Lane Bridge",
    "also_known_as": "",
    "url": "/bridges/heron-lane/",
    "county": "Corrick",
    "town": "Alder Forks",
    "road": "Heron Lane",
    "crossing": "Heron Brook",
    "status": "in-service",
    "listing": "listed",
    "built": BUILT,
    "built_confidence": "certain",
    "position": {"latitude": 39.8801, "longitude": -40.22018, "is_exact": True},
    "standing": {
        "family": "truss",
        "form": "lenticular",
        "deck_position": "pony",
        "connection": "pin",
        "material": "wrought-iron",
        "span_count": 1,
        "longest_span_ft": 60.0,
        "builder_names": "Fenn Foundry",
        "deck": "timber",
        "posted_tons": 3.0,
        "visit_count": 3,
        "last_visited": "2018-06-23",
        "last_changed": "2018-06-23",
        "changed_parts": ["limit"],
    },
}
FOUNDRY = {"slug": "fenn-foundry", "name": "Fenn Foundry", "place": "Alderhead"}
LIST = {
    "GET": {"200": {"count": 1, "next": None, "previous": None, "results": [BRIDGE]}}
}


def _facet(value, confidence="certain", source=4):
    return {"value": value, "confidence": confidence, "source": source}


DETAIL = {
    "GET": {
        "200": {
            **BRIDGE,
            "lost": NO_DATE,
            "summary": "Two shallow bows meeting at their ends.",
            "owner": "Corrick County",
            "owner_contact": None,
            "access_notes": None,
            "spans": [
                {
                    "number": 1,
                    "name": "",
                    "form": _facet("lenticular"),
                    "deck_position": _facet("pony"),
                    "connection": _facet("pin"),
                    "material": _facet("wrought-iron", "probable", None),
                    "made_in": NO_DATE,
                    "length_ft": 60.0,
                    "length_as_entered": "60'",
                    "panels": 5,
                    "panel_length_ft": 12.0,
                    "panel_lengths_ft": None,
                    "depth_ft": 8.0,
                    "depth_as_entered": "",
                    "roadway_ft": 13.0,
                    "trusses_apart_ft": 15.0,
                    "measured_how": "taped",
                    "origin_end": "west end",
                    "truss_lines": [
                        {"key": "upstream", "name": "Upstream", "address": "upstream"}
                    ],
                }
            ],
            "attributions": [
                {
                    "role": "builder",
                    "builder": FOUNDRY,
                    "confidence": "certain",
                    "source": 4,
                }
            ],
            "plates": [
                {
                    "key": "post-near",
                    "kind": "builder",
                    "location": "upstream end post, near end, oval",
                    "transcription": "FENN FOUNDRY\nALDERHEAD\n1886",
                    "builder": FOUNDRY,
                    "whereabouts": None,
                }
            ],
            "claims": [
                {
                    "about": "built",
                    "value": "1886",
                    "source": 4,
                    "confidence": "certain",
                    "is_chosen": True,
                    "reason": "",
                }
            ],
            "events": [
                {
                    "kind": "built",
                    "when": BUILT,
                    "text": "",
                    "confidence": "certain",
                    "source": 4,
                }
            ],
            "links": [],
            "sources": [
                {
                    "id": 4,
                    "kind": "newspaper",
                    "title": "Alder Valley Intelligencer",
                    "author": "",
                    "date": {
                        "edtf": "1868/1959",
                        "words": "between 1868 and 1959",
                        "earliest": "1868-01-01",
                        "latest": "1959-12-31",
                    },
                    "held_by": "Tanner's Ford town library",
                    "locator": "bound volumes",
                    "url": "",
                }
            ],
        }
    }
}


def _feature(spot, **properties):
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": spot},
        "properties": properties,
    }


MAP = {
    "GET": {
        "200": {
            "type": "FeatureCollection",
            "total": 230,
            "in_view": 219,
            "version": 139,
            "features": [
                _feature([-40.171, 39.7698], kind="cluster", count=218),
                _feature(
                    [-40.45511, 39.95722],
                    kind="bridge",
                    count=1,
                    slug="alderhead-memorial",
                    name="Alderhead Memorial Bridge",
                    number="C-02",
                    url="/bridges/alderhead-memorial/",
                    family="arch",
                    form="Concrete arch",
                    status="in-service",
                    shape="standing",
                    status_words="Open to traffic",
                    built="1928",
                    place="Alderhead",
                    is_exact=True,
                    changed="2019-05-18",
                    changed_lately=False,
                ),
            ],
        }
    }
}
