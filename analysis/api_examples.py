"""What calls of this room answer, for whoever reads the API's description."""

from .caution import CAUTION

SEEN = "cf929f7b-b01e-5d5e-9829-0c0c1177a09e"
CONFIGURATION = {
    "GET": {
        "200": {
            "bridge": "heron-lane",
            "as_of": "2000-01-01",
            "parts": [
                {
                    "element": "limit",
                    "name": "posted limit",
                    "kind": "limit",
                    "is_gone": False,
                    "state": {"tons": 5.0, "wording": "5 TONS"},
                    "in_words": "5 tons",
                    "certainty": "sure",
                    "doubt": "",
                    "said_by": SEEN,
                    "said_on": "1982-05-15",
                    "seen_by": SEEN,
                    "seen_on": "1982-05-15",
                    "age_days": 6440,
                }
            ],
        }
    }
}
MEASURES = {
    "dead_tons": 20.344,
    "limit_tons": 25.028,
    "rating": 1.669,
    "member": "L1U1",
    "mode": "tension",
}
NOTHING = {"limit_tons": 0.0, "rating": 0.0, "dead_tons": 0.0}
CHANGES = {
    "GET": {
        "200": {
            "caution": CAUTION,
            "changes": [
                {
                    "key": "6fc81e4911",
                    "part": "chord",
                    "kinds": ["lost-section"],
                    "elements": ["span-1/upstream/L3L4"],
                    "title": "L3L4, upstream truss, section lost",
                    "sentence": "L3L4, upstream truss, section lost: 10% of the section.",
                    "certainty": "probable",
                    "doubt": "",
                    "effects": [
                        {"truss_line": "upstream", "alone": NOTHING, "share": NOTHING}
                    ],
                }
            ],
            "truss_lines": [
                {
                    "truss_line": "upstream",
                    "before": MEASURES,
                    "after": MEASURES,
                    "difference": NOTHING,
                    "sentences": [
                        "The estimate stays at about 25.0 tons; L1U1 governs before and "
                        "after."
                    ],
                    "gaps": [],
                    "assumptions": [],
                }
            ],
        }
    }
}
FIELD_PACK = {
    "GET": {
        "200": {
            "made_at": "2026-09-19T08:14:06-04:00",
            "user_id": 1,
            "rules": {"kinds": {}},
            "bridges": [{"slug": "linnet-lane", "name": "Linnet Lane Bridge"}],
            "missing": [],
            "questions": [],
        }
    }
}
