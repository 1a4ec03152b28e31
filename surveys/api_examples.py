"""What phones send and are answered, for whoever reads the API's description."""

VISIT_ID = "d64365cd-5d5b-59da-8df9-524c3971a20c"
PHOTO_ID = "f403c02a-bf5b-5c51-9430-82276c4824d2"
UPLOAD = {
    "client_id": PHOTO_ID,
    "offset": 276772,
    "size_bytes": 276772,
    "is_complete": True,
    "fault": "",
}
VISIT = {
    "client_id": VISIT_ID,
    "bridge": "sawmill-road",
    "date": "2026-09-19",
    "status": "submitted",
    "question": "",
    "submitted_at": "2026-09-19T18:31:46-04:00",
    "is_complete": True,
    "photos": [UPLOAD],
    "set_aside": [],
    "danger": None,
    "url": f"/visits/{VISIT_ID}/",
}
SENT = {
    "client_id": VISIT_ID,
    "bridge": "sawmill-road",
    "date": "2026-09-19",
    "basis": "in-person",
    "people": "Ida Penhallow",
    "notes": "Low water; both trusses seen from the bank.",
    "observations": [
        {"element": "span-1/railing-upstream", "answer": "same"},
        {
            "element": "span-1/deck",
            "answer": "changed",
            "state": {"layers": [{"material": "timber", "thickness_in": 3.0}]},
            "certainty": "sure",
        },
        {
            "element": "span-1/upstream/L1U2",
            "answer": "not-seen",
            "reason": "leaves",
        },
    ],
    "photos": [
        {
            "client_id": PHOTO_ID,
            "name": "deck.jpg",
            "size_bytes": 276772,
            "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
            "element": "span-1/deck",
        }
    ],
}
VISITS = {"POST": {"request": SENT, "200": VISIT, "201": VISIT}}
OWN_VISIT = {"GET": {"200": VISIT}}
UPLOADS = {"GET": {"200": UPLOAD}, "PATCH": {"200": UPLOAD}}
ANSWERS = {
    "POST": {
        "request": {
            "client_id": "1c1c5a9e-2f3b-4c58-9a53-0f6f0a2f9d11",
            "text": "Counted from the near end; a photograph follows.",
            "answers": [{"observation": 812, "text": "It is the counter."}],
        },
        "200": VISIT,
    }
}
QUESTIONS = {
    "GET": {
        "200": [
            {
                "visit": VISIT_ID,
                "bridge": "sawmill-road",
                "bridge_name": "Sawmill Road Bridge",
                "date": "2026-09-19",
                "status": "returned",
                "asked_at": "2026-09-25T21:31:46-04:00",
                "question": "Did you count from the far end?",
                "observations": [
                    {
                        "id": 812,
                        "element": "span-1/upstream/L1U2",
                        "name": "L1U2 upstream",
                        "answer": "changed",
                        "question": "Is this the counter of the second panel?",
                    }
                ],
            }
        ]
    }
}
CAMERAS = {
    "GET": {
        "200": {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "geometry": {"type": "Point", "coordinates": [-40.1710, 39.7702]},
                    "properties": {
                        "kind": "viewpoint",
                        "bridge": "Alder Forks Bridge",
                        "url": "/bridges/alder-forks/#photos",
                        "name": "Upstream elevation",
                        "taken": "",
                        "bearing_deg": 174.0,
                        "facing": "S",
                    },
                }
            ],
        }
    }
}
